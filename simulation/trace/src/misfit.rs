//! What does not fit together.

use crate::account::FlashAccount;
use crate::cells::Cells;
use crate::course::Work;
use crate::reason::ReasonSeen;
use crate::start::{Next, Outcome};
use crate::stick_seen::{FileState, StickSeen};
use serde::Serialize;

/// Two things that were sent, or one and what the maker knows, that cannot both be as they seem.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Misfit {
    /// A short name that does not change.
    pub id: &'static str,
    /// What does not fit.
    pub what: String,
    /// What may explain it, and what to ask for.
    pub explanation: &'static str,
}

/// All that is compared.
pub(crate) struct Sent<'a> {
    pub(crate) cells: Option<&'a Cells>,
    pub(crate) flash: Option<&'a FlashAccount>,
    pub(crate) next: Option<&'a Next>,
    pub(crate) stick: Option<&'a StickSeen>,
    pub(crate) code: Option<&'a ReasonSeen>,
}

/// Codes that only a unit without an image shows.
const NOTHING_TO_START: [&str; 3] = ["U1", "U2", "U6"];
/// Codes whose cause is the contact or the moment, which no image of a stick shows.
const OF_THE_MOMENT: [&str; 2] = ["S1", "S3"];

pub(crate) fn misfits(sent: &Sent<'_>) -> Vec<Misfit> {
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

fn unsteady(sent: &Sent<'_>) -> Option<Misfit> {
    let cells = sent.cells?;
    let count: u32 = cells.all().map(|memory| cells.unsteady_count(memory)).sum();
    (count > 0).then(|| Misfit {
        id: "readouts-differ",
        what: format!("{count} bytes are not the same in two read-outs"),
        explanation: "Cells that a cut has left half programmed or half erased read differently from one time to the next: such cells \
             count as torn here. If they lie all over flash, the read-outs are of different moments or units, or the reading itself \
             is at fault: read again.",
    })
}

fn outside(sent: &Sent<'_>) -> Option<Misfit> {
    let spans = sent.cells?.outside();
    let first = spans.first()?;
    Some(Misfit {
        id: "outside-flash",
        what: format!(
            "{} bytes lie outside of this board's flash, the first of them at {:#010x}",
            spans.iter().map(|span| u64::from(span.size)).sum::<u64>(),
            first.start
        ),
        explanation: "They were left out. The read-out may be of another part, or begin at another address than was said.",
    })
}

fn damaged(sent: &Sent<'_>) -> Option<Misfit> {
    let only = sent.flash?.courses.iter().all(|course| course.work == Work::Damaged);
    only.then(|| Misfit {
        id: "not-by-a-cut",
        what: "no install leaves flash like this, whenever its power fails".to_owned(),
        explanation: "Flash was damaged or changed by something else than the installer, or the read-out is wrong or of another unit. \
             Ask for a second read-out. If it is the same, the unit wants a closer look: cells may be worn out.",
    })
}

fn unlisted(sent: &Sent<'_>) -> Option<Misfit> {
    let flash = sent.flash?;
    let descriptor = flash.descriptor.named.as_ref()?;
    descriptor.release.is_none().then(|| Misfit {
        id: "not-in-the-ledger",
        what: format!(
            "the slot's descriptor names version {}, issue {}, which is in no record of the ledger for this board",
            descriptor.version, descriptor.issue
        ),
        explanation: "It was signed with your key, or the unit would not have installed it. Look for a ledger that was not kept, or for \
             a unit of another board revision.",
    })
}

fn below_floor(sent: &Sent<'_>) -> Option<Misfit> {
    let flash = sent.flash?;
    let descriptor = flash.descriptor.named.as_ref()?;
    let floor = flash.floor?;
    (descriptor.issue < floor).then(|| Misfit {
        id: "below-the-floor",
        what: format!(
            "the descriptor names issue {}, and the register says that issue {floor} was installed before",
            descriptor.issue
        ),
        explanation: "A unit refuses issues below its floor, so it cannot have installed this one afterwards. The pieces of the read-out \
             may be of different moments.",
    })
}

fn code_against_flash(sent: &Sent<'_>) -> Option<Misfit> {
    let (code, next) = (sent.code?, sent.next?);
    let starts = matches!(next.at_worst, Outcome::Starts { .. });
    (starts && NOTHING_TO_START.contains(&code.code.as_str())).then(|| Misfit {
        id: "code-against-flash",
        what: format!("the unit shows {}, and flash as it was read would start", code.code),
        explanation: "Either the read-out was taken at another moment, or is of another unit; or power failed while the last record was \
             being programmed: such cells may read as whole once and otherwise the next time. The stick named below helps in each \
             case.",
    })
}

fn code_against_stick(sent: &Sent<'_>) -> Option<Misfit> {
    let (code, stick) = (sent.code?, sent.stick?);
    let of_stick = code.code.starts_with(['S', 'F', 'N']);
    let shown = stick.shows.iter().any(|shown| shown.codes.contains(&code.code));
    let in_file = stick.files.iter().any(|file| match &file.state {
        FileState::Damaged { code: found, .. } | FileState::Refused { code: found, .. } => *found == code.code,
        _ => false,
    });
    let momentary = OF_THE_MOMENT.contains(&code.code.as_str());
    (of_stick && !shown && !in_file && !momentary).then(|| Misfit {
        id: "code-against-stick",
        what: format!("with this stick the unit does not show {}", code.code),
        explanation: "The image may be of another stick than the one that was in the unit, or the stick was changed since. Ask which.",
    })
}

fn stick_against_flash(sent: &Sent<'_>) -> Option<Misfit> {
    let (flash, stick) = (sent.flash?, sent.stick?);
    let course = flash.courses.first()?;
    let under_way = matches!(course.work, Work::Writing | Work::Recording);
    let on_it = stick.files.iter().any(|file| match &file.state {
        FileState::Release { id } | FileState::Damaged { id, .. } => course.installing.contains(id),
        _ => false,
    });
    (under_way && !course.installing.is_empty() && !on_it).then(|| {
        let names: Vec<_> = course.installing.iter().map(|id| id.version.as_str()).collect();
        Misfit {
            id: "stick-against-flash",
            what: format!(
                "an install of {} was under way, and this stick does not hold it",
                names.join(" or ")
            ),
            explanation: "It is not the stick that was in the unit then, or its files were changed since.",
        }
    })
}
