//! The machine itself: what is loaded, carried over and saved, and in which order.

use crate::carry::{Aside, CarryFault, Happened, carry};
use crate::config::{CHUNK_MAX, Config, ConfigFault, Spots};
use crate::kept::Kept;
use crate::request::{Found, Reply, Request, Stuck, Trouble};
use crate::ring::{Ask, Context, Ring, Turn};
use crate::table::Table;

/// A unit's settings, from power-up on: at most `ROOM` bytes of them, and `ASIDE` bytes of what is kept aside.
///
/// It performs no input or output. A driver calls [`step`](Self::step) with [`Reply::Go`], carries out the request that comes
/// back, hands the reply to the next step, and so on until [`Request::Rest`]. [`save`](Self::save) begins again. The whole
/// memory is this one plain value: after a cut a new one starts from [`Keeper::new`].
///
/// # The order of things, and why
///
/// 1. **Load** the newest record, and finish or undo what a cut interrupted (the table in `ring.rs`). Nothing is reported before.
/// 2. **Carry over**, if it is another version's: by a table of ours, or by one that a newer version left for us.
/// 3. **Keep aside**, before the settings are saved in an older layout, what that cannot hold; and, in a newer one, the ways back.
/// 4. **Save** beside the old record; only then does the old one go.
#[derive(Clone, PartialEq, Eq)]
pub struct Keeper<const ROOM: usize, const ASIDE: usize> {
    stage: Stage,
    main: Ring,
    aside: Ring,
    value: [u8; ROOM],
    layout: u16,
    len: u16,
    scratch: [u8; ROOM],
    left: [u8; ROOM],
    kept: [u8; ASIDE],
    chunk: [u8; CHUNK_MAX],
}

/// Only what the keeper still goes by: not what buffers hold behind the end of what was read or written, and nothing that is made
/// anew before it is looked at. Keepers with the same sum and the same request go on alike, so that a rehearsal need not tell them
/// apart.
impl<const ROOM: usize, const ASIDE: usize> core::hash::Hash for Keeper<ROOM, ASIDE> {
    fn hash<H: core::hash::Hasher>(&self, hasher: &mut H) {
        let read = |ring: &Ring| ring.newest.map_or(0, |at| at.head.len);
        let to_keep = match self.stage {
            Stage::Keep { len, .. } => len,
            _ => 0,
        };
        let value = self.len.max(read(&self.main));
        let kept = to_keep.max(read(&self.aside));
        (self.stage, &self.main, &self.aside, self.layout, self.len).hash(hasher);
        self.value.get(..usize::from(value)).hash(hasher);
        self.kept.get(..usize::from(kept)).hash(hasher);
    }
}

/// What the machine is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Stage {
    PowerUp,
    Load,
    LoadAside,
    /// What stands in the buffer is kept aside; then, unless they are as they should be, the settings are saved.
    Keep {
        found: Found,
        layout: u16,
        len: u16,
        save: bool,
    },
    /// The settings are saved; then, if need be, something is kept aside.
    Save {
        found: Found,
        keep: Option<Keep>,
    },
    Begin,
    Rest(Found),
    Stuck(Stuck),
}

/// What is to be kept aside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Keep {
    /// Our own ways back, and nothing else.
    WaysBack,
    /// What stands in the buffer: a newer version's settings, with the ways back from it.
    Newer { layout: u16, len: u16 },
}

/// A turn of the machine: on, or a request.
enum Go {
    Ask(Ask),
    On(Stage),
}

/// One of the two regions.
#[derive(Clone, Copy)]
enum Which {
    Main,
    Aside,
}

impl<const ROOM: usize, const ASIDE: usize> Default for Keeper<ROOM, ASIDE> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const ROOM: usize, const ASIDE: usize> Keeper<ROOM, ASIDE> {
    /// The keeper at power-up.
    pub const fn new() -> Self {
        Self {
            stage: Stage::PowerUp,
            main: Ring::new(),
            aside: Ring::new(),
            value: [0; ROOM],
            layout: 0,
            len: 0,
            scratch: [0; ROOM],
            left: [0; ROOM],
            kept: [0; ASIDE],
            chunk: [0; CHUNK_MAX],
        }
    }

