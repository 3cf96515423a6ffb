//! What is being done at this moment, for whoever watches: facts and numbers, which `packstaff-words` turns into a line.

/// Somebody who watches the work.
pub trait Progress {
    /// A step has begun, or has come this far. Called again and again; must be quick.
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
    /// The stick image is made.
    MakingStick,
}

/// Nobody watches.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Progress for Silent {
    fn at(&self, _step: &Step<'_>) {}
}
