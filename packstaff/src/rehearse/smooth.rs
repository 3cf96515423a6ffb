//! An install without a cut.

use packstaff_bench::wear::Most;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::power_up::Ending;
use packstaff_unit::timing::Estimate;

/// An install as it should be: no cut, no fault.
#[derive(Clone, Debug)]
pub struct Install {
    /// The board revision.
    pub board: String,
    /// What the unit ran before; `None` for a new unit.
    pub from: Option<String>,
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
    /// What was seen.
    pub fn seen(&self) -> String {
        let ending = match self.ending {
            Ending::Started { .. } if self.arrived => "what was picked runs".to_owned(),
            Ending::Started { .. } => "another image is started".to_owned(),
            Ending::Waiting(reason) => format!("the unit waits: {reason} ({})", reason.code()),
            Ending::Endless => "the installer does not come to an end".to_owned(),
            Ending::Impossible(fault) => format!("the installer asks for the impossible: {fault}"),
        };
        let broken: Vec<_> = self.broken.iter().map(|claim| claim.statement()).collect();
        match broken.is_empty() {
            true => ending,
            false => format!("{ending}; does not hold: {}", broken.join(" ")),
        }
    }
}