    /// Whether a keeper of this kind can work with `config`.
    ///
    /// # Errors
    /// Why it cannot.
    pub fn check(config: &Config<'_>) -> Result<(), ConfigFault> {
        Spots::new(config.memory, config.region, config.room)?;
        if u32::from(config.len) > config.room || usize::from(config.len) > ROOM {
            return Err(ConfigFault::TooLong);
        }
        let Some(aside) = config.aside else {
            return Ok(());
        };
        Spots::new(config.memory, aside.region, aside.room)?;
        let needed = config.ways_back.len().saturating_add(2);
        if needed > aside.room as usize || needed > ASIDE {
            return Err(ConfigFault::TooLong);
        }
        Ok(())
    }

    /// The settings: this version's, once the keeper rests. Empty for a new unit.
    pub fn settings(&self) -> &[u8] {
        match self.stage {
            Stage::Rest(_) => self.value.get(..usize::from(self.len)).unwrap_or_default(),
            _ => &[],
        }
    }

    /// Begins to save: call [`step`](Self::step) with [`Reply::Go`] next. Settings that are as they were are not written again.
    ///
    /// # Errors
    /// The payload is not of this version's length, or the keeper is not at rest; nothing was begun then.
    pub fn save(&mut self, config: &Config<'_>, payload: &[u8]) -> Result<(), ConfigFault> {
        let Stage::Rest(found) = self.stage else {
            return Err(ConfigFault::TooLong);
        };
        let room = self.value.get_mut(..usize::from(config.len));
        let Some(room) = room.filter(|room| room.len() == payload.len()) else {
            return Err(ConfigFault::TooLong);
        };
        if found != Found::Nothing && self.len == config.len && self.layout == config.layout && *room == *payload {
            return Ok(());
        }
        room.iter_mut().zip(payload).for_each(|(to, from)| *to = *from);
        self.layout = config.layout;
        self.len = config.len;
        self.stage = Stage::Begin;
        Ok(())
    }

