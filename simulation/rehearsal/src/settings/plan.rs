//! What is asked of an exploration of settings, and what it answers.

use super::ideal::Ideal;
use super::story::Story;
use crate::explore::Faults;
use packstaff_unit::flash::SumKey;
use packstaff_unit::settings_memory::SettingsMemory;

/// A version of a product, as far as settings go.
#[derive(Clone, Debug)]
pub struct Version {
    /// What to call it.
    pub name: String,
    /// Its layout.
    pub layout: u16,
    /// Bytes of its settings.
    pub len: u16,
    /// Tables from older layouts to its own.
    pub tables: Vec<Vec<u8>>,
    /// Tables that lead back, each behind its length in two bytes.
    pub ways_back: Vec<u8>,
    /// What an owner may change the settings to.
    pub payloads: Vec<Vec<u8>>,
}

/// What to explore.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The worlds to begin with: what to call them, the memory, and the settings in it.
    pub from: Vec<(String, SettingsMemory, Ideal)>,
    /// The versions that owners have.
    pub versions: Vec<Version>,
    /// Whether there is a region aside.
    pub keeps_aside: bool,
    /// How often an owner changes settings between two power-ups.
    pub saves_max: u8,
    /// What may go wrong: cuts, what a cut inside a change leaves, and doubtful cells. The other faults do not reach settings.
    pub faults: Faults,
    /// Power is cut, before, inside and after every change: at most so often, or, with `None`, any number of times.
    pub cuts_max: Option<u8>,
    /// Power comes on at most so often, or, with `None`, any number of times.
    pub powers_max: Option<u8>,
    /// One page, any one, wears out at any write.
    pub wears_out: bool,
    /// The most nodes to visit.
    pub nodes_max: usize,
    /// Key of the sums.
    pub key: SumKey,
}

/// A claim that does not hold of settings, with the shortest way to it.
pub type Violation = crate::claims::Violation<Story>;

/// What an exploration covered and found.
#[derive(Clone, Debug, Default)]
pub struct Exploration {
    /// Worlds with power off that were told apart.
    pub worlds: usize,
    /// Powered stores about to change their memory, or at rest.
    pub powered: usize,
    /// Cuts: before, inside and after changes.
    pub cuts: u64,
    /// The longest shortest way.
    pub levels: usize,
    /// Most changes of the memory from power-on to rest, if nothing happens.
    pub changes_max: usize,
    /// The first claim that does not hold.
    pub violation: Option<Violation>,
}

/// There are more nodes than were allowed for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("more than {0} nodes: allow for more, or rehearse fewer versions or payloads")]
pub struct TooLarge(pub usize);
