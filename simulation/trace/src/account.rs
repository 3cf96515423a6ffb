//! The account: all that was sent, put together.

use crate::cells::Cells;
use crate::hypothesis::{Hypothesis, Work, hypotheses};
use crate::inconsistency::{Inconsistency, Sent, inconsistencies};
use crate::known::{KindOfUnit, ReleaseId};
use crate::readout::Readout;
use crate::records::{DescriptorSeen, MarkSeen, RecordSeen, Records};
use crate::repair::{Repair, Stick, repair, sticks};
use crate::sectors::{SectorSeen, Seen, sectors};
use crate::start::{Next, digest_text, next, worlds};
use crate::stick_seen::{FileState, StickInput, StickSeen, look};
use packstaff_installer::{Descriptor, Layout, Reason};
use packstaff_stick::StickError;
use packstaff_unit::blueprint::Blueprint;
use serde::Serialize;

/// What an owner has sent.
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    /// Read-outs of flash: whole, in parts, or of the same range more than once.
    pub readouts: Vec<Readout>,
    /// The stick.
    pub stick: Option<StickInput>,
    /// The reason whose code is on the display.
    pub code: Option<Reason>,
}

/// What can be said of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// The board revision.
    pub board: String,
    /// What flash holds, if any of it was read.
    pub flash: Option<FlashAccount>,
    /// What the stick holds, if there is one.
    pub stick: Option<StickSeen>,
    /// The reason that the unit shows, if a code was sent.
    pub code: Option<Reason>,
    /// What the unit does when it is switched on without a stick, if flash was read.
    pub next: Option<Next>,
    /// What to do.
    pub repair: Repair,
    /// What does not fit together.
    pub inconsistencies: Vec<Inconsistency>,
    /// What was not looked at.
    pub unseen: Vec<Unseen>,
}

/// Something that was not looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unseen {
    /// Flash.
    Flash,
    /// Some of flash.
    PartOfFlash,
    /// The stick.
    Stick,
    /// The code on the display.
    Code,
    /// The settings memory, which is never looked at here.
    Settings,
}

/// What flash holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FlashAccount {
    /// Bytes that were read, of the part's.
    pub read: u32,
    /// Bytes of the part.
    pub size: u32,
    /// Sector by sector.
    pub sectors: Vec<SectorSeen>,
    /// The slot's descriptor.
    pub descriptor: DescriptorAccount,
    /// The register's two records.
    pub register: [RegisterAccount; 2],
    /// The highest issue that the unit has installed, if both records were read.
    pub floor: Option<u64>,
    /// What can have happened, likeliest first; never empty. More than one: it cannot be told which.
    pub hypotheses: Vec<Hypothesis>,
}

/// The slot's descriptor.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DescriptorAccount {
    /// This layout of flash has none: the register names the image that counts.
    None,
    /// It is whole, and stands.
    Whole(Named),
    /// It is whole, and an install has given up what it names.
    Voided(Named),
    /// Its cells read as erased.
    Erased,
    /// Something is there that is no whole descriptor.
    Torn,
    /// It is not, or not wholly, in the read-out.
    NotRead,
}

impl DescriptorAccount {
    /// What it names, where it is whole or voided.
    pub const fn named(&self) -> Option<&Named> {
        match self {
            Self::Whole(named) | Self::Voided(named) => Some(named),
            Self::None | Self::Erased | Self::Torn | Self::NotRead => None,
        }
    }
}

/// An image that a record names.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Named {
    /// Which release that is; `None`: one that the ledger does not know.
    pub release: Option<ReleaseId>,
    /// The version's integers.
    pub version: String,
    /// The issue.
    pub issue: u64,
    /// Size of the image in bytes.
    pub image_size: u32,
    /// SHA-256 of the image.
    pub image_sha256: String,
}

