//! Settings: layouts as data, and what becomes of a unit's settings from one version to another.
//!
//! - [`layout`]: what a version keeps and where it lies, read from `settings/{version}.toml`.
//! - [`generate`]: code for a unit, in C and in Rust.
//! - [`sample`]: settings that an owner could have, for trials.
//! - [`dwarf`]: a layout read out of a build.

#![forbid(unsafe_code)]

pub mod carry;
pub mod dump;
pub mod dwarf;
pub mod generate;
pub mod layout;
mod ratio;
pub mod sample;
mod unit;

pub use carry::carry_record;
pub use ratio::Ratio;
pub use unit::{Unit, UnitError};
