//! The command line's library: reports, sheets and verbs, kept apart from the program so that each can be used and tested
//! alone.

#![forbid(unsafe_code)]

pub mod clock;
pub mod machine;
pub mod memory;
pub mod pages;
pub mod progress;
pub mod told;
pub mod trace;