    /// Takes the reply to the last request and makes the next one.
    pub fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
        let mut go = self.turn(config, Some(reply));
        loop {
            match go {
                Go::Ask(ask) => return self.request(ask),
                Go::On(stage) => {
                    self.stage = stage;
                    match stage {
                        Stage::Rest(found) => return Request::Rest(found),
                        Stage::Stuck(stuck) => return Request::Stuck(stuck),
                        _ => go = self.turn(config, None),
                    }
                }
            }
        }
    }

    fn request(&self, ask: Ask) -> Request<'_> {
        match ask {
            Ask::Read { address, len } => Request::Read { address, len },
            Ask::Write { address, len } => Request::Write {
                address,
                data: self.chunk.get(..len as usize).unwrap_or_default(),
            },
            Ask::Erase { address } => Request::Erase { address },
        }
    }

    /// A stage is entered without a reply, and goes on with one.
    fn turn(&mut self, config: &Config<'_>, reply: Option<Reply<'_>>) -> Go {
        match self.stage {
            Stage::PowerUp => Go::On(match Self::check(config) {
                Ok(()) => Stage::Load,
                Err(_) => Stage::Stuck(Stuck::Memory(Trouble::Config)),
            }),
            Stage::Load => match self.ring(config, Which::Main, reply, Ring::load) {
                Turn::Done => Go::On(self.loaded(config)),
                turn => Self::or(turn),
            },
            Stage::LoadAside => match self.ring(config, Which::Aside, reply, Ring::load) {
                Turn::Done => Go::On(self.decide(config)),
                turn => Self::or(turn),
            },
            Stage::Begin => Go::On(Stage::Save {
                found: Found::Ours,
                keep: None,
            }),
            Stage::Save { found, keep } => {
                let (layout, len) = (self.layout, self.len);
                let save = |ring: &mut Ring, context: &mut Context<'_>| ring.save(context, layout, len);
                match self.ring(config, Which::Main, reply, save) {
                    Turn::Done => Go::On(match keep {
                        None => Stage::Rest(found),
                        Some(keep) => self.keep(config, keep, found, false),
                    }),
                    turn => Self::or(turn),
                }
            }
            Stage::Keep {
                found,
                layout,
                len,
                save,
            } => {
                let write = |ring: &mut Ring, context: &mut Context<'_>| ring.save(context, layout, len);
                match self.ring(config, Which::Aside, reply, write) {
                    Turn::Done if save => Go::On(Stage::Save { found, keep: None }),
                    Turn::Done => Go::On(Stage::Rest(found)),
                    turn => Self::or(turn),
                }
            }
            stage @ (Stage::Rest(_) | Stage::Stuck(_)) => Go::On(stage),
        }
    }

    fn or(turn: Turn) -> Go {
        match turn {
            Turn::Ask(ask) => Go::Ask(ask),
            Turn::Trouble(trouble) => Go::On(Stage::Stuck(Stuck::Memory(trouble))),
            Turn::Done => Go::On(Stage::Stuck(Stuck::Memory(Trouble::Config))),
        }
    }

    /// Enters one of the two regions, or goes on in it.
    fn ring(
        &mut self,
        config: &Config<'_>,
        which: Which,
        reply: Option<Reply<'_>>,
        enter: impl FnOnce(&mut Ring, &mut Context<'_>) -> Turn,
    ) -> Turn {
        let (ring, payload, region, room): (_, &mut [u8], _, _) = match (which, config.aside) {
            (Which::Main, _) => (&mut self.main, &mut self.value, config.region, config.room),
            (Which::Aside, Some(aside)) => (&mut self.aside, &mut self.kept, aside.region, aside.room),
            (Which::Aside, None) => return Turn::Trouble(Trouble::Config),
        };
        let Ok(spots) = Spots::new(config.memory, region, room) else {
            return Turn::Trouble(Trouble::Config);
        };
        let mut context = Context {
            spots,
            payload,
            chunk: &mut self.chunk,
        };
        match reply {
            None => enter(ring, &mut context),
            Some(reply) => ring.step(&mut context, reply),
        }
    }

    /// The newest record is in the buffer.
    fn loaded(&mut self, config: &Config<'_>) -> Stage {
        (self.layout, self.len) = self.main.newest.map_or((0, 0), |at| (at.head.layout, at.head.len));
        match config.aside {
            Some(_) => Stage::LoadAside,
            None => self.decide(config),
        }
    }

    /// Both regions were gone through: what is to be done.
    fn decide(&mut self, config: &Config<'_>) -> Stage {
        let kept_len = usize::from(self.aside.newest.map_or(0, |at| at.head.len));
        let kept_layout = self.aside.newest.map(|at| at.head.layout);
        let kept = Kept::new(self.kept.get(..kept_len).unwrap_or_default());
        // Ours are there, or those of a newer version, which lead here.
        let stale = match kept_layout {
            Some(layout) if layout == config.layout => kept.tables != config.ways_back,
            _ => !kept.leads_to(config.layout),
        };
        let ways_back = (!config.ways_back.is_empty() && stale).then_some(Keep::WaysBack);
        let at_rest = |this: &mut Self, found| match ways_back {
            None => Stage::Rest(found),
            Some(keep) => this.keep(config, keep, found, false),
        };
        if self.main.newest.is_none() {
            return at_rest(self, Found::Nothing);
        }
        if self.layout == config.layout {
            if self.len == config.len {
                return at_rest(self, Found::Ours);
            }
            return Stage::Stuck(Stuck::Foreign { layout: self.layout });
        }
        let ours = config.tables.iter().filter_map(|bytes| Table::new(bytes));
        let mut ours = ours.filter(|table| table.from == self.layout && table.to == config.layout);
        let upward = ours.next();
        match upward {
            Some(table) => self.up(config, &table, ways_back),
            None => self.down(config, kept_layout, kept_len),
        }
    }

    /// From an older layout, by a table of ours.
    fn up(&mut self, config: &Config<'_>, table: &Table<'_>, ways_back: Option<Keep>) -> Stage {
        let layout = self.layout;
        let kept_len = usize::from(self.aside.newest.map_or(0, |at| at.head.len));
        let kept = Kept::new(self.kept.get(..kept_len).unwrap_or_default());
        let ours = self.aside.newest.is_some_and(|at| at.head.layout == config.layout);
        let there = ours && kept.payload.len() == usize::from(config.len);
        let back = kept.table(config.layout, layout).filter(|_| there);
        // What the older version was given when it took over, computed once more.
        let left = back.and_then(|back| {
            let left = self.left.get_mut(..usize::from(self.len))?;
            carry(&back, kept.payload, None, left, |_| ()).ok()?;
            Some(&*left)
        });
        let aside = left.map(|left| Aside {
            newer: kept.payload,
            left,
        });
        let from = self.value.get(..usize::from(self.len)).unwrap_or_default();
        let to = self.scratch.get_mut(..usize::from(config.len)).unwrap_or_default();
        let mut given_back = false;
        let notice = |notice: crate::carry::Notice| given_back |= notice.what == Happened::GivenBack;
        if let Err(fault) = carry(table, from, aside, to, notice) {
            return Stage::Stuck(Stuck::Carry { layout, fault });
        }
        let merged = aside.is_some();
        self.take_over(config);
        let found = Found::CarriedOver {
            from: layout,
            given_back,
        };
        match ways_back {
            None => Stage::Save { found, keep: None },
            // What is given back must not go before it is saved.
            Some(_) if merged => Stage::Save { found, keep: ways_back },
            Some(keep) => self.keep(config, keep, found, true),
        }
    }

    /// From a layout that we do not know, by a table that its version left for us.
    fn down(&mut self, config: &Config<'_>, kept_layout: Option<u16>, kept_len: usize) -> Stage {
        let layout = self.layout;
        let foreign = Stage::Stuck(Stuck::Foreign { layout });
        let kept = Kept::new(self.kept.get(..kept_len).unwrap_or_default());
        let Some(table) = kept.table(layout, config.layout).filter(|_| kept_layout.is_some()) else {
            return foreign;
        };
        let from = self.value.get(..usize::from(self.len)).unwrap_or_default();
        let to = self.scratch.get_mut(..usize::from(config.len)).unwrap_or_default();
        if let Err(fault) = carry(&table, from, None, to, |_| ()) {
            return Stage::Stuck(Stuck::Carry { layout, fault });
        }
        // What is kept aside: the same ways back, and the newer settings as they are now.
        let start = kept.tables.len().saturating_add(2);
        let end = start.saturating_add(from.len());
        let (Some(room), Ok(len)) = (self.kept.get_mut(start..end), u16::try_from(end)) else {
            return Stage::Stuck(Stuck::Carry {
                layout,
                fault: CarryFault::Length {
                    found: end,
                    expected: ASIDE,
                },
            });
        };
        room.iter_mut().zip(from).for_each(|(to, from)| *to = *from);
        self.take_over(config);
        let found = Found::CarriedOver {
            from: layout,
            given_back: false,
        };
        let keep = Keep::Newer { layout, len };
        self.keep(config, keep, found, true)
    }

    /// What was carried over becomes what is to be saved.
    fn take_over(&mut self, config: &Config<'_>) {
        self.value = self.scratch;
        self.layout = config.layout;
        self.len = config.len;
    }

    fn keep(&mut self, config: &Config<'_>, keep: Keep, found: Found, save: bool) -> Stage {
        let (layout, len) = match keep {
            Keep::Newer { layout, len } => (layout, len),
            Keep::WaysBack => {
                let tables = config.ways_back.len() as u16;
                let bytes = tables.to_le_bytes();
                let bytes = bytes.iter().chain(config.ways_back);
                self.kept.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
                (config.layout, tables.saturating_add(2))
            }
        };
        Stage::Keep {
            found,
            layout,
            len,
            save,
        }
    }
}
