//! A product's keeper, whatever the size of its settings: in a unit the buffers are as long as its version needs, here they come in
//! a few lengths, the shortest that will do.

use super::{Exploration, KeeperMachine, OurKeeper, Plan, TooLarge, Version, explore};
use crate::explore::Progress;
use packstaff_keeper::{AsideConfig, ConfigFault, Head, Keeper, Memory, Region, Spots};
use packstaff_unit::settings_memory::SettingsMemory;

/// The longest settings that can be rehearsed, in bytes.
pub const LONGEST: u32 = 8192;
/// The most that can be kept aside in a rehearsal, in bytes.
const LONGEST_ASIDE: u32 = 32_768;

/// What all versions of a product have in common: where settings are kept, and how much room there is for them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setup {
    /// The kind of memory.
    pub memory: Memory,
    /// Where the settings are.
    pub region: Region,
    /// Bytes of the longest settings.
    pub room: u32,
    /// Where something is kept aside.
    pub aside: Option<AsideConfig>,
}

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unexplored {
    /// Too many nodes.
    #[error(transparent)]
    TooLarge(#[from] TooLarge),
    /// Settings, or what is kept aside, are longer than a rehearsal can hold.
    #[error(
        "a rehearsal holds settings of up to {LONGEST} bytes, and {LONGEST_ASIDE} bytes of what is kept aside; these have {room}, and {aside}"
    )]
    TooLong {
        /// Bytes of the room for settings.
        room: u32,
        /// Bytes of the room aside.
        aside: u32,
    },
    /// A keeper cannot work there.
    #[error("{0}")]
    Config(ConfigFault),
}

/// Makes keepers: new ones, or in a test such with a mistake.
pub trait Machines {
    /// A keeper with so much room.
    type Machine<const ROOM: usize, const ASIDE: usize>: KeeperMachine;

    /// One at power-up.
    fn machine<const ROOM: usize, const ASIDE: usize>(&self) -> Self::Machine<ROOM, ASIDE>;
}

/// Keepers as units have them.
struct New;

impl Machines for New {
    type Machine<const ROOM: usize, const ASIDE: usize> = Keeper<ROOM, ASIDE>;

    fn machine<const ROOM: usize, const ASIDE: usize>(&self) -> Keeper<ROOM, ASIDE> {
        Keeper::new()
    }
}

impl Setup {
    /// Places for records in the region of the settings.
    ///
    /// # Errors
    /// A keeper cannot work there.
    pub fn places(&self) -> Result<u32, ConfigFault> {
        if let Some(aside) = &self.aside {
            Spots::new(self.memory, aside.region, aside.room)?;
        }
        Ok(Spots::new(self.memory, self.region, self.room)?.count)
    }

    /// The same with at most so many places for records in each region; of flash, two sectors, whatever fits into these.
    ///
    /// # Errors
    /// A keeper cannot work there.
    pub fn with_places(&self, places: u32) -> Result<Self, ConfigFault> {
        let shortened = |region: Region, room: u32| {
            let spots = Spots::new(self.memory, region, room)?;
            let size = match self.memory {
                Memory::Pages { .. } => spots.pitch.saturating_mul(places.max(2)),
                Memory::Flash { sector, .. } => sector.saturating_mul(2),
            };
            let size = size.min(region.size);
            Ok(Region { size, ..region })
        };
        let aside = match self.aside {
            None => None,
            Some(aside) => Some(AsideConfig {
                region: shortened(aside.region, aside.room)?,
                ..aside
            }),
        };
        Ok(Self {
            region: shortened(self.region, self.room)?,
            aside,
            ..*self
        })
    }

    /// Puts a version's settings into a new memory, as its keeper leaves them once it rests.
    pub fn hold(&self, memory: &mut SettingsMemory, version: &Version, payload: &[u8]) {
        let Ok(spots) = Spots::new(self.memory, self.region, self.room) else {
            return;
        };
        let head = Head {
            turn: 2,
            sure: 1,
            layout: version.layout,
            len: version.len,
        };
        self.put(memory, spots.record(0), head, payload);
        let ways_back = &version.ways_back;
        let aside = self.aside.filter(|_| !ways_back.is_empty());
        if let Some(Ok(spots)) = aside.map(|aside| Spots::new(self.memory, aside.region, aside.room)) {
            let kept = [&(ways_back.len() as u16).to_le_bytes()[..], ways_back].concat();
            let len = kept.len() as u16;
            self.put(memory, spots.record(0), Head { len, ..head }, &kept);
        }
    }

    fn put(&self, memory: &mut SettingsMemory, address: u32, head: Head, payload: &[u8]) {
        let mut record = [&head.encode()[..], payload, &head.seal(payload).to_le_bytes()].concat();
        if let Memory::Flash { granule, erased, .. } = self.memory {
            record.resize(record.len().next_multiple_of(granule.max(1) as usize), erased);
        }
        match memory {
            SettingsMemory::Pages(pages) => pages.hold(address, &record),
            SettingsMemory::Flash(flash) => flash.hold(address, &record, None),
        }
    }

    /// Bytes of memory to allow for a node of an exploration, everything counted: a keeper with its buffers, what is kept in the
    /// memory, the settings that there may be, and the step of a story.
    pub fn node_bytes(&self) -> usize {
        let aside = self.aside.map_or(0, |aside| aside.room + aside.region.size);
        (16 * self.room + self.region.size + 2 * aside + 2048) as usize
    }
}

/// Explores the keeper of a product. `watch` is told now and then how far it has come.
///
/// # Errors
/// There is no answer.
pub fn explore_setup(setup: &Setup, plan: &Plan, watch: &dyn Fn(Progress)) -> Result<Exploration, Unexplored> {
    explore_machines(setup, plan, &New, watch)
}

/// The same with keepers of another make.
///
/// # Errors
/// There is no answer.
pub fn explore_machines(
    setup: &Setup,
    plan: &Plan,
    machines: &impl Machines,
    watch: &dyn Fn(Progress),
) -> Result<Exploration, Unexplored> {
    setup.places().map_err(Unexplored::Config)?;
    let aside = setup.aside.map_or(0, |aside| aside.room);
    match (setup.room, aside) {
        (..=256, 0) => run::<256, 0>(setup, plan, machines, watch),
        (..=256, ..=4096) => run::<256, 4096>(setup, plan, machines, watch),
        (..=2048, 0) => run::<2048, 0>(setup, plan, machines, watch),
        (..=2048, ..=8192) => run::<2048, 8192>(setup, plan, machines, watch),
        (..=LONGEST, 0) => run::<{ LONGEST as usize }, 0>(setup, plan, machines, watch),
        (..=LONGEST, ..=LONGEST_ASIDE) => {
            run::<{ LONGEST as usize }, { LONGEST_ASIDE as usize }>(setup, plan, machines, watch)
        }
        (room, aside) => Err(Unexplored::TooLong { room, aside }),
    }
}

fn run<const ROOM: usize, const ASIDE: usize>(
    setup: &Setup,
    plan: &Plan,
    machines: &impl Machines,
    watch: &dyn Fn(Progress),
) -> Result<Exploration, Unexplored> {
    let keeper = OurKeeper {
        memory: setup.memory,
        region: setup.region,
        room: setup.room,
        aside: setup.aside,
        machine: machines.machine::<ROOM, ASIDE>(),
    };
    Ok(explore(&keeper, plan, &keeper, watch)?)
}
