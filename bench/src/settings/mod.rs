//! Settings of a product: layouts out of the product folder and the ledger, and what becomes of settings between versions.

mod error;
mod layouts;
mod release;

pub use error::SettingsError;
pub use layouts::{Described, Found, Standing, described, file, history, layout_path, of_version, put_together};
pub use release::{AsBuilt, OwnLayout, ReleaseSettings, of_release};
