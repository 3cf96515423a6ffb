//! How far a unit is, for a display.

/// What a unit is doing, for a display: poll it between steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Progress {
    /// The phase.
    pub phase: Phase,
    /// How much of it is done, in the phase's own measure (bytes or sectors).
    pub done: u32,
    /// How much there is to do; 0 where the phase has no measure.
    pub total: u32,
}

/// The phases of a power-up, as an owner sees them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Phase {
    /// Checking the unit's own flash.
    Inspect,
    /// Looking for a stick, and through it.
    Survey,
    /// The owner is asked, or told, something.
    Owner,
    /// Checking the chosen file as a whole; nothing has been erased yet.
    Check,
    /// Erasing; from here on the unit needs this file, or another good one, to run again.
    Erase,
    /// Programming.
    Program,
    /// Checking what was programmed, and committing it.
    Confirm,
    /// The image is started.
    Start,
}
