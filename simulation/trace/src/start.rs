//! What the unit does next: the installer is run on flash as it was read.

use crate::cells::Cells;
use crate::hypothesis::{Hypothesis, Work};
use crate::known::{KindOfUnit, ReleaseId};
use crate::records::{DescriptorSeen, Records};
use packstaff_installer::{Descriptor, Listing, Reason, Record, Region, Value};
use packstaff_rehearsal::power_up::{Ending, Owner, PowerUp, power_up};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{Change, Flash, FlashFault, SumKey};
use packstaff_unit::stick::Stick;
use packstaff_unit::world::{Settings, World};

/// How a power-up ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// An image is started.
    Starts {
        /// Where it lies.
        address: u32,
        /// Which release it is; `None`: one that the ledger does not know.
        release: Option<ReleaseId>,
    },
    /// The unit waits for a stick.
    Waits {
        /// What it shows.
        reason: Reason,
    },
    /// The installer does not come to an end, or asks for what the part cannot do.
    Fails {
        /// How.
        how: Failure,
    },
}

/// How the installer fails, which it never must.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// It does not come to an end.
    Endless,
    /// It asks for a change that the part cannot do.
    Impossible(FlashFault),
}

/// What the unit does when it is switched on without a stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Next {
    /// If what was not read is as it should be.
    pub at_best: Outcome,
    /// If what was not read is worthless.
    pub at_worst: Outcome,
    /// Both are the same: what was not read makes no difference, or everything was read.
    pub certain: bool,
    /// Changes of flash that it makes on the way (at best): it finishes by itself what was begun.
    pub changes: u32,
}

/// Flash as it may be: every way that makes a difference to an installer.
pub(crate) struct Worlds {
    /// What was not read is as it should be.
    pub(crate) best: World,
    /// What was not read is worthless; `None` if all that matters was read.
    pub(crate) worst: Option<World>,
}

impl Worlds {
    pub(crate) fn all(&self) -> impl Iterator<Item = &World> {
        std::iter::once(&self.best).chain(&self.worst)
    }
}

/// Builds the worlds.
pub(crate) fn worlds(
    kind: &KindOfUnit,
    blueprint: &Blueprint,
    cells: &Cells,
    records: &Records,
    hypotheses: &[Hypothesis],
) -> Worlds {
    let matters = || blueprint.places().chain(blueprint.floors);
    let unread = matters().any(|region| cells.unknown_count(region) > 0);
    // Neither erased, nor a record, nor anybody's image.
    let noise = |region: Region| cells.filled(region, |at| (at as u8).wrapping_mul(0x5b) ^ 0xa5);
    let best = build(blueprint, matters(), |region| {
        as_it_should_be(kind, blueprint, cells, records, hypotheses, region)
    });
    let worst = unread.then(|| build(blueprint, matters(), noise));
    Worlds { best, worst }
}

fn build(blueprint: &Blueprint, regions: impl Iterator<Item = Region>, contents: impl Fn(Region) -> Vec<u8>) -> World {
    let mut flash = Flash::erased(blueprint.layout.clone(), SumKey::fixed());
    for region in regions {
        let erased = blueprint.layout.memory_at(region.base).erased();
        let bytes = contents(region);
        // Erased cells are there already; what is programmed is put in, in portions.
        for (index, portion) in bytes.chunks(4096).enumerate() {
            if portion.iter().any(|byte| *byte != erased) {
                let address = region.base.wrapping_add((index * 4096) as u32);
                let change = Change::Program {
                    address,
                    data: portion.to_vec(),
                };
                // Regions are whole sectors of this part, and their cells are erased: there is nothing to refuse.
                let _ = flash.apply(&change);
            }
        }
    }
    World {
        flash,
        settings: Settings::new(Vec::new()),
        stick: None,
    }
}

