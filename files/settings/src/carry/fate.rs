//! What becomes of settings, in data that reports, sheets and pages show.

use crate::Ratio;
use crate::layout::Kind;
use std::fmt;

/// What becomes of one field of the newer or older layout that is gone to.
#[derive(Clone, Debug, PartialEq)]
pub struct Fate {
    /// Its path without indices.
    pub field: String,
    /// What it means, or its path.
    pub means: String,
    /// What it was called before; `None` for a field that nothing comes to.
    pub was: Option<String>,
    /// What it is.
    pub kind: Kind,
    /// What becomes of it.
    pub outcome: Outcome,
    /// How.
    pub changes: Vec<Change>,
    /// For a field that nothing comes to: what it becomes, with its unit.
    pub becomes: Option<String>,
    /// Elements that something comes to, and all there are.
    pub elements: (usize, usize),
}

/// What becomes of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Outcome {
    /// The same value in the same form.
    Kept,
    /// The same value in another form.
    Converted,
    /// Nothing comes to it: it is as in a new unit, or as the maker's rule sets it.
    Defaulted,
}

/// How a field changes.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// Another name.
    Renamed,
    /// Another place.
    Moved {
        /// Offset of its first element before.
        from: u32,
        /// And now.
        to: u32,
    },
    /// More room.
    Widened {
        /// Before.
        from: String,
        /// Now.
        to: String,
    },
    /// Less room.
    Narrowed {
        /// Before.
        from: String,
        /// Now.
        to: String,
    },
    /// Another worth of a stored 1.
    Rescaled {
        /// Before.
        from: String,
        /// Now.
        to: String,
    },
    /// Another unit.
    Unit {
        /// Before.
        from: String,
        /// Now.
        to: String,
    },
    /// The maker's formula.
    Formula {
        /// new = old * factor + offset.
        factor: Ratio,
        /// See `factor`.
        offset: Ratio,
    },
    /// Names that read otherwise now.
    NamesRenamed(Vec<(String, String)>),
    /// The same names under other numbers.
    NamesRenumbered,
    /// Rounded to larger steps.
    Coarser {
        /// The step.
        step: String,
    },
    /// More elements.
    Grown {
        /// Before, in the innermost array that grew.
        from: usize,
        /// Now.
        to: usize,
    },
    /// Some values are moved to the nearest end of the range.
    MayClamp {
        /// Which.
        what: String,
    },
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Renamed => f.write_str("renamed"),
            Self::Moved { from, to } => write!(f, "moved from byte {from} to {to}"),
            Self::Widened { from, to } => write!(f, "widened from {from} to {to}"),
            Self::Narrowed { from, to } => write!(f, "narrowed from {from} to {to}"),
            Self::Rescaled { from, to } => write!(f, "steps of {from} become steps of {to}"),
            Self::Unit { from, to } => write!(f, "{from} become {to}"),
            Self::Formula { factor, offset } if *offset == Ratio::ZERO => write!(f, "multiplied by {factor}"),
            Self::Formula { factor, offset } => write!(f, "multiplied by {factor}, plus {offset}"),
            Self::NamesRenamed(names) => {
                let pairs: Vec<String> = names
                    .iter()
                    .map(|(is, becomes)| format!("{is} becomes {becomes}"))
                    .collect();
                f.write_str(&pairs.join(", "))
            }
            Self::NamesRenumbered => f.write_str("the same names under other numbers"),
            Self::Coarser { step } => write!(f, "rounded to {step}"),
            Self::Grown { from, to } => write!(f, "{from} of them become {to}"),
            Self::MayClamp { what } => write!(f, "{what} are moved into the range"),
        }
    }
}

/// A field that is lost, as a whole or in part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lost {
    /// Its path without indices, where it comes from.
    pub field: String,
    /// What it means, or its path.
    pub means: String,
    /// What it is.
    pub kind: Kind,
    /// What of it is lost.
    pub what: LostPart,
    /// The maker's reason, if one is given.
    pub because: Option<String>,
    /// It is kept aside, and comes back when the newer version does.
    pub aside: bool,
}

/// What of a field is lost.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LostPart {
    /// All of it.
    Whole,
    /// All elements but the first so many.
    Beyond {
        /// Elements that stay.
        kept: usize,
        /// Elements there are.
        of: usize,
    },
    /// Values that the other layout does not have.
    Values(String),
}

impl Lost {
    /// Whether the update may not be released like this.
    pub const fn needs_reason(&self) -> bool {
        self.kind.is_irreplaceable() && self.because.is_none() && !self.aside
    }
}

impl fmt::Display for Lost {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.what {
            LostPart::Whole => f.write_str(&self.field),
            LostPart::Beyond { kept, of } => write!(f, "{} beyond the first {kept} of {of}", self.field),
            LostPart::Values(values) => write!(f, "{}: {values}", self.field),
        }
    }
}
