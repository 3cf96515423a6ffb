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
            Self::NoLayout { version, .. } => {
                return Some(format!(
                    "add settings/{version}.toml to the product folder, or correct the version"
                ));
            }
            Self::DumpTooLong { .. } => "a dump begins at address 0 of the settings memory and ends where that ends",
            Self::NoDump {
                instead: Some(other), ..
            } => {
                return Some(format!(
                    "it holds whole settings of version {other}: say {other} instead"
                ));
            }
            Self::NoDump { instead: None, .. } => {
                "a dump begins at address 0 of the settings memory; check how it was read out"
            }
            Self::LayoutNumber(_) => "choose one up to 0xffff",
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
