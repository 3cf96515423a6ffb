//! What to do about an error: one sentence beside the one that says what is wrong.

use packstaff_bench::OpenError;
use packstaff_bench::keys::KeysError;
use packstaff_bench::look::LookError;
use packstaff_bench::notes::NotesError;
use packstaff_bench::ports::PortError;
use packstaff_bench::sticks::{ExamineError, MakeError};
use packstaff_document::DocumentError;
use std::error::Error;
use std::ops::Range;

/// An error that knows what to do about it.
pub trait Remedy: Error + Send + Sync + 'static {
    /// What to do, if there is something that the error's own words do not say.
    fn remedy(&self) -> Option<String> {
        None
    }

    /// The document that is wrong, with its places, if one is.
    fn document(&self) -> Option<&DocumentError> {
        None
    }

    /// The text that is wrong, if it is no such document.
    fn excerpt(&self) -> Option<Excerpt<'_>> {
        None
    }
}

/// A text, and the place in it that an error is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt<'a> {
    /// What to call it.
    pub name: String,
    /// All of it.
    pub text: &'a str,
    /// The bytes that are wrong.
    pub at: Option<Range<usize>>,
}

impl Remedy for NotesError {
    fn remedy(&self) -> Option<String> {
        let Self::Unusable { .. } = self else { return None };
        Some(
            "notes have `kind` (\"feature\", \"fix\" or \"security\") and lists of sentences: `changes`, `settings`, `calibration`"
                .to_owned(),
        )
    }

    fn excerpt(&self) -> Option<Excerpt<'_>> {
        match self {
            Self::Unusable { path, text, at, .. } => Some(Excerpt {
                name: path.display().to_string(),
                text,
                at: at.clone(),
            }),
            _ => None,
        }
    }
}

impl Remedy for LookError {}

impl Remedy for OpenError {
    fn remedy(&self) -> Option<String> {
        let text = match self {
            Self::NoProduct(_) => "name the product folder: the one with product.toml in it",
            Self::Board { .. } => "change this board's entry in product.toml",
            Self::NoGeneration(_) => "add one that says which units have it",
            Self::NoMachineFolder => {
                "set XDG_STATE_HOME to a folder that stays on this machine and is not restored from back-ups"
            }
            Self::UnknownBoard { .. } => "name a build as BOARD=FILE, with a `revision` of product.toml for BOARD",
            Self::UnlistedVersion { .. } => "add it to `list` under [versions], or correct the version",
            _ => return None,
        };
        Some(text.to_owned())
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Document(document) => Some(document),
            _ => None,
        }
    }
}

impl Remedy for MakeError {
    fn remedy(&self) -> Option<String> {
        match self {
            Self::Open(error) => error.remedy(),
            Self::NoOrdinaryFile(_) => {
                Some("write the image to a new file; a folder takes --into, a whole stick --device".to_owned())
            }
            _ => None,
        }
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Open(error) => error.document(),
            _ => None,
        }
    }
}

impl Remedy for KeysError {
    fn remedy(&self) -> Option<String> {
        match self {
            Self::Open(error) => error.remedy(),
            _ => None,
        }
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Open(error) => error.document(),
            _ => None,
        }
    }
}

impl Remedy for PortError {
    fn remedy(&self) -> Option<String> {
        match self {
            Self::Open(error) => error.remedy(),
            _ => None,
        }
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Open(error) => error.document(),
            _ => None,
        }
    }
}

impl Remedy for ExamineError {
    fn remedy(&self) -> Option<String> {
        match self {
            Self::Open(error) => error.remedy(),
            _ => None,
        }
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Open(error) => error.document(),
            _ => None,
        }
    }
}

impl Remedy for DocumentError {
    fn document(&self) -> Option<&DocumentError> {
        Some(self)
    }
}
