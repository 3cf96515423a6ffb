//! The settings store that a unit links: records that outlive every cut, and carry-over from one version's layout to another's.
//!
//! [`Keeper`] is a pure step machine, as the installer is: no input or output, no allocation, no panic, no reference kept; one
//! plain value that can be cloned, compared and hashed, so that every cut can be rehearsed. It keeps records in two or more
//! places of an EEPROM, an FRAM or a few sectors of flash, and writes them one after another, which spreads the wear.
//!
//! [`carry::carry`] makes a record of one layout from a record of another, by a [`table`] that the host has written.
//!
//! A keeper knows nothing of fields: a payload is bytes, and what they mean is the tables' business.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(feature = "alloc")]
extern crate alloc;
#[cfg(test)]
extern crate std;

pub mod carry;
mod check;
mod config;
mod keeper;
mod kept;
mod leb;
mod record;
mod request;
mod ring;
pub mod table;
#[cfg(feature = "alloc")]
mod write;

pub use check::checksum;
pub use config::{AsideConfig, CHUNK_MAX, Config, ConfigFault, Memory, Region, SPOTS_MAX, Spots};
pub use keeper::Keeper;
pub use record::{FRAME, HEAD, Head, is_newer, next_turn};
pub use request::{Found, Reply, Request, Stuck, Trouble};
#[cfg(feature = "alloc")]
pub use write::{WriteFault, Writer};
