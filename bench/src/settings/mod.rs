//! Settings of a product: layouts out of the product folder and the ledger, what becomes of settings between versions, and
//! dumps of settings memories.

mod check;
mod dumps;
mod error;
mod import;
mod layouts;
mod release;

pub use check::{Checked, check};
pub use dumps::{Carrying, carry, layout_of, read_dump, record_of};
pub use error::SettingsError;
pub use import::{ImportedLayout, NewLayout, import};
pub use layouts::{Described, Found, Standing, described, file, history, layout_path, of_version, put_together};
pub use release::{AsBuilt, OwnLayout, ReleaseSettings, of_release};
