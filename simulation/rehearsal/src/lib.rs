//! The rehearsal of an install: every cut, every torn outcome, and what the unit does afterwards.
//!
//! The installer that is rehearsed is the one that a unit links; only the world around it is simulated.

pub mod areas;
pub mod claims;
pub mod explore;
pub mod moment;
pub mod picture;
pub mod power_up;
pub mod settings;
pub mod sticks;
pub mod sweep;