/// A record of the register.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RegisterAccount {
    /// It is whole.
    Whole {
        /// Its turn.
        turn: u32,
        /// The highest issue that was installed.
        issue: u64,
        /// The image that counts, where the layout keeps it here.
        named: Option<Named>,
    },
    /// Its cells read as erased.
    Erased,
    /// Something is there that is no whole record.
    Torn,
    /// It is not, or not wholly, in the read-out.
    NotRead,
}

/// Everything that is needed to trace units of one kind.
pub struct Tracer {
    kind: KindOfUnit,
    sticks: Vec<Stick>,
}

impl Tracer {
    /// Makes a stick for each release that owners may go to.
    ///
    /// # Errors
    /// A file's name cannot stand on a stick.
    pub fn new(kind: KindOfUnit) -> Result<Self, StickError> {
        Ok(Self {
            sticks: sticks(&kind)?,
            kind,
        })
    }

    /// The kind of unit.
    pub fn kind(&self) -> &KindOfUnit {
        &self.kind
    }

    /// Says what happened; `None` if the kind of unit has no generation of keys.
    pub fn account(&self, evidence: &Evidence) -> Option<Account> {
        let kind = &self.kind;
        let blueprint = kind.blueprint()?;
        let cells = Cells::gather(&blueprint.layout, &evidence.readouts);
        let records = Records::read(blueprint, &cells);
        let mut found = hypotheses(kind, blueprint, &cells, &records);
        let worlds = worlds(kind, blueprint, &cells, &records, &found);
        let stick = evidence.stick.as_ref().map(|input| look(kind, &worlds, input));
        if let Some(stick) = &stick {
            in_view_of(stick, &mut found);
        }
        let read = cells.all().map(|memory| cells.read_count(memory)).sum::<u32>();
        let next = (read > 0).then(|| next(kind, blueprint, &worlds));
        // Without a read-out the hypotheses are everything that can happen to a unit: none of them was intended.
        let seen = if read > 0 { found.as_slice() } else { &[] };
        let mut repair = repair(kind, &worlds, &self.sticks, next.as_ref(), seen);
        if repair.needed.is_none() && evidence.code.is_some_and(|reason| reason.code().letter == 'U') {
            repair.needed = Some(true);
        }
        let flash = (read > 0).then(|| FlashAccount {
            read,
            size: cells.all().map(|memory| memory.size).sum(),
            sectors: sectors(kind, blueprint, &cells),
            descriptor: descriptor(kind, blueprint, &records),
            register: records.register.map(|seen| register(kind, seen)),
            floor: records.register_is_read().then(|| records.register().floor()),
            hypotheses: found,
        });
        let inconsistencies = inconsistencies(&Sent {
            cells: (read > 0 || !cells.outside().is_empty()).then_some(&cells),
            flash: flash.as_ref(),
            next: next.as_ref(),
            stick: stick.as_ref(),
            code: evidence.code,
        });
        Some(Account {
            board: kind.board.clone(),
            unseen: unseen(evidence, flash.as_ref()),
            flash,
            stick,
            code: evidence.code,
            next,
            repair,
            inconsistencies,
        })
    }

    /// How much of what was sent this kind of unit explains: sectors that hold what its releases have there, records that name
    /// them, files of theirs on the stick. 0: it may be another board's.
    pub fn recognises(&self, evidence: &Evidence) -> u32 {
        let kind = &self.kind;
        let Some(blueprint) = kind.blueprint() else { return 0 };
        let cells = Cells::gather(&blueprint.layout, &evidence.readouts);
        let records = Records::read(blueprint, &cells);
        let known = sectors(kind, blueprint, &cells)
            .into_iter()
            .filter(|row| match &row.seen {
                Some(
                    Seen::Release { of } | Seen::Begun { of, .. } | Seen::Partly { of, .. } | Seen::Mixed { of, .. },
                ) => !of.is_empty(),
                _ => false,
            });
        let described = match records.descriptor {
            DescriptorSeen::Whole(descriptor) => kind.named(&descriptor).is_some(),
            _ => false,
        };
        let recorded = records.register().candidates().filter_map(|value| value.held);
        let recorded = recorded.filter(|held| kind.named(&held.descriptor).is_some()).count();
        let files = evidence.stick.as_ref().map_or(0, |input| {
            let found = hypotheses(kind, blueprint, &cells, &records);
            let seen = look(kind, &worlds(kind, blueprint, &cells, &records, &found), input);
            let ours = seen
                .files
                .iter()
                .filter(|file| matches!(file.state, FileState::Release { .. } | FileState::Damaged { .. }));
            ours.count()
        });
        known.map(|row| row.sectors).sum::<u32>() + u32::from(described) + (recorded + files) as u32
    }
}