/// A region whose unread cells are those of the image that is, or was being, put there; a register that bars as much as any
/// release does.
fn as_it_should_be(
    kind: &KindOfUnit,
    blueprint: &Blueprint,
    cells: &Cells,
    records: &Records,
    hypotheses: &[Hypothesis],
    region: Region,
) -> Vec<u8> {
    let erased = cells.erased(region);
    if cells.unknown_count(region) == 0 {
        return cells.filled(region, |_| erased);
    }
    if let Some(index) = blueprint.floors.iter().position(|floor| *floor == region) {
        let issue = kind.releases.iter().map(|release| release.issue).max().unwrap_or(0);
        let record = Record {
            value: Value { issue, held: None },
            turn: 1 + index as u32,
        };
        let record = record.encode();
        return cells.filled(region, |at| record.get(at).copied().unwrap_or(erased));
    }
    let described = match records.descriptor {
        DescriptorSeen::Whole(descriptor) => kind.named(&descriptor),
        _ => None,
    };
    let hypothesis = hypotheses.first();
    let likeliest = hypothesis.and_then(|hypothesis| {
        let id = hypothesis.installing.first()?;
        kind.releases.iter().position(|release| release.id() == *id)
    });
    let release = described.or(likeliest).and_then(|index| kind.releases.get(index));
    // Behind what was written when an install was broken off, cells are erased.
    let (written, recorded) = match hypothesis.map(|hypothesis| (hypothesis.work, hypothesis.written)) {
        Some((Work::Writing, Some((written, _)))) => (written as usize, false),
        Some((Work::Writing | Work::Erasing, _)) => (0, false),
        _ => (usize::MAX, true),
    };
    let record = blueprint.config().place().record;
    let descriptor = release.map(|release| release.descriptor().encode());
    cells.filled(region, |at| {
        let address = region.base.wrapping_add(at as u32);
        if record.contains(address) {
            let within = (address - record.base) as usize;
            let byte = descriptor
                .filter(|_| recorded)
                .and_then(|bytes| bytes.get(within).copied());
            return byte.unwrap_or(erased);
        }
        let image = release
            .filter(|_| at < written)
            .and_then(|release| release.image.get(at));
        image.copied().unwrap_or(erased)
    })
}

/// What a power-up came to.
pub(crate) struct Ran {
    pub(crate) outcome: Outcome,
    pub(crate) changes: u32,
    /// What the owner was told, and what the unit waits with.
    pub(crate) reasons: Vec<Reason>,
    /// What the stick offers.
    pub(crate) listing: Option<Listing>,
}

/// Runs the installer on a copy of a world.
pub(crate) fn run(kind: &KindOfUnit, blueprint: &Blueprint, world: &World, stick: Option<&Stick>, owner: Owner) -> Ran {
    let mut world = World {
        stick: stick.cloned(),
        ..world.clone()
    };
    let mut changes = 0;
    let seen = power_up(blueprint, &mut world, owner, |_, _| changes += 1);
    let PowerUp {
        ending, told, asked, ..
    } = seen;
    let mut reasons = told;
    let outcome = match ending {
        Ending::Started { address } => Outcome::Starts {
            address,
            release: started(kind, &world, address),
        },
        Ending::Waiting(reason) => {
            reasons.push(reason);
            Outcome::Waits { reason }
        }
        Ending::Endless => Outcome::Fails { how: Failure::Endless },
        Ending::Impossible(fault) => Outcome::Fails {
            how: Failure::Impossible(fault),
        },
    };
    Ran {
        outcome,
        changes,
        reasons,
        listing: asked,
    }
}

/// The release that begins at an address, whole.
fn started(kind: &KindOfUnit, world: &World, address: u32) -> Option<ReleaseId> {
    let here = kind.releases.iter().find(|release| {
        let bytes = world.flash.bytes(address, release.image.len() as u32);
        bytes.is_ok_and(|bytes| bytes == release.image)
    });
    here.map(crate::known::Release::id)
}

/// What the unit does without a stick.
pub(crate) fn next(kind: &KindOfUnit, blueprint: &Blueprint, worlds: &Worlds) -> Next {
    let alone = |world| run(kind, blueprint, world, None, Owner::Declines);
    let best = alone(&worlds.best);
    let worst = worlds.worst.as_ref().map(alone);
    let at_worst = worst.map_or_else(|| best.outcome.clone(), |ran| ran.outcome);
    Next {
        certain: at_worst == best.outcome,
        at_best: best.outcome,
        at_worst,
        changes: best.changes,
    }
}

/// The digest of what a descriptor names, for reports.
pub(crate) fn digest_text(descriptor: &Descriptor) -> String {
    descriptor
        .image_digest
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
