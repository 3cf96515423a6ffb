//! What is being done at this moment, for whoever watches: facts and numbers, which `packstaff-words` turns into a line.

/// Somebody who watches the work.
pub trait Progress: Sync {
    /// A step has begun, or has come this far. Called again and again, perhaps by several threads; must be quick.
    fn at(&self, step: &Step<'_>);
}

/// What is being done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Step<'a> {
    /// The builds are read and checked.
    CheckingBuilds,
    /// The keyring is opened.
    OpeningKeyring,
    /// The tree of the HSS-LMS key is computed.
    ComputingTree {
        /// Leaves done.
        done: u32,
        /// Leaves in all.
        all: u32,
    },
    /// Update files are packed and signed.
    Packing,
    /// One install without a cut.
    Installing {
        /// The board revision.
        board: &'a str,
        /// The version to come from; `None` is a new unit.
        from: Option<&'a str>,
        /// The version to come to.
        to: &'a str,
    },
    /// A trial install for a budget.
    TrialInstall {
        /// The board revision.
        board: &'a str,
    },
    /// All that can happen is explored.
    Exploring {
        /// Of what.
        what: Explored<'a>,
        /// How far the exploration has come; `None` at its beginning.
        counts: Option<Counts>,
    },
    /// The stick image is made.
    MakingStick,
    /// A port is taken through a case.
    TryingPort {
        /// What the case is.
        case: &'a str,
    },
}

/// What is explored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Explored<'a> {
    /// Installs on a board.
    Installs {
        /// The board revision.
        board: &'a str,
        /// The version to come to.
        to: &'a str,
    },
    /// Settings.
    Settings {
        /// The settings memory, by the trade's name.
        memory: &'a str,
    },
    /// A maker's own loader.
    OwnLoader {
        /// The image to come to.
        to: &'a str,
    },
}

/// How far an exploration has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Counts {
    /// Worlds with power off that were told apart so far.
    pub worlds: usize,
    /// All nodes so far, worlds and powered units.
    pub nodes: usize,
    /// Nodes that are still to be looked at.
    pub ahead: usize,
    /// Cuts so far.
    pub cuts: u64,
}

impl From<packstaff_rehearsal::explore::Progress> for Counts {
    fn from(seen: packstaff_rehearsal::explore::Progress) -> Self {
        Self {
            worlds: seen.worlds,
            nodes: seen.nodes,
            ahead: seen.ahead,
            cuts: seen.cuts,
        }
    }
}

/// Nobody watches.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Progress for Silent {
    fn at(&self, _step: &Step<'_>) {}
}
