//! What a unit is made of: flash geometry, timing, and the simulated world that outlives a power cut.
//!
//! The world is simulated; the installer in it is not: [`drive`] carries out the requests of the very state machine that
//! a unit links.

pub mod blueprint;
pub mod drive;
pub mod flash;
pub mod settings_memory;
pub mod stick;
pub mod timing;
pub mod world;

// Units are built of parts: a layout of flash comes from one, and times do.
pub use packstaff_parts as part;
