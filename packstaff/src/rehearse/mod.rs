//! The rehearsal of a product's installs: what came of each, and how that is told.

mod drawing;
mod junit;
mod keeping;
mod merge;
mod outcome;
#[cfg(feature = "own-loader")]
mod own_loader;
mod rows;
mod told;

pub use drawing::draw;
pub use junit::junit;
pub use keeping::{KeepingCase, KeepingCases, explore_keeping, keeping_cases};
pub use merge::{NotMerged, merge, read_outcome};
pub use outcome::{Broken, CaseOutcome, InstallOutcome, KeepingOutcome, Outcome, PhaseCounts};
#[cfg(feature = "own-loader")]
pub use own_loader::{LoaderCase, LoaderOutcome, rehearse_own_loader};
pub use rows::{conclusion, owners_sentence, proof, report_of};

pub(crate) use rows::{install_row, set_case, set_keeping};

use crate::progress::Progress;
use crate::told::ForPeople;
use miette::Result;
use packstaff_bench::open::Bench;
use packstaff_bench::rehearse::{
    BoardUnderTest, Limits, PartOf, RehearseError, Wanted, Way, cases, recorded_files, rehearse_board,
};
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
    let all = cases(bench, &ask.wanted).told()?;
    let keeping = keeping_cases(bench, &all)?;
    let mut outcome = Outcome::begin(bench, &all, &keeping, &ask.limits.faults, ask.part)?;
    for (index, case) in all.iter().enumerate().filter(|(index, _)| ask.part.has(*index)) {
        let board = bench.product.board(&case.board);
        let board = board.ok_or_else(|| RehearseError::NoBoard(case.board.clone())).told()?;
        let files = recorded_files(bench, board).told()?;
        let board = BoardUnderTest::of(bench, keyring, board, files).told()?;
        let ways: Vec<Way> = case.ways().collect();
        let done = rehearse_board(&board, case, &ways, &ask.limits, progress).told()?;
        outcome.cases.push(CaseOutcome::of(&bench.product.name, index, &done));
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
