//! What to do when a unit cannot be traced.

use crate::Remedy;
use packstaff_bench::trace::TraceError;
use packstaff_document::DocumentError;

impl Remedy for TraceError {
    fn remedy(&self) -> Option<String> {
        let text = match self {
            Self::UnknownBoard { .. } => "name a `revision` of product.toml",
            Self::WhichBoard => "ask the owner which board revision it is, and name it with --board",
            Self::ReadoutTooLong { .. } => "send the program flash alone",
            Self::Folder(_) => {
                "send an image of the whole stick: a folder shows its files, and not what a unit makes of them"
            }
            Self::Layout(error) => return error.remedy(),
            Self::SettingsTooLong(_) => "a dump begins at address 0 of the settings memory and ends where that ends",
            Self::Open(error) => return error.remedy(),
            _ => return None,
        };
        Some(text.to_owned())
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Open(error) => error.document(),
            Self::Layout(error) => error.document(),
            _ => None,
        }
    }
}
