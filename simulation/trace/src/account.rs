//! The account: all that was sent, put together.

use crate::cells::Cells;
use crate::course::{Course, Work, courses};
use crate::known::{KindOfUnit, ReleaseId};
use crate::misfit::{Misfit, Sent, misfits};
use crate::readout::Readout;
use crate::reason::ReasonSeen;
use crate::records::{DescriptorSeen, MarkSeen, RecordSeen, Records};
use crate::repair::{Repair, Stick, repair, sticks};
use crate::sectors::{SectorSeen, Seen, sectors};
use crate::start::{Next, digest_text, next, worlds};
use crate::stick_seen::{FileState, StickInput, StickSeen, look};
use packstaff_stick::StickError;
use packstaff_unit::blueprint::Blueprint;
use serde::Serialize;

/// What an account says of the settings memory: it does not look at it.
pub const UNSEEN_SETTINGS: &str = "settings and calibration";

/// What an owner has sent.
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    /// Read-outs of flash: whole, in parts, or of the same range more than once.
    pub readouts: Vec<Readout>,
    /// The stick.
    pub stick: Option<StickInput>,
    /// The code on the display.
    pub code: Option<ReasonSeen>,
}

/// What can be said of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Account {
    /// The board revision.
    pub board: String,
    /// What flash holds, if any of it was read.
    pub flash: Option<FlashAccount>,
    /// What the stick holds, if there is one.
    pub stick: Option<StickSeen>,
    /// What the code means, if there is one.
    pub code: Option<ReasonSeen>,
    /// What the unit does when it is switched on without a stick, if flash was read.
    pub next: Option<Next>,
    /// What to do.
    pub repair: Repair,
    /// What does not fit together.
    pub misfits: Vec<Misfit>,
    /// What was not looked at.
    pub unseen: Vec<Unseen>,
}

/// Something that was not looked at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Unseen {
    /// What.
    pub what: &'static str,
    /// What it would tell.
    pub would_tell: &'static str,
}

/// What flash holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
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
    pub courses: Vec<Course>,
}

/// The slot's descriptor.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct DescriptorAccount {
    /// `whole`, `voided`, `erased`, `torn` or `not-read`.
    pub state: &'static str,
    /// What it names, where it is whole or voided.
    pub named: Option<Named>,
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
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RegisterAccount {
    /// `whole`, `erased`, `torn` or `not-read`.
    pub state: &'static str,
    /// The turn, where it is whole.
    pub turn: Option<u32>,
    /// The issue, where it is whole.
    pub issue: Option<u64>,
    /// The image that counts, where the layout keeps it here.
    pub named: Option<Named>,
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
        let mut found = courses(kind, blueprint, &cells, &records);
        let worlds = worlds(kind, blueprint, &cells, &records, &found);
        let stick = evidence.stick.as_ref().map(|input| look(kind, &worlds, input));
        if let Some(stick) = &stick {
            in_view_of(stick, &mut found);
        }
        let read = cells.all().map(|memory| cells.read_count(memory)).sum::<u32>();
        let next = (read > 0).then(|| next(kind, blueprint, &worlds));
        // Without a read-out the courses are everything that can happen to a unit: none of them was intended.
        let seen = if read > 0 { found.as_slice() } else { &[] };
        let mut repair = repair(kind, &worlds, &self.sticks, next.as_ref(), seen);
        if repair.needed.is_none() && evidence.code.as_ref().is_some_and(|code| code.code.starts_with('U')) {
            repair.needed = Some(true);
        }
        let flash = (read > 0).then(|| FlashAccount {
            read,
            size: cells.all().map(|memory| memory.size).sum(),
            sectors: sectors(kind, blueprint, &cells),
            descriptor: descriptor(kind, blueprint, &records),
            register: records.register.map(|seen| register(kind, seen)),
            floor: records.register_is_read().then(|| records.register().floor()),
            courses: found,
        });
        let misfits = misfits(&Sent {
            cells: (read > 0 || !cells.outside().is_empty()).then_some(&cells),
            flash: flash.as_ref(),
            next: next.as_ref(),
            stick: stick.as_ref(),
            code: evidence.code.as_ref(),
        });
        Some(Account {
            board: kind.board.clone(),
            unseen: unseen(evidence, flash.as_ref()),
            flash,
            stick,
            code: evidence.code.clone(),
            next,
            repair,
            misfits,
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
            let found = courses(kind, blueprint, &cells, &records);
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

/// The courses that agree with the owner's stick come first; where flash does not show what was being installed, the stick does.
fn in_view_of(stick: &StickSeen, courses: &mut [Course]) {
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
    for course in courses.iter_mut() {
        if course.work == Work::Erasing && course.installing.is_empty() {
            course.installing.clone_from(&on_it);
            course.by_stick = true;
        }
    }
    courses.sort_by_key(|course| {
        let agrees = course.work == Work::Nothing || course.installing.iter().any(|id| on_it.contains(id));
        (course.work == Work::Damaged, !agrees)
    });
}

fn named(kind: &KindOfUnit, descriptor: &packstaff_installer::Descriptor) -> Named {
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
    if matches!(blueprint.slots, packstaff_installer::Layout::Paired { .. }) {
        return DescriptorAccount {
            state: "none",
            named: None,
        };
    }
    let voided = records.mark == MarkSeen::Programmed;
    let state = match records.descriptor {
        DescriptorSeen::Whole(_) if voided => "voided",
        DescriptorSeen::Whole(_) => "whole",
        DescriptorSeen::Blank => "erased",
        DescriptorSeen::Remnant => "torn",
        DescriptorSeen::NotRead => "not-read",
    };
    DescriptorAccount {
        state,
        named: match &records.descriptor {
            DescriptorSeen::Whole(descriptor) => Some(named(kind, descriptor)),
            _ => None,
        },
    }
}

fn register(kind: &KindOfUnit, seen: RecordSeen) -> RegisterAccount {
    let plain = |state| RegisterAccount {
        state,
        turn: None,
        issue: None,
        named: None,
    };
    match seen {
        RecordSeen::Whole(record) => RegisterAccount {
            state: "whole",
            turn: Some(record.turn),
            issue: Some(record.value.issue),
            named: record.value.held.map(|held| named(kind, &held.descriptor)),
        },
        RecordSeen::Blank => plain("erased"),
        RecordSeen::Remnant => plain("torn"),
        RecordSeen::NotRead => plain("not-read"),
    }
}

fn unseen(evidence: &Evidence, flash: Option<&FlashAccount>) -> Vec<Unseen> {
    let mut unseen = Vec::new();
    let mut say = |missing: bool, what, would_tell| {
        if missing {
            unseen.push(Unseen { what, would_tell });
        }
    };
    say(
        flash.is_none(),
        "flash",
        "which version the unit holds, how far an install came, and what the next start does",
    );
    say(
        flash.is_some_and(|flash| flash.read < flash.size),
        "part of flash",
        "whether what was not read is as it should be",
    );
    say(
        evidence.stick.is_none(),
        "the stick",
        "what the unit could have installed, and whether the stick itself is at fault",
    );
    say(
        evidence.code.is_none(),
        "the reason code on the display",
        "what the unit itself found",
    );
    say(
        true,
        UNSEEN_SETTINGS,
        "whether they are whole; an install never touches them",
    );
    unseen
}
