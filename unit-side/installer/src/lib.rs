//! The installer: a pure step machine that a unit links and that the rehearsal proves.
//!
//! A driver calls [`Installer::step`] with the reply to the last request and carries out the next one. The machine does
//! no input or output, allocates nothing, holds no reference and never panics; it is one plain value that can be cloned,
//! compared and hashed, which is what makes an exhaustive rehearsal possible.
//!
//! # The order of things, and why
//!
//! 1. **Inspect.** The slot's descriptor is read, the image digested, the floor read. Only an image whose descriptor is
//!    whole, not voided, and whose digest holds is ever started. If its issue is above the floor, the floor is raised
//!    *now*, before the image runs.
//! 2. **Survey.** The stick is mounted and its root directory walked; each update file's header is read, its signature
//!    verified, its identifiers compared. Every refusal has a [`Reason`] with a code that the owner can read out.
//! 3. **Ask.** The owner picks, or leaves everything as it is.
//! 4. **Confirm.** The chosen file's header is read again and must be the one that was offered.
//! 5. **Check** (the dry pass). The whole payload is read, digested, decrypted and digested again. Up to here nothing has
//!    been erased: a bad stick costs nothing.
//! 6. **Erase.** The descriptor is voided, then its sector erased, then the others.
//! 7. **Program.** The payload is read a second time. The stick is not trusted to answer as before.
//! 8. **Confirm.** Flash is digested against the signed digest, the rest of the slot must read erased, and only then is
//!    the descriptor programmed, last of all.
//! 9. Back to 1, as if the unit had just been powered, and from there to the **start**.
//!
//! A cut anywhere in 6 to 8 leaves a slot without a whole descriptor: the unit waits for a stick, and says so.

#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

mod buffer;
mod config;
mod descriptor;
mod geometry;
mod listing;
mod machine;
mod progress;
mod reason;
mod record;
mod register;
mod request;
mod stages;

pub use config::{Config, ConfigFault, GRANULE_MAX, Layout, StartCheck};
pub use descriptor::{DESCRIPTOR_LEN, Descriptor, Place, VOID_MARK_LEN};
pub use geometry::{Geometry, Region, SectorRun};
pub use listing::{Finding, Listing, Offer, ROWS, Relation, Row};
pub use machine::Installer;
pub use progress::{Phase, Progress};
pub use reason::{Code, Reason};
pub use register::{Held, NextWrite, REGISTER_LEN, Record, Register, Value};
pub use request::{Reply, Request};
