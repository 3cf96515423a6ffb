//! What can be wrong with a document that people write, and where.

use crate::range::{Range, RangeError};
use thiserror::Error;

/// What is wrong at one place of a document.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum Problem {
    /// The text is not TOML.
    #[error("this is not TOML: {message}")]
    Syntax {
        /// The TOML reader's own words, on one line.
        message: String,
    },
    /// A key that the format does not know.
    #[error("{place} has no key `{key}`")]
    UnknownKey {
        /// The table, as a reader would write its heading.
        place: &'static str,
        /// The key found.
        key: String,
        /// The key that was probably meant.
        near: Option<&'static str>,
        /// Every key that would do.
        known: &'static [&'static str],
    },
    /// A key that the format demands.
    #[error("{place} lacks `{key}`")]
    MissingKey {
        /// The table, as a reader would write its heading.
        place: &'static str,
        /// The key.
        key: &'static str,
        /// How the line to add begins.
        form: String,
    },
    /// A value of another TOML type.
    #[error("`{key}` is {found}, where {expected} is expected")]
    WrongType {
        /// The key.
        key: &'static str,
        /// The type found, with its article.
        found: &'static str,
        /// The type expected, with its article.
        expected: &'static str,
    },
    /// A value of the right type that will not do.
    #[error("`{key}` is {found}, which is not {expected}")]
    BadValue {
        /// The key.
        key: &'static str,
        /// The value found.
        found: String,
        /// What would do.
        expected: String,
        /// How to put it right.
        advice: String,
    },
    /// Two ranges of one address space share bytes.
    #[error("{one} and {other} overlap in {shared}")]
    Overlap {
        /// The range pointed at.
        one: String,
        /// The range that stands earlier.
        other: String,
        /// The bytes that both claim.
        shared: Range,
    },
    /// A key that does not go with what the rest of its table says.
    #[error("`{key}` {why}")]
    Misfit {
        /// The key.
        key: &'static str,
        /// What it does not go with.
        why: String,
        /// What to do.
        advice: &'static str,
    },
    /// A range that cannot exist.
    #[error("`{key}`: {error}")]
    BadRange {
        /// The key.
        key: &'static str,
        /// Why.
        error: RangeError,
    },
    /// A value that must be unique stands twice.
    #[error("{what} {value} stands here for the second time; the first is on line {first_line}")]
    Duplicate {
        /// What must be unique.
        what: &'static str,
        /// The value.
        value: String,
        /// Where it stands first, counted from 1.
        first_line: usize,
    },
    /// A name that should be listed elsewhere and is not.
    #[error("`{key}` names {value}, which is not in {list}")]
    UnknownName {
        /// The key.
        key: &'static str,
        /// The name.
        value: String,
        /// Where it was looked for.
        list: &'static str,
        /// The name that was probably meant.
        near: Option<String>,
        /// What to do if it was not.
        advice: &'static str,
    },
    /// What only the reader of this kind of document can know to be wrong.
    #[error("{message}")]
    Unsuitable {
        /// What it is about, without any value from the document.
        subject: String,
        /// What is wrong.
        message: String,
        /// What to do.
        advice: String,
    },
}

impl Problem {
    /// What to do about it.
    pub fn advice(&self) -> String {
        match self {
            Self::Syntax { .. } => {
                "Compare the line with its neighbours: texts stand in \"quotes\", lists in [brackets]. The format is TOML 1.0."
                    .to_owned()
            }
            Self::UnknownKey { near: Some(near), .. } => {
                format!("Did you mean `{near}`? Correct the name, or take the line out.")
            }
            Self::UnknownKey { known, .. } => {
                format!("Take the line out, or use one of: {}.", known.join(", "))
            }
            Self::MissingKey { form, .. } => format!("Add a line `{form}` there."),
            Self::WrongType { expected, .. } => format!("Write {expected}."),
            Self::BadValue { advice, .. } | Self::Unsuitable { advice, .. } => advice.clone(),
            Self::Overlap { .. } => "Move or shorten one of the two.".to_owned(),
            Self::Misfit { advice, .. } => (*advice).to_owned(),
            Self::BadRange { .. } => "Give `start` and `size` in bytes, hexadecimal if you like.".to_owned(),
            Self::Duplicate { .. } => "Take one of them out, or give it another value.".to_owned(),
            Self::UnknownName { near: Some(near), .. } => format!("Did you mean `{near}`?"),
            Self::UnknownName { advice, .. } => (*advice).to_owned(),
        }
    }

    /// The key, table or range that the problem is about, without any value from the document.
    pub fn subject(&self) -> &str {
        match self {
            Self::Syntax { .. } => "the TOML syntax",
            Self::UnknownKey { place, .. } => place,
            Self::MissingKey { key, .. }
            | Self::WrongType { key, .. }
            | Self::BadValue { key, .. }
            | Self::BadRange { key, .. }
            | Self::Misfit { key, .. }
            | Self::UnknownName { key, .. } => key,
            Self::Overlap { one, .. } => one,
            Self::Duplicate { what, .. } => what,
            Self::Unsuitable { subject, .. } => subject,
        }
    }
}

/// A problem and its place.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("line {line}, column {column}: {problem}")]
pub struct Fault {
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// Bytes of the document that it is about.
    pub span: std::ops::Range<usize>,
    /// What is wrong.
    pub problem: Problem,
}

/// A document that cannot be used, with everything that is wrong with it, in the order of its lines.
#[derive(Debug, Error)]
#[error("{}", self.summary())]
pub struct DocumentError {
    name: String,
    text: String,
    faults: Vec<Fault>,
}

impl DocumentError {
    pub(crate) fn new(name: &str, text: &str, mut faults: Vec<Fault>) -> Self {
        faults.sort_by_key(|fault| (fault.line, fault.column));
        Self {
            name: name.to_owned(),
            text: text.to_owned(),
            faults,
        }
    }

    /// The document's name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The document's whole text, to show the lines that are wrong.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Everything that is wrong, at least one thing.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    fn summary(&self) -> String {
        let lines = self.faults.iter().map(|fault| {
            format!(
                "{}:{}:{}: {}. {}",
                self.name,
                fault.line,
                fault.column,
                fault.problem,
                fault.problem.advice()
            )
        });
        lines.collect::<Vec<_>>().join("\n")
    }
}
