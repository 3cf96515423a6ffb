//! What to do about errors of settings.

use crate::remedy::Remedy;
use packstaff_bench::settings::SettingsError;
use packstaff_document::DocumentError;

impl Remedy for SettingsError {
    fn remedy(&self) -> Option<String> {
        let text = match self {
            Self::NoLayouts(_) => {
                "describe what a version keeps in settings/VERSION.toml; `packstaff settings import` makes one from a build"
            }
            Self::TooLong { .. } => "a layout file is at most 1 MiB",
            Self::OtherVersion { .. } => "a layout file is named after its version: settings/VERSION.toml",
            _ => return None,
        };
        Some(text.to_owned())
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Layout(document) => Some(document),
            _ => None,
        }
    }
}
