//! The settings store that a unit links: records that outlive every cut, and carry-over from one version's layout to another's.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(feature = "alloc")]
extern crate alloc;
#[cfg(test)]
extern crate std;

pub mod carry;
mod check;
mod leb;
pub mod table;
#[cfg(feature = "alloc")]
mod write;

pub use check::checksum;
#[cfg(feature = "alloc")]
pub use write::{WriteFault, Writer};
