//! The conformance suite for ports.
//!
//! A port is a board's drivers and screens around the installer. Under test it answers on a line: a serial line, or the standard
//! streams of a process, such as an emulator. The judge at the other end takes the port through scripted cases, as [`cases`]
//! lists them. In a power-up it runs the very same installer itself, in step with the port's, over a simulated flash: at every step
//! the port must ask what its own machine asks, and its drivers must find what the simulation finds. So the first wrong answer is
//! told, with the operation that it belongs to, and not only that the end is wrong.
//!
//! The judge plays the stick and the owner. Of the stick's driver it sees no more than the blocks that one case has it read.
//!
//! The port needs no keys for this: the judge lends it an identity for the time of the test ([`identity`]).

pub mod cases;
pub mod finding;
pub mod identity;
pub mod line;
pub mod link;
pub mod map;
mod power_up;
mod rig;

pub use finding::Finding;
pub use rig::{Counts, Rig};
