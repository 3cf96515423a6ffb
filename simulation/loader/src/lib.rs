//! A maker's own loader, compiled from C to WebAssembly, under the same rehearsal as our installer: every world that it can
//! pass through, under every fault, each visited once.
//!
//! A loader is written against `include/packstaff_loader.h`. Here it runs in a sandbox ([`Sandbox`]): it reaches its own
//! memory and the calls of a unit, nothing else, and what it does follows from what it is answered. [`ForeignLoader`] shows
//! it to the explorer as one more [`Loader`](packstaff_rehearsal::explore::Loader), whose memory is the answers since power-up.
//!
//! What is known of a foreign loader is what `unit.toml` in its folder says ([`description`]); its records are not. So some
//! claims cannot be judged, and the [`Report`] says which, and why.
//!
//! ```no_run
//! let report = packstaff_loader::rehearse("examples/own-loader".as_ref())?;
//! println!("{report}");
//! assert!(report.holds());
//! # Ok::<(), packstaff_loader::RehearsalError>(())
//! ```

pub mod calls;
pub mod description;
mod error;
mod fault;
pub mod fault_free;
mod foreign;
mod held;
mod history;
mod imports;
mod rehearse;
mod report;
mod sandbox;
mod shown;
mod words;

pub use error::RehearsalError;
pub use fault::{LoaderFault, Place, Way};
pub use foreign::ForeignLoader;
pub use history::History;
pub use rehearse::{Case, rehearse, rehearse_kind, rehearse_watched};
pub use report::{Judged, Report};
pub use sandbox::{Limits, Sandbox};
pub use words::wording;
