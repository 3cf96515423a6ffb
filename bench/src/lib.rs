//! The release bench as a library: what a maker can do with a product folder, as functions with typed outcomes and typed errors.
//!
//! There are facts here and no sentences: `packstaff-words` says them. Nothing here looks at a terminal, an environment or a
//! clock; whatever depends on one comes from the caller. [`Bench::open`] is where everything begins.
//!
//! ```
//! use packstaff_bench::{Bench, OpenError};
//!
//! // Errors are types: what to do about one is for a front end to say.
//! let refused = Bench::open("a-folder-without-a-product".as_ref());
//! assert!(matches!(refused, Err(OpenError::NoProduct(_))));
//! ```

#![forbid(unsafe_code)]

pub mod board;
pub mod budget;
pub mod keys;
pub mod look;
pub mod notes;
pub mod open;
pub mod ports;
pub mod progress;
pub mod rehearse;
pub mod release;
pub mod settings;
pub mod stick_spec;
pub mod sticks;
pub mod wear;

// What boards may name.
pub use packstaff_parts::PartsTable;

pub use open::{Bench, EXTENSION, OpenError, PARTS_FILE};
pub use progress::{Counts, Explored, Progress, Silent, Step};
