//! What a release has to do with the budget that its product file states.

use super::error::BudgetError;
use super::power_off::{Off, OffError, off};
use super::wear::{FlashWear, MemoryWear, MemoryWearError, flash_wear, memory_wear};
use super::{in_time, lasts};
use crate::open::Bench;
use crate::rehearse::{Beginning, Install};
use crate::wear::Most;
use packstaff_product::{Board, Budget};
use packstaff_rehearsal::power_up::Ending;
use packstaff_unit::timing::Span;

/// The figures of a release that its product file limits.
#[derive(Clone, Debug)]
pub struct ReleaseBudget {
    /// What is stated.
    pub stated: Budget,
    /// Board by board, in the order of the product file.
    pub boards: Vec<ReleaseBoard>,
}

/// The same for one board.
#[derive(Clone, Debug)]
pub struct ReleaseBoard {
    /// The board revision.
    pub board: String,
    /// Its slowest install; `None` if no limit is stated or none arrived.
    pub slowest: Option<Span>,
    /// Flash; `None` if the parts table has no endurance for it.
    pub flash: Option<FlashWear>,
    /// Settings memory; `None` if nothing is stated to be saved. Or why it cannot be computed.
    pub memory: Option<Result<MemoryWear, MemoryWearError>>,
    /// After a cut; `None` if it is not stated. Or why it cannot be had.
    pub off: Option<Result<Off, OffError>>,
}

/// The figures of a release, whose installs were rehearsed without a cut; `None` if its product file states no budget.
///
/// # Errors
/// A board's part is not known.
pub fn of_release(bench: &Bench, installs: &[Install]) -> Result<Option<ReleaseBudget>, BudgetError> {
    let Some(stated) = &bench.product.budget else {
        return Ok(None);
    };
    let boards = bench.product.boards.iter();
    let boards = boards.map(|board| of_board(bench, board, stated, installs));
    Ok(Some(ReleaseBudget {
        stated: stated.clone(),
        boards: boards.collect::<Result<_, _>>()?,
    }))
}

fn of_board(bench: &Bench, board: &Board, stated: &Budget, installs: &[Install]) -> Result<ReleaseBoard, BudgetError> {
    // An install that did not arrive has no time; the rehearsal's rows say so.
    let here = installs.iter().filter(|install| {
        install.board == board.revision && install.arrived && matches!(install.ending, Ending::Started { .. })
    });
    let times = here.clone().map(|install| install.estimate.total());
    let slowest = times.max_by(|a, b| a.longest_s.total_cmp(&b.longest_s));
    // A new unit is given its first version once, and not by its owner.
    let updates = here.filter(|install| install.from != Beginning::New);
    let erases = updates.map(|install| install.erases_most).reduce(Most::max);
    let erases = erases.unwrap_or(Most { own: 1, beside: 1 });
    Ok(ReleaseBoard {
        board: board.revision.clone(),
        slowest: slowest.filter(|_| stated.update_limit_s.is_some()),
        flash: flash_wear(bench.parts(board)?, erases, stated),
        memory: memory_wear(bench, board, stated),
        off: off(bench, board, stated),
    })
}

impl ReleaseBudget {
    /// Whether every limit is kept, on every board.
    pub fn holds(&self) -> bool {
        self.boards.iter().all(|board| board.holds(&self.stated))
    }
}

impl ReleaseBoard {
    /// Whether every limit that is stated is kept.
    pub fn holds(&self, stated: &Budget) -> bool {
        let memory = |memory: &Result<MemoryWear, _>| memory.as_ref().is_ok_and(|memory| lasts(stated, memory.years));
        let off = |off: &Result<Off, _>| off.as_ref().is_ok_and(|off| off.holds() && off.holds_as_stated());
        self.slowest.is_none_or(|install| in_time(stated, install.longest_s))
            && self.flash.as_ref().is_none_or(|flash| lasts(stated, flash.years))
            && self.memory.as_ref().is_none_or(memory)
            && self.off.as_ref().is_none_or(off)
    }
}
