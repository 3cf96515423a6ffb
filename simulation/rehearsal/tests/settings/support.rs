//! A small unit: four bytes of settings in 1.0, six in 2.0.

use packstaff_installer::SectorRun;
use packstaff_keeper::table::{Cell, Kind as NumberKind, Number, Outside, Rounding, Scale};
use packstaff_keeper::{AsideConfig, Config, ConfigFault, Head, Keeper, Memory, Region, Reply, Request, Writer};
use packstaff_mutants::keeper::{Machine, Mutation};
use packstaff_rehearsal::explore::Faults;
use packstaff_rehearsal::settings::{Exploration, Ideal, KeeperMachine, OurKeeper, Plan, Version, explore_keeper};
use packstaff_unit::flash::{Flash, FlashLayout, SumKey};
use packstaff_unit::part::SecondProgram;
use packstaff_unit::settings_memory::{PageKind, Pages, SettingsMemory};
use std::sync::Arc;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Eeprom,
    Fram,
    Flash,
}

const BASE: u32 = 0x100;
const PAGE: u32 = 16;
/// A record of eight bytes fills two pages.
const ROOM: u32 = 8;
const PITCH: u32 = 32;
const ASIDE_ROOM: u32 = 100;
const ASIDE_PITCH: u32 = 128;
const SECTOR: u32 = 128;

pub(crate) struct Unit {
    pub(crate) keeper: OurKeeper,
    pub(crate) plan: Plan,
    pub(crate) reduce: bool,
    /// A mistake of its keeper.
    mutation: Option<Mutation>,
}

/// A mutated keeper, as the explorer takes it.
#[derive(Clone, PartialEq, Eq, Hash)]
struct Mutated(Machine);

impl KeeperMachine for Mutated {
    fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
        self.0.step(config, reply)
    }

    fn save(&mut self, config: &Config<'_>, payload: &[u8]) -> Result<(), ConfigFault> {
        self.0.save(config, payload)
    }

    fn settings(&self) -> &[u8] {
        self.0.settings()
    }
}

fn temperature(from: Cell, to: Cell, scale: Scale, range: (i64, i64)) -> Number {
    Number {
        from,
        to,
        scale,
        rounding: Rounding::HalfAway,
        outside: Outside::Clamp,
        low: range.0,
        high: range.1,
        default: 0,
    }
}

/// 1.0: a limit in tenths of a degree F, how many steps there are (at most 8), and a spare byte.
/// 2.0: the limit in hundredths of a degree C, how many steps (at most 16), and a volume, which 1.0 does not have.
fn versions() -> Vec<Version> {
    let old = Cell::little(0, NumberKind::I16);
    let new = Cell::little(0, NumberKind::I32);
    let (old_steps, new_steps) = (Cell::little(2, NumberKind::U8), Cell::little(4, NumberKind::U8));
    let celsius = Scale {
        mul: 50,
        add: -16_000,
        div: 9,
    };
    let fahrenheit = Scale {
        mul: 9,
        add: 16_000,
        div: 50,
    };
    let mut up = Writer::new(1, 4, 2, 6);
    up.number(&temperature(old, new, celsius, (-100_000, 200_000)));
    up.kept(|up| {
        up.number(&temperature(old_steps, new_steps, Scale::SAME, (0, 16)));
        up.put(5, &[3]);
    });
    let mut down = Writer::new(2, 6, 1, 4);
    down.number(&temperature(new, old, fahrenheit, (-2000, 30_000)));
    down.number(&temperature(new_steps, old_steps, Scale::SAME, (0, 8)));
    let down = down.finish().unwrap();
    let ways_back = [&(down.len() as u16).to_le_bytes()[..], &down].concat();
    vec![
        Version {
            name: "1.0".to_owned(),
            layout: 1,
            len: 4,
            tables: Vec::new(),
            ways_back: Vec::new(),
            payloads: vec![vec![0x40, 0x1f, 8, 0], vec![0x40, 0x1f, 2, 0]],
        },
        Version {
            name: "2.0".to_owned(),
            layout: 2,
            len: 6,
            tables: vec![up.finish().unwrap()],
            ways_back,
            payloads: vec![vec![0x10, 0x27, 0, 0, 12, 9], vec![0x10, 0x27, 0, 0, 4, 9]],
        },
    ]
}

impl Unit {
    /// A new unit with so many places for records, none aside.
    pub(crate) fn new(kind: Kind, spots: u32) -> Self {
        Self::with_aside(kind, spots, false)
    }

