//! The arithmetic of a unit's life: how long an update takes, when cells wear out, whether a save survives the end of the
//! supply, how many owners will have a cut in the middle, and how long a key can be searched for.
//!
//! Pure functions. Every quantity has its unit in its name: `_s` seconds, `_v` volts, `_a` amperes, `_w` watts, `_f` farads,
//! `_ohm` ohms; losses and levels are fractions of 1. Each formula names its source. What a datasheet says comes from the parts
//! table of the crate `unit`, what a unit does comes counted from its installer, and everything else from the maker.
//!
//! ```
//! use packstaff_budget::key_search::search;
//!
//! // A key of 256 bits, at a thousand million trials a second: how many times the age of the universe?
//! assert!(search(256, 1e9)?.universes > 1e50);
//! // One of 40 bits lasts nine minutes.
//! assert_eq!(search(40, 1e9)?.mean_s.round(), 550.0);
//! # Ok::<(), packstaff_budget::OutOfRange>(())
//! ```

#![forbid(unsafe_code)]

pub mod capacitor;
pub mod cuts;
pub mod hold_up;
pub mod key_search;
pub mod plot;
mod range;
pub mod save_time;
pub mod series;
pub mod update_time;
pub mod wear;

pub use range::OutOfRange;

/// Seconds in a year of 365.25 days: the Julian year of the IAU.
pub const YEAR_S: f64 = 31_557_600.0;

/// Days in the same year.
pub const YEAR_DAYS: f64 = 365.25;
