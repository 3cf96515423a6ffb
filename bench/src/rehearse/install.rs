//! One install as it should be: no cut, no fault.

use super::cases::Beginning;
use crate::wear::Most;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::power_up::Ending;
use packstaff_unit::timing::Estimate;

/// What came of an install without a cut.
#[derive(Clone, Debug)]
pub struct Install {
    /// The board revision.
    pub board: String,
    /// What the unit was before.
    pub from: Beginning,
    /// What was picked.
    pub to: String,
    /// Changes of flash.
    pub changes: usize,
    /// Whether what was picked runs.
    pub arrived: bool,
    /// How it ended.
    pub ending: Ending,
    /// Claims that it breaks.
    pub broken: Vec<Claim>,
    /// How often the sector that was erased most was erased.
    pub erases_most: Most,
    /// How long it takes.
    pub estimate: Estimate,
}

impl Install {
    /// Whether what was picked runs, and nothing else has changed.
    pub fn holds(&self) -> bool {
        self.arrived && self.broken.is_empty()
    }
}
