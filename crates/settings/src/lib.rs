//! Settings: layouts as data, and what becomes of a unit's settings from one version to another.
//!
//! - [`layout`]: what a version keeps and where it lies, read from `settings/{version}.toml`.

#![forbid(unsafe_code)]

pub mod layout;
mod ratio;
mod unit;

pub use ratio::Ratio;
pub use unit::{Unit, UnitError};
