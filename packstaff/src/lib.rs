//! The command line's library: reports, sheets and verbs, kept apart from the program so that each can be used and tested
//! alone.

#![forbid(unsafe_code)]

pub mod bench;
pub mod budget;
pub mod clock;
pub mod look;
pub mod port;
pub mod progress;
pub mod rehearse;
pub mod release;
pub mod report;
pub mod settings;
pub mod sheet;
pub mod stick_spec;
pub mod sticks;
pub mod trace;
pub mod wear;
