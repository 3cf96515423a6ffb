//! What to do about a release that could not be made.

use crate::remedy::{Excerpt, Remedy};
use packstaff_bench::release::{FolderError, PublishError, ReleaseError};
use packstaff_product::DocumentError;

impl Remedy for ReleaseError {
    fn remedy(&self) -> Option<String> {
        match self {
            Self::Open(error) => error.remedy(),
            Self::Rehearsal(error) => error.remedy(),
            Self::Settings(error) => error.remedy(),
            Self::Budget(error) => error.remedy(),
            Self::Notes(error) => error.remedy(),
            Self::Name { .. } => Some(
                "give the product a shorter `short` name, or the board a shorter revision, in product.toml".to_owned(),
            ),
            _ => None,
        }
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Open(error) => error.document(),
            Self::Rehearsal(error) => error.document(),
            Self::Settings(error) => error.document(),
            _ => None,
        }
    }

    fn excerpt(&self) -> Option<Excerpt<'_>> {
        match self {
            Self::Notes(error) => error.excerpt(),
            _ => None,
        }
    }
}

impl Remedy for FolderError {
    fn remedy(&self) -> Option<String> {
        let text = match self {
            Self::InTheWay(_) => "name another folder with --out",
            Self::Stranger { .. } => "name an empty folder or a new one with --out, or move that away",
            _ => return None,
        };
        Some(text.to_owned())
    }
}

impl Remedy for PublishError {
    fn remedy(&self) -> Option<String> {
        match self {
            Self::Folder(error) => error.remedy(),
            _ => None,
        }
    }
}
