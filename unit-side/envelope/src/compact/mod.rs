//! The same primitives as the libraries', in a tenth of their code: for units, whose installer must fit into few sectors.
//!
//! A build for a processor without an operating system takes these; every other takes the libraries'. Both are here in every
//! build, so that they can be compared: `tests/compact.rs` does.

pub mod aes256;
mod curve;
pub mod ed25519;
mod field;
mod scalar;
pub mod sha2;