    pub(crate) fn with_aside(kind: Kind, spots: u32, aside: bool) -> Self {
        // Fewer and larger pages, where there is more to be kept.
        let page = if aside { 2 * PAGE } else { PAGE };
        let (memory, size, aside_size) = match kind {
            Kind::Eeprom => (Memory::Pages { page }, spots * PITCH, 2 * ASIDE_PITCH),
            // Larger pages, as an FRAM takes any number of bytes at once.
            Kind::Fram => (Memory::Pages { page: 32 }, spots * PITCH, 2 * ASIDE_PITCH),
            Kind::Flash => {
                let flash = Memory::Flash {
                    sector: SECTOR,
                    granule: 16,
                    erased: 0xff,
                };
                (flash, spots * SECTOR, 2 * 2 * SECTOR)
            }
        };
        let region = Region { base: BASE, size };
        let aside_region = Region {
            base: BASE + size,
            size: aside_size,
        };
        let keeper = OurKeeper {
            memory,
            region,
            room: ROOM,
            aside: aside.then_some(AsideConfig {
                region: aside_region,
                room: ASIDE_ROOM,
            }),
            machine: Keeper::new(),
        };
        let whole = size + if aside { aside_size } else { 0 };
        let new = match kind {
            Kind::Eeprom => SettingsMemory::Pages(Pages::new(PageKind::Eeprom, BASE, whole, page)),
            Kind::Fram => SettingsMemory::Pages(Pages::new(PageKind::Fram, BASE, whole, 32)),
            Kind::Flash => {
                let runs = vec![SectorRun {
                    count: whole / SECTOR,
                    size: SECTOR,
                }];
                let layout = FlashLayout::new(BASE, runs, 16, 0xff, true, SecondProgram::Never);
                SettingsMemory::Flash(Flash::erased(Arc::new(layout), SumKey::fixed()))
            }
        };
        let nothing = Ideal {
            version: 0,
            value: None,
            aside: None,
        };
        Self {
            keeper,
            plan: Plan {
                from: vec![("new".to_owned(), new, nothing)],
                versions: versions(),
                keeps_aside: aside,
                saves_max: 1,
                faults: Faults::all(),
                cuts_max: None,
                powers_max: None,
                wears_out: false,
                nodes_max: 250_000,
                key: SumKey::fixed(),
            },
            reduce: true,
            mutation: None,
        }
    }

    /// With this version alone.
    pub(crate) fn only(mut self, name: &str) -> Self {
        self.plan.versions.retain(|version| version.name == name);
        self
    }

    /// Each version's first payload alone.
    pub(crate) fn with_one_payload(mut self) -> Self {
        for version in &mut self.plan.versions {
            version.payloads.truncate(1);
        }
        self
    }

    /// A unit with settings, written at this turn.
    pub(crate) fn at_turn(mut self, turn: u32) -> Self {
        let payload = [0x40, 0x1f, 8, 0];
        let head = Head {
            turn,
            sure: turn - 1,
            layout: 1,
            len: 4,
        };
        let record = [&head.encode()[..], &payload, &head.seal(&payload).to_le_bytes()].concat();
        for (name, memory, ideal) in &mut self.plan.from {
            if let SettingsMemory::Pages(pages) = memory {
                pages.hold(BASE, &record);
            }
            *name = "with settings".to_owned();
            ideal.value = Some(payload.to_vec());
        }
        self
    }

    /// With every world kept apart.
    pub(crate) fn unreduced(mut self) -> Self {
        self.reduce = false;
        self
    }

    /// With an EEPROM of such pages, of which a record fills several.
    pub(crate) fn with_page(mut self, page: u32) -> Self {
        self.keeper.memory = Memory::Pages { page };
        let size = self.keeper.region.size;
        for (_, memory, _) in &mut self.plan.from {
            *memory = SettingsMemory::Pages(Pages::new(PageKind::Eeprom, BASE, size, page));
        }
        self
    }

    pub(crate) fn with_mutation(mut self, mutation: Mutation) -> Self {
        self.mutation = Some(mutation);
        self
    }

    pub(crate) fn explore(&self) -> Exploration {
        let found = match self.mutation {
            None => explore_keeper(&self.keeper, &self.plan, self.reduce),
            Some(mutation) => {
                let OurKeeper {
                    memory,
                    region,
                    room,
                    aside,
                    ..
                } = self.keeper;
                let keeper = OurKeeper {
                    memory,
                    region,
                    room,
                    aside,
                    machine: Mutated(mutation.machine()),
                };
                explore_keeper(&keeper, &self.plan, self.reduce)
            }
        };
        found.unwrap()
    }
}
