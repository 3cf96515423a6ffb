//! An install without a cut.

use packstaff_bench::budget::{InstallOn, RehearsedInstall};
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
    /// As far as a budget looks at it.
    pub fn for_budget(&self) -> RehearsedInstall {
        let total = self.estimate.total();
        RehearsedInstall {
            board: self.board.clone(),
            on: match self.from {
                None => InstallOn::NewUnit,
                Some(_) => InstallOn::Updated,
            },
            arrived: self.arrived && matches!(self.ending, Ending::Started { .. }),
            typical_s: total.typical_s,
            longest_s: total.longest_s,
            erases_most: self.erases_most,
        }
    }

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
