//! What is explored: a settings store, as the explorer sees it.

use super::Version;
use packstaff_keeper::{AsideConfig, Config, ConfigFault, Keeper, Memory, Region, Reply, Request};
use packstaff_unit::flash::Change;
use std::hash::Hash;

/// What a store asks of its unit.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Wish {
    /// Read so many bytes from an address.
    Read(u32, u32),
    /// Write, or program, these bytes at an address.
    Write(u32, Vec<u8>),
    /// Erase the sector at this address.
    Erase(u32),
    /// It rests: these are the settings; `None` for a unit that has none.
    Rest(Option<Vec<u8>>),
    /// It has settings of another version that it cannot read, and leaves them alone.
    Foreign,
    /// It has settings that it should carry over, and cannot.
    NotCarried(String),
    /// It cannot go on.
    Stuck(String),
}

impl Wish {
    /// The change that it stands for.
    pub fn change(&self) -> Option<Change> {
        Some(match self {
            Self::Write(address, data) => Change::Program {
                address: *address,
                data: data.clone(),
            },
            Self::Erase(address) => Change::Erase { address: *address },
            _ => return None,
        })
    }
}

/// A settings store whose whole memory is one value. Each version of a product has its own.
pub trait Store: Sync {
    /// The memory.
    type State: Clone + Eq + Hash + Send + Sync;

    /// Power comes on in a unit with this version.
    fn power_up(&self, version: &Version) -> (Self::State, Wish);

    /// The answer to the last wish; the next one.
    fn step(&self, version: &Version, state: &mut Self::State, reply: Reply<'_>) -> Wish;

    /// At rest: the owner changes something. The next wish.
    fn save(&self, version: &Version, state: &mut Self::State, payload: &[u8]) -> Wish;
}

/// Most bytes of settings, where nothing else is said.
pub const ROOM: usize = 32;
/// Most bytes kept aside, where nothing else is said.
pub const ASIDE: usize = 256;

/// A keeper as a step machine, all of whose memory is one value: ours, or in a test one with a mistake.
pub trait KeeperMachine: Clone + Eq + Hash + Send + Sync {
    /// As [`Keeper::step`].
    fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_>;

    /// As [`Keeper::save`].
    ///
    /// # Errors
    /// As there.
    fn save(&mut self, config: &Config<'_>, payload: &[u8]) -> Result<(), ConfigFault>;

    /// As [`Keeper::settings`].
    fn settings(&self) -> &[u8];
}

impl<const ROOM: usize, const ASIDE: usize> KeeperMachine for Keeper<ROOM, ASIDE> {
    fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
        self.step(config, reply)
    }

    fn save(&mut self, config: &Config<'_>, payload: &[u8]) -> Result<(), ConfigFault> {
        self.save(config, payload)
    }

    fn settings(&self) -> &[u8] {
        self.settings()
    }
}

/// Our own keeper.
#[derive(Clone)]
pub struct OurKeeper<M = Keeper<ROOM, ASIDE>> {
    /// The kind of memory.
    pub memory: Memory,
    /// Where the settings are.
    pub region: Region,
    /// Bytes of the longest payload.
    pub room: u32,
    /// Where something is kept aside.
    pub aside: Option<AsideConfig>,
    /// The machine at power-up.
    pub machine: M,
}

impl<M: KeeperMachine> OurKeeper<M> {
    fn with<T>(&self, version: &Version, take: impl FnOnce(&Config<'_>) -> T) -> T {
        let tables: Vec<&[u8]> = version.tables.iter().map(Vec::as_slice).collect();
        take(&Config {
            memory: self.memory,
            region: self.region,
            room: self.room,
            aside: self.aside,
            layout: version.layout,
            len: version.len,
            tables: &tables,
            ways_back: if self.aside.is_some() { &version.ways_back } else { &[] },
        })
    }

    fn wish(request: Request<'_>) -> Option<Wish> {
        Some(match request {
            Request::Read { address, len } => Wish::Read(address, len),
            Request::Write { address, data } => Wish::Write(address, data.to_vec()),
            Request::Erase { address } => Wish::Erase(address),
            Request::Rest(_) => return None,
            Request::Stuck(packstaff_keeper::Stuck::Foreign { .. }) => Wish::Foreign,
            Request::Stuck(packstaff_keeper::Stuck::Carry { layout, fault }) => Wish::NotCarried(format!(
                "settings of layout {layout:#06x} cannot be carried over: {fault}"
            )),
            Request::Stuck(stuck) => Wish::Stuck(format!("{stuck:?}")),
        })
    }

    fn rest(state: &M) -> Wish {
        let settings = state.settings();
        Wish::Rest((!settings.is_empty()).then(|| settings.to_vec()))
    }
}

impl<M: KeeperMachine> Store for OurKeeper<M> {
    type State = M;

    fn power_up(&self, version: &Version) -> (Self::State, Wish) {
        let mut state = self.machine.clone();
        let wish = self.step(version, &mut state, Reply::Go);
        (state, wish)
    }

    fn step(&self, version: &Version, state: &mut Self::State, reply: Reply<'_>) -> Wish {
        let wish = self.with(version, |config| Self::wish(state.step(config, reply)));
        wish.unwrap_or_else(|| Self::rest(state))
    }

    fn save(&self, version: &Version, state: &mut Self::State, payload: &[u8]) -> Wish {
        match self.with(version, |config| state.save(config, payload)) {
            Ok(()) => self.step(version, state, Reply::Go),
            Err(fault) => Wish::Stuck(fault.to_string()),
        }
    }
}
