//! What a unit makes of a stick: the very installer that units run, on a simulated unit that has no firmware yet.

use packstaff_envelope::VersionNumbers;
use packstaff_fat::Entry;
use packstaff_installer::{Finding, Installer, Listing, NextWrite, Offer, Reason, Record, Reply, Request, Value};
use packstaff_unit::blueprint::{Blueprint, BlueprintError};
use packstaff_unit::drive::{Answer, Wish, look};
use packstaff_unit::flash::{Change, Flash, FlashFault, SumKey};

use crate::BlockSource;

/// More steps than looking through a stick takes: each reads one block, and a file of 4 GiB has 2^23 of them.
const STEPS_MAX: u64 = 1 << 25;

/// Units that are all alike, and what they have been through.
#[derive(Clone, Debug)]
pub struct UnitKind {
    /// What to call them, such as `board C, generation g2`.
    pub name: String,
    /// What their owners know of that, such as `board C`.
    pub board: String,
    /// What they are built with.
    pub blueprint: Blueprint,
    /// The highest issue that they have installed; 0 for none.
    pub floor: u64,
}

/// What such a unit thinks of one file at the top of the stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judged {
    /// The file.
    pub file: Entry,
    /// The version that it offers to its owner, and whether the whole file stands up when the owner picks it; or why it does not offer
    /// it.
    pub verdict: Result<Offered, Reason>,
}

/// A file that a unit offers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offered {
    /// The version.
    pub version: VersionNumbers,
    /// The issue.
    pub issue: u64,
    /// Why the unit would stop at the whole file, before it changes anything.
    pub refused_later: Option<Reason>,
}

/// What such a unit makes of the stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitView {
    /// Which units.
    pub unit: String,
    /// What their owners know of that.
    pub board: String,
    /// Every file that they list.
    pub files: Vec<Judged>,
    /// Files that are updates, and for which the list has no room.
    pub left_out: u16,
    /// What they say instead of a list.
    pub told: Option<Reason>,
    /// Blocks that they read before they ask their owner.
    pub reads: u64,
}

/// Why no unit could be asked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ViewError {
    /// The unit cannot be built.
    #[error("{unit}: {source}")]
    Blueprint {
        /// Which.
        unit: String,
        /// Why.
        source: BlueprintError,
    },
    /// The unit's register cannot be written.
    #[error("{unit}: its flash cannot be prepared: {source:?}")]
    Flash {
        /// Which.
        unit: String,
        /// Why.
        source: FlashFault,
    },
}

/// Puts the stick into such a unit.
///
/// # Errors
/// The unit cannot be built. A stick that cannot be read is no error: the unit says so.
pub(super) fn view(kind: &UnitKind, source: &mut dyn BlockSource) -> Result<UnitView, ViewError> {
    let flash = flash(kind)?;
    let mut view = UnitView {
        unit: kind.name.clone(),
        board: kind.board.clone(),
        files: Vec::new(),
        left_out: 0,
        told: None,
        reads: 0,
    };
    let first = power_up(kind, &flash, source, None);
    view.reads = first.reads;
    view.told = first.told;
    let Some(listing) = first.listing else {
        return Ok(view);
    };
    view.left_out = listing.left_out;
    for (index, row) in listing.rows() {
        let verdict = match row.finding {
            // It is told something instead of being asked: nothing is offered after all.
            Finding::Offered(_) if view.told.is_some() => continue,
            Finding::Refused(reason) => Err(reason),
            Finding::Offered(offer) => Ok(chosen(kind, &flash, source, index, &offer)),
        };
        view.files.push(Judged {
            file: row.file,
            verdict,
        });
    }
    Ok(view)
}

fn chosen(kind: &UnitKind, flash: &Flash, source: &mut dyn BlockSource, index: usize, offer: &Offer) -> Offered {
    Offered {
        version: offer.version,
        issue: offer.sequence,
        refused_later: power_up(kind, flash, source, Some(index)).told,
    }
}

/// A unit without firmware, whose register states the floor.
fn flash(kind: &UnitKind) -> Result<Flash, ViewError> {
    let unit = || kind.name.clone();
    let world = kind.blueprint.new_unit(Vec::new(), SumKey::fixed());
    let mut flash = world
        .map_err(|source| ViewError::Blueprint { unit: unit(), source })?
        .flash;
    let value = Value {
        issue: kind.floor,
        held: None,
    };
    let mut register = packstaff_installer::Register::default();
    // As an installer writes it: record by record until the register says so for sure.
    let mut finished = None;
    while let Some(NextWrite { sector, record, .. }) = register.next(value, finished) {
        let place = kind.blueprint.floors[sector];
        for change in [Change::Erase { address: place.base }, program(kind, place.base, record)] {
            flash
                .apply(&change)
                .map_err(|source| ViewError::Flash { unit: unit(), source })?;
        }
        register.records[sector] = Some(record);
        finished = Some(sector);
    }
    Ok(flash)
}

fn program(kind: &UnitKind, address: u32, record: Record) -> Change {
    let geometry = kind.blueprint.layout.geometry();
    let mut data = record.encode().to_vec();
    data.resize(
        data.len().next_multiple_of(geometry.granule.max(1) as usize),
        geometry.erased,
    );
    Change::Program { address, data }
}

struct Outcome {
    /// The list that the owner saw.
    listing: Option<Listing>,
    told: Option<Reason>,
    reads: u64,
}

/// Powers the unit, lets the owner pick (or only look), and stops before it would change anything of what it is offered.
fn power_up(kind: &UnitKind, flash: &Flash, source: &mut dyn BlockSource, pick: Option<usize>) -> Outcome {
    let config = kind.blueprint.config();
    let mut machine = Installer::new();
    let mut answer = None::<Answer>;
    let mut outcome = Outcome {
        listing: None,
        told: None,
        reads: 0,
    };
    for _ in 0..STEPS_MAX {
        let request = machine.step(&config, answer.as_ref().map_or(Reply::PowerUp, Answer::reply));
        if let Request::Tell { listing, .. } | Request::Wait { listing, .. } = request {
            outcome.listing = outcome.listing.or(Some(*listing));
        }
        answer = Some(match Wish::from(request) {
            Wish::FindStick => Answer::Stick(source.blocks()),
            Wish::ReadStick(number) => {
                outcome.reads += 1;
                match source.read(number) {
                    Ok(block) => Answer::Block(Box::new(block)),
                    Err(_) => Answer::Failed,
                }
            }
            Wish::Ask(listing) => {
                outcome.listing = Some(*listing);
                match pick {
                    Some(index) => Answer::Chosen(Some(index)),
                    None => return outcome,
                }
            }
            Wish::Tell(reason) | Wish::Wait(reason) => {
                outcome.told = Some(reason);
                return outcome;
            }
            // The whole file was read and holds: now it would be installed.
            Wish::Change(_) | Wish::Start(_) => return outcome,
            looking => look(&looking, flash, None).unwrap_or(Answer::Failed),
        });
    }
    outcome.told = Some(Reason::StickUnreadable);
    outcome
}
