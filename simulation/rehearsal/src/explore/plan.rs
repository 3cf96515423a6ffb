//! What is asked of an exploration, and what it answers.

use super::faults::Faults;
use super::story::Story;
use crate::claims::ReleasedImage;
use packstaff_installer::Phase;
use packstaff_unit::flash::{Flash, SumKey};
use packstaff_unit::stick::Stick;
use std::collections::BTreeMap;
use thiserror::Error;

/// A stick that may be in the unit.
#[derive(Clone, Debug)]
pub struct StickOption {
    /// What to call it in a story.
    pub name: String,
    /// The stick.
    pub stick: Stick,
    /// Whether it holds an update file that a unit can install as a whole.
    pub good: bool,
}

/// Bytes of memory to allow for a node, everything counted. Measured with the example `growth`: 64 KiB and 1024 KiB images differ by
/// 343,200 nodes and 231 MiB at their peak, which is 700 bytes a node; where worlds have more in doubt, it is more.
pub const NODE_BYTES: usize = 2048;

/// What to explore.
#[derive(Clone, Debug)]
pub struct Plan<'a> {
    /// The worlds to begin with, and what to call them.
    pub from: Vec<(String, Flash)>,
    /// The sticks.
    pub sticks: Vec<StickOption>,
    /// Which stick a patient owner has.
    pub good_stick: usize,
    /// The file that a patient owner picks, by its manifest's digest.
    pub goal: [u8; 32],
    /// What must run in the end.
    pub target: ReleasedImage,
    /// Everything that the maker has released for this board.
    pub releases: &'a [ReleasedImage],
    /// Image digest of each update file on the sticks, by its manifest's digest.
    pub files: Vec<([u8; 32], [u8; 32])>,
    /// What may go wrong.
    pub faults: Faults,
    /// Whether contents that nobody reads are kept apart or not.
    pub reduce: bool,
    /// Stop at the first violation, or go on to the end.
    pub stop_at_first: bool,
    /// The most nodes to visit. A node takes at most about [`NODE_BYTES`].
    pub nodes_max: usize,
    /// Key of the sums.
    pub key: SumKey,
}

/// Why an exploration ended without an answer.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum Unfinished {
    /// There are more nodes than were allowed for.
    #[error("more than {0} nodes: allow for more (about {NODE_BYTES} bytes each), or rehearse a smaller part")]
    TooLarge(usize),
    /// The loader does not come to a change of flash, a wait or a start.
    #[error("the loader goes round in circles without ever changing flash, waiting, or starting an image")]
    Endless,
    /// Contents were read that were declared as read by nobody.
    #[error(
        "the loader reads {address:#010x} after a cut, where nothing was to be read before an erase: rehearse without the reduction"
    )]
    Unsound {
        /// What it read.
        address: u32,
    },
}

/// What was covered while a unit did one thing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Coverage {
    /// Powered loaders about to change flash.
    pub powered: usize,
    /// Cuts: before, inside and after changes.
    pub cuts: u64,
    /// Worlds with power off that one of these cuts was the first to lead to.
    pub worlds: usize,
}

/// How far an exploration has come, told again and again while it goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Worlds with power off that were told apart so far.
    pub worlds: usize,
    /// All nodes so far, worlds and powered loaders.
    pub nodes: usize,
    /// Nodes that are still to be looked at.
    pub ahead: usize,
    /// Cuts so far.
    pub cuts: u64,
}

/// A claim that does not hold of an install, with the shortest way to it.
pub type Violation = crate::claims::Violation<Story>;

/// What an exploration covered and found.
#[derive(Clone, Debug)]
pub struct Exploration {
    /// Worlds with power off that were told apart.
    pub worlds: usize,
    /// Powered loaders about to change flash.
    pub powered: usize,
    /// Transitions.
    pub transitions: u64,
    /// Cuts among them: before, inside and after changes.
    pub cuts: u64,
    /// Levels of the search: the longest shortest way.
    pub levels: usize,
    /// What was covered, by what the unit was doing.
    pub phases: BTreeMap<Phase, Coverage>,
    /// Most changes of flash that a patient owner's unit needs, from any world, until the picked version runs.
    pub changes_max: usize,
    /// Claims that do not hold: at most one story each.
    pub violations: Vec<Violation>,
    /// Whether every world was looked at: not so if the exploration ended at the first claim that does not hold.
    pub to_the_end: bool,
}

impl Exploration {
    /// Whether every claim holds.
    pub fn holds(&self) -> bool {
        self.violations.is_empty()
    }
}
