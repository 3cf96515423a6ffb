//! What to do about an error: one sentence beside the one that says what is wrong.

use packstaff_bench::OpenError;
use packstaff_document::DocumentError;
use std::error::Error;

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
}

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

impl Remedy for DocumentError {
    fn document(&self) -> Option<&DocumentError> {
        Some(self)
    }
}
