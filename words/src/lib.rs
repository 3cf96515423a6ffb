//! What a person reads of Packstaff: reports, the owner's sheet, letters and reason codes; and the same facts in forms for
//! machines. A check's, a claim's and a stick finding's own words stand beside what finds them.
//!
//! The facts come from `packstaff-bench`, typed; nothing here takes a sentence apart to find one. Nothing here reads a file or
//! a clock.
//!
//! ```
//! use packstaff_words::text::bytes;
//!
//! assert_eq!(bytes(18_330), "17.9 KiB");
//! ```

#![forbid(unsafe_code)]

pub mod budget;
pub mod keys;
pub mod look;
pub mod ports;
pub mod progress;
pub mod readme;
pub mod reasons;
pub mod rehearse;
pub mod release;
pub mod remedy;
pub mod report;
pub mod settings;
pub mod sheet;
pub mod sticks;
pub mod text;
pub mod trace;

pub use remedy::Remedy;
