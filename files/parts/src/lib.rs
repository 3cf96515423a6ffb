//! The parts table: flash and settings memories, each figure with the document it was read in.
//!
//! [`PartsTable::built_in`] is what comes with this crate. A maker whose part is missing there describes it in a table of the
//! same form, which [`PartsTable::with_own`] puts beside the built-in one.
//!
//! ```
//! use packstaff_parts::PartsTable;
//!
//! let part = PartsTable::built_in().part("stm32g474-512k")?;
//! // A whole slot of 224 KiB, 8 bytes at a time: the longest time in seconds, as the data sheet has it.
//! let (_, longest_us) = part.program_us((224 << 10) / 8);
//! assert_eq!((longest_us / 1e6 * 100.0).round() / 100.0, 2.39);
//! # Ok::<(), packstaff_parts::UnknownPart>(())
//! ```

#![forbid(unsafe_code)]

mod part;
mod read;
mod table;

// What the errors of a maker's own table are made of.
pub use packstaff_document::{DocumentError, Fault, Problem};

pub use part::{Part, PartKind, ProgramTotal, SecondProgram, Sectors};
pub use table::{PartsTable, UnknownPart};
