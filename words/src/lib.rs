//! Every sentence that a person reads of Packstaff, and the same facts in forms for machines.
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
pub mod rehearse;
pub mod release;
pub mod remedy;
pub mod report;
pub mod settings;
pub mod sheet;
pub mod sticks;
pub mod text;

pub use remedy::Remedy;
