//! Settings: layouts as data, and what becomes of a unit's settings from one version to another.
//!
//! - [`layout`]: what a version keeps and where it lies, read from `settings/{version}.toml`.
//! - [`generate`]: code for a unit, in C and in Rust.
//! - [`sample`]: settings that an owner could have, for trials.
//! - [`dwarf`]: a layout read out of a build.
//!
//! ```
//! use packstaff_settings::{Ratio, Unit};
//!
//! // A version that kept degrees Celsius is followed by one that keeps degrees Fahrenheit: no rounding on the way.
//! let (celsius, fahrenheit) = (Unit::parse("°C")?, Unit::parse("°F")?);
//! let value = celsius.to(&fahrenheit, false).expect("both are temperatures");
//! assert_eq!(Some(value), Some((Ratio::new(9, 5).unwrap(), Ratio::whole(32))));
//! assert!(celsius.to(&Unit::parse("s")?, false).is_none());
//! # Ok::<(), packstaff_settings::UnitError>(())
//! ```

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
