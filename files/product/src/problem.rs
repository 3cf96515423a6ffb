//! What can be wrong with a document that people write, and where.

use crate::range::{Range, RangeError};
use crate::version::{Clash, VersionError};
use miette::{Diagnostic, NamedSource, SourceSpan};
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
    /// A range that does not fit the part.
    #[error("{what} ({range}) does not fit the part `{part}`: {why}")]
    DoesNotFit {
        /// The range's name.
        what: String,
        /// The range.
        range: Range,
        /// The part.
        part: String,
        /// What is in the way.
        why: String,
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
    /// A version text that will not do.
    #[error("{0}")]
    Version(VersionError),
    /// Two versions that cannot stand beside each other.
    #[error("{0}")]
    Clash(Clash),
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
            Self::BadValue { advice, .. } => advice.clone(),
            Self::Overlap { .. } => "Move or shorten one of the two.".to_owned(),
            Self::DoesNotFit { .. } => {
                "Correct the range by the part's reference manual, or name the part that is really fitted.".to_owned()
            }
            Self::Misfit { advice, .. } => (*advice).to_owned(),
            Self::BadRange { .. } => "Give `start` and `size` in bytes, hexadecimal if you like.".to_owned(),
            Self::Duplicate { .. } => "Take one of them out, or give it another value.".to_owned(),
            Self::UnknownName { near: Some(near), .. } => format!("Did you mean `{near}`?"),
            Self::UnknownName { advice, .. } => (*advice).to_owned(),
            Self::Version(error) => error.advice(),
            Self::Clash(clash) => clash.advice().to_owned(),
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
            Self::DoesNotFit { what, .. } => what,
            Self::Duplicate { what, .. } => what,
            Self::Version(_) | Self::Clash(_) => "a version",
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
    pub span: SourceSpan,
    /// What is wrong.
    pub problem: Problem,
}

impl Diagnostic for Fault {
    fn help<'a>(&'a self) -> Option<Box<dyn std::fmt::Display + 'a>> {
        Some(Box::new(self.problem.advice()))
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = miette::LabeledSpan> + '_>> {
        let label = miette::LabeledSpan::new_with_span(Some("here".to_owned()), self.span);
        Some(Box::new(std::iter::once(label)))
    }
}

/// A document that cannot be used, with everything that is wrong with it, in the order of its lines.
#[derive(Debug, Error)]
#[error("{}", self.summary())]
pub struct DocumentError {
    name: String,
    text: NamedSource<String>,
    faults: Vec<Fault>,
}

impl DocumentError {
    pub(crate) fn new(name: &str, text: &str, mut faults: Vec<Fault>) -> Self {
        faults.sort_by_key(|fault| (fault.line, fault.column));
        Self {
            name: name.to_owned(),
            text: NamedSource::new(name, text.to_owned()).with_language("TOML"),
            faults,
        }
    }

    /// The document's name.
    pub fn name(&self) -> &str {
        &self.name
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

impl Diagnostic for DocumentError {
    fn source_code(&self) -> Option<&dyn miette::SourceCode> {
        Some(&self.text)
    }

    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn Diagnostic> + 'a>> {
        Some(Box::new(self.faults.iter().map(|fault| fault as &dyn Diagnostic)))
    }
}
