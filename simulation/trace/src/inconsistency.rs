//! What does not fit together.

use crate::account::FlashAccount;
use crate::cells::Cells;
use crate::hypothesis::Work;
use crate::known::ReleaseId;
use crate::start::{Next, Outcome};
use crate::stick_seen::{FileState, StickSeen};
use packstaff_installer::Reason;

/// Two things that were sent, or one and what the maker knows, that cannot both be as they seem.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Inconsistency {
    /// Two read-outs differ.
    ReadoutsDiffer {
        /// Bytes that are not the same.
        bytes: u32,
    },
    /// A read-out has bytes where this board has no flash. They were left out.
    OutsideFlash {
        /// How many.
        bytes: u64,
        /// Address of the first.
        first: u32,
    },
    /// No install leaves flash like this, whenever its power fails.
    NotByACut,
    /// The slot's descriptor names an image that the ledger does not have for this board.
    NotInTheLedger {
        /// Its version's integers.
        version: String,
        /// Its issue.
        issue: u64,
    },
    /// The descriptor names an issue below the one that the register has recorded before.
    BelowTheFloor {
        /// The descriptor's.
        issue: u64,
        /// The register's.
        floor: u64,
    },
    /// The unit shows that it has nothing to start, and flash as it was read would start.
    CodeAgainstFlash {
        /// What it shows.
        shown: Reason,
    },
    /// With the stick that was sent, the unit does not show this.
    CodeAgainstStick {
        /// What it shows.
        shown: Reason,
    },
    /// An install was under way, of what this stick does not hold.
    StickAgainstFlash {
        /// What was being installed: one of these.
        installing: Vec<ReleaseId>,
    },
    /// What was sent holds nothing of the board that was named, and something of another. Only who knows of several boards can
    /// find this.
    AnotherBoard {
        /// The revision of the board that was named.
        named: String,
        /// The revision of the other.
        found: String,
    },
}

/// All that is compared.
pub(crate) struct Sent<'a> {
    pub(crate) cells: Option<&'a Cells>,
    pub(crate) flash: Option<&'a FlashAccount>,
    pub(crate) next: Option<&'a Next>,
    pub(crate) stick: Option<&'a StickSeen>,
    pub(crate) code: Option<Reason>,
}

/// Whether only a unit without an image to start shows this.
pub const fn has_nothing_to_start(reason: Reason) -> bool {
    matches!(reason, Reason::NoImage | Reason::ImageDamaged | Reason::Declined)
}

/// Whether the cause is the contact or the moment, which no image of a stick shows.
const fn is_of_the_moment(reason: Reason) -> bool {
    matches!(reason, Reason::StickUnreadable | Reason::StickChanged)
}

pub(crate) fn inconsistencies(sent: &Sent<'_>) -> Vec<Inconsistency> {
    [
        unsteady(sent),
        outside(sent),
        damaged(sent),
        unlisted(sent),
        below_floor(sent),
        code_against_flash(sent),
        code_against_stick(sent),
        stick_against_flash(sent),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn unsteady(sent: &Sent<'_>) -> Option<Inconsistency> {
    let cells = sent.cells?;
    let bytes = cells.all().map(|memory| cells.unsteady_count(memory)).sum();
    (bytes > 0).then_some(Inconsistency::ReadoutsDiffer { bytes })
}

fn outside(sent: &Sent<'_>) -> Option<Inconsistency> {
    let spans = sent.cells?.outside();
    Some(Inconsistency::OutsideFlash {
        first: spans.first()?.start,
        bytes: spans.iter().map(|span| u64::from(span.size)).sum(),
    })
}

fn damaged(sent: &Sent<'_>) -> Option<Inconsistency> {
    let mut hypotheses = sent.flash?.hypotheses.iter();
    hypotheses
        .all(|hypothesis| hypothesis.work == Work::Damaged)
        .then_some(Inconsistency::NotByACut)
}

fn unlisted(sent: &Sent<'_>) -> Option<Inconsistency> {
    let named = sent.flash?.descriptor.named()?;
    named.release.is_none().then(|| Inconsistency::NotInTheLedger {
        version: named.version.clone(),
        issue: named.issue,
    })
}

fn below_floor(sent: &Sent<'_>) -> Option<Inconsistency> {
    let flash = sent.flash?;
    let (issue, floor) = (flash.descriptor.named()?.issue, flash.floor?);
    (issue < floor).then_some(Inconsistency::BelowTheFloor { issue, floor })
}

fn code_against_flash(sent: &Sent<'_>) -> Option<Inconsistency> {
    let (shown, next) = (sent.code?, sent.next?);
    let starts = matches!(next.at_worst, Outcome::Starts { .. });
    (starts && has_nothing_to_start(shown)).then_some(Inconsistency::CodeAgainstFlash { shown })
}

fn code_against_stick(sent: &Sent<'_>) -> Option<Inconsistency> {
    let (shown, stick) = (sent.code?, sent.stick?);
    let of_stick = ['S', 'F', 'N'].contains(&shown.code().letter);
    let by_a_unit = stick.shows.iter().any(|seen| seen.reasons.contains(&shown));
    let in_a_file = stick.files.iter().any(|file| file.state.reason() == Some(shown));
    (of_stick && !by_a_unit && !in_a_file && !is_of_the_moment(shown))
        .then_some(Inconsistency::CodeAgainstStick { shown })
}

fn stick_against_flash(sent: &Sent<'_>) -> Option<Inconsistency> {
    let (flash, stick) = (sent.flash?, sent.stick?);
    let likeliest = flash.hypotheses.first()?;
    let under_way = matches!(likeliest.work, Work::Writing | Work::Recording);
    let on_it = stick.files.iter().any(|file| match &file.state {
        FileState::Release { id } | FileState::Damaged { id, .. } => likeliest.installing.contains(id),
        _ => false,
    });
    (under_way && !likeliest.installing.is_empty() && !on_it).then(|| Inconsistency::StickAgainstFlash {
        installing: likeliest.installing.clone(),
    })
}
