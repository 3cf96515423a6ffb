//! The rehearsal of a product's installs: which cases there are, what came of each, and how that is told.

mod cases;
mod drawing;
mod explored;
mod files;
mod junit;
mod keeping;
mod memory;
mod merge;
mod outcome;
#[cfg(feature = "own-loader")]
mod own_loader;
mod rows;
mod smooth;
mod stage;
mod told;
mod watch;

pub use cases::{Case, PartOf, Wanted, cases};
pub use drawing::draw;
pub use explored::{Limits, explore_case};
pub use files::{File, recorded_files};
pub use junit::junit;
pub use keeping::{KeepingCase, KeepingCases, explore_keeping, keeping_cases};
pub use merge::{NotMerged, merge, read_outcome};
pub use outcome::{Broken, CaseOutcome, InstallOutcome, KeepingOutcome, Outcome, PhaseCounts};
#[cfg(feature = "own-loader")]
pub use own_loader::{LoaderCase, LoaderOutcome, rehearse_own_loader};
pub use rows::{conclusion, owners_sentence, proof, report_of};
pub use smooth::Install;
pub use stage::Stage;

pub(crate) use cases::may_go_back_to;
pub(crate) use rows::{install_row, set_case, set_keeping};

use crate::progress::Progress;
use miette::Result;
use packstaff_bench::open::Bench;
use packstaff_product::Keyring;

/// What the `rehearse` verb is asked for.
pub struct Ask {
    /// Which cases.
    pub wanted: Wanted,
    /// Which part of them.
    pub part: PartOf,
    /// What may go wrong, and how much memory may be used.
    pub limits: Limits,
}

/// Explores the cases that are asked for.
///
/// # Errors
/// What is asked for is not there, or an exploration gave no answer.
pub fn rehearse(bench: &Bench, keyring: &Keyring, ask: &Ask, progress: &Progress) -> Result<Outcome> {
    let all = cases(bench, &ask.wanted)?;
    let keeping = keeping_cases(bench, &all)?;
    let mut outcome = Outcome::begin(bench, &all, &keeping, &ask.limits.faults, ask.part)?;
    for (index, case) in all.iter().enumerate().filter(|(index, _)| ask.part.has(*index)) {
        let board = bench
            .product
            .board(&case.board)
            .ok_or_else(|| miette::miette!("product.toml has no board {}", case.board))?;
        let stage = Stage::of(bench, keyring, board, recorded_files(bench, board)?)?;
        let mut done = explore_case(&stage, case, &ask.limits, progress)?;
        done.index = index;
        for from in &case.from {
            progress.say(&format!("installing once, without a cut: board {}", case.board));
            let install = stage.install(from.as_deref(), &case.to)?;
            done.installs.push(InstallOutcome::of(&install));
        }
        outcome.cases.push(done);
    }
    for (index, case) in (all.len()..)
        .zip(&keeping.cases)
        .filter(|(index, _)| ask.part.has(*index))
    {
        let mut done = explore_keeping(bench, case, &ask.limits, progress)?;
        done.index = index;
        outcome.keeping.push(done);
    }
    Ok(outcome)
}

#[cfg(test)]
mod keeping_tests;
#[cfg(test)]
mod tests;
