//! Reads TOML that people write, so that every complaint can point at its line.
//!
//! A reader asks a [`Section`] for what it expects. What is missing, surplus or of the wrong kind goes to the [`Notes`], and
//! reading goes on: whoever wrote the file sees everything that is wrong at once, each with its place, what was found, what
//! was expected and what to do.
//!
//! ```
//! use packstaff_document::{Notes, Section, parse};
//!
//! /// Reads a lamp's brightness in percent.
//! fn brightness(text: &str) -> Result<u32, packstaff_document::DocumentError> {
//!     let notes = Notes::new(text);
//!     let percent = parse(&notes).and_then(|root| {
//!         let root = Section::root(&notes, &root, &["brightness"]);
//!         root.value("brightness")?.integer_u32(0..=100)
//!     });
//!     notes.finish("lamp.toml", percent)
//! }
//!
//! assert_eq!(brightness("brightness = 40")?, 40);
//!
//! let error = brightness("# dim\nbrightnes = 40").unwrap_err();
//! let fault = &error.faults()[0];
//! assert_eq!((fault.line, fault.column), (1, 1));
//! assert_eq!(fault.problem.to_string(), "the file lacks `brightness`");
//! assert_eq!(error.faults()[1].problem.advice(), "Did you mean `brightness`? Correct the name, or take the line out.");
//! # Ok::<(), packstaff_document::DocumentError>(())
//! ```

#![forbid(unsafe_code)]

mod date;
mod problem;
mod range;
mod reader;

pub use date::{Date, DateError};
pub use problem::{DocumentError, Fault, Problem};
pub use range::{Range, RangeError};
pub use reader::{Entry, LONGEST, Notes, Section, nearest, parse, range_of};