/// The hypotheses that agree with the owner's stick come first; where flash does not show what was being installed, the stick does.
fn in_view_of(stick: &StickSeen, hypotheses: &mut [Hypothesis]) {
    let on_it: Vec<_> = stick
        .files
        .iter()
        .filter_map(|file| match &file.state {
            FileState::Release { id } => Some(id.clone()),
            _ => None,
        })
        .collect();
    if on_it.is_empty() {
        return;
    }
    for hypothesis in hypotheses.iter_mut() {
        if hypothesis.work == Work::Erasing && hypothesis.installing.is_empty() {
            hypothesis.installing.clone_from(&on_it);
            hypothesis.by_stick = true;
        }
    }
    hypotheses.sort_by_key(|hypothesis| {
        let agrees = hypothesis.work == Work::Nothing || hypothesis.installing.iter().any(|id| on_it.contains(id));
        (hypothesis.work == Work::Damaged, !agrees)
    });
}

fn named(kind: &KindOfUnit, descriptor: &Descriptor) -> Named {
    Named {
        release: kind
            .named(descriptor)
            .and_then(|index| kind.releases.get(index))
            .map(crate::known::Release::id),
        version: descriptor.version.to_string(),
        issue: descriptor.sequence,
        image_size: descriptor.image_size,
        image_sha256: digest_text(descriptor),
    }
}

fn descriptor(kind: &KindOfUnit, blueprint: &Blueprint, records: &Records) -> DescriptorAccount {
    if matches!(blueprint.slots, Layout::Paired { .. }) {
        return DescriptorAccount::None;
    }
    match &records.descriptor {
        DescriptorSeen::Whole(descriptor) => {
            let named = named(kind, descriptor);
            match records.mark {
                MarkSeen::Programmed => DescriptorAccount::Voided(named),
                MarkSeen::Blank | MarkSeen::NotRead => DescriptorAccount::Whole(named),
            }
        }
        DescriptorSeen::Blank => DescriptorAccount::Erased,
        DescriptorSeen::Remnant => DescriptorAccount::Torn,
        DescriptorSeen::NotRead => DescriptorAccount::NotRead,
    }
}

fn register(kind: &KindOfUnit, seen: RecordSeen) -> RegisterAccount {
    match seen {
        RecordSeen::Whole(record) => RegisterAccount::Whole {
            turn: record.turn,
            issue: record.value.issue,
            named: record.value.held.map(|held| named(kind, &held.descriptor)),
        },
        RecordSeen::Blank => RegisterAccount::Erased,
        RecordSeen::Remnant => RegisterAccount::Torn,
        RecordSeen::NotRead => RegisterAccount::NotRead,
    }
}

fn unseen(evidence: &Evidence, flash: Option<&FlashAccount>) -> Vec<Unseen> {
    let of_flash = match flash {
        None => Some(Unseen::Flash),
        Some(flash) if flash.read < flash.size => Some(Unseen::PartOfFlash),
        Some(_) => None,
    };
    let stick = evidence.stick.is_none().then_some(Unseen::Stick);
    let code = evidence.code.is_none().then_some(Unseen::Code);
    [of_flash, stick, code, Some(Unseen::Settings)]
        .into_iter()
        .flatten()
        .collect()
}
