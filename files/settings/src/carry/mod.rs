//! What becomes of settings between any two versions.
//!
//! A [`History`] is the layouts of all versions. [`History::plan`] works out one pair: field by field what is kept, converted,
//! defaulted and lost, and the table that a unit's `keeper` runs to do exactly that. Nothing is carried over here: the host
//! runs keeper too.
//!
//! Fields of the same name and a fitting type are the same field. What a machine cannot know, a rename or a formula, the
//! newer version's file says for both directions at once. Between versions that are not neighbours, conversions are joined
//! exactly and rounded once.

mod convert;
mod fate;
mod history;
mod path;
mod plan;
mod resolve;
mod run;
mod table;
mod verdict;

pub use fate::{Change, Fate, Lost, LostPart, Outcome};
pub use history::History;
pub use plan::Plan;
pub use run::{Carried, Notice, carry_record};
pub use verdict::{Matrix, Objection, Reach};

use thiserror::Error;

/// Who carries settings over in a unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Carrier {
    /// Nothing changes.
    Unchanged,
    /// `keeper`, by the plan's table.
    Keeper,
    /// The firmware of the version gone to, by its own code.
    Firmware,
    /// Nobody: settings are left as they are, and the version gone to does not know them.
    Nobody {
        /// The maker's reason, if one is given.
        because: Option<String>,
    },
}

/// Why settings cannot be planned or carried over.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CarryError {
    /// A version without a layout.
    #[error("there is no layout for version {version}. There are layouts for: {}. Add settings/{version}.toml", known.join(", "))]
    NoLayout {
        /// The version asked for.
        version: String,
        /// Those that there are.
        known: Vec<String>,
    },
    /// Two layouts of one version.
    #[error("version {0} has two layouts. Keep one")]
    Twice(String),
    /// Two different layouts with one number.
    #[error(
        "versions {one} and {other} both have layout number {number:#06x}, and their layouts differ. Give the later one another number: a unit tells records apart by it"
    )]
    SameNumber {
        /// The number.
        number: u16,
        /// The earlier version.
        one: String,
        /// The later version.
        other: String,
    },
    /// `[[from]]` names a version that is not there or not earlier.
    #[error("the layout of {file} has [[from]] for version {version}, which is no earlier version with a layout")]
    UnknownVersion {
        /// Version whose file it is.
        file: String,
        /// Version named.
        version: String,
    },
    /// A rule names a field that is not there.
    #[error("a rule in the layout of {file} names {field:?}, which is no field of version {version}")]
    NoField {
        /// Version whose file has the rule.
        file: String,
        /// Version whose field is meant.
        version: String,
        /// The path.
        field: String,
    },
    /// A rule that cannot be followed.
    #[error("{old} cannot become {new}: {why}. Correct the rule, or allow the loss with a reason")]
    Rule {
        /// Path in the earlier version.
        old: String,
        /// Path in the later version.
        new: String,
        /// Why not.
        why: String,
    },
    /// The table cannot be written.
    #[error("the carry-over table cannot be written: {0}")]
    Table(String),
}
