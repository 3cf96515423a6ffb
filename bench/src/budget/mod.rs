//! The arithmetic of a unit's life, for every board, with the maker's figures or others tried instead.

mod error;
mod power_off;
mod rates;
mod release;
mod trial;
mod update;
mod wear;

pub use error::BudgetError;
pub use power_off::{Curve, Finishing, Off, OffError};
pub use rates::rates;
pub use release::{ReleaseBoard, ReleaseBudget, of_release};
pub use update::{AsSeen, BoardFigures, Cuts, LEVEL, Update, UpdateOf};
pub use wear::{FlashWear, MemoryWear, MemoryWearError};

use crate::open::Bench;
use crate::progress::{Progress, Step};
use packstaff_budget::key_search::{Search, search};
use packstaff_product::Budget;

/// Bits of the keys that are searched for.
pub const KEY_BITS: u32 = 256;

/// What is asked for.
#[derive(Clone, Debug, Default)]
pub struct Ask {
    /// Board revisions; all if there are none.
    pub boards: Vec<String>,
    /// Values to try instead of those in the product file, by their keys.
    pub tries: Vec<(String, String)>,
}

/// Every figure.
#[derive(Clone, Debug)]
pub struct Figures {
    /// The product's name.
    pub product: String,
    /// Values that were tried instead of the product file's.
    pub tried: Vec<(String, String)>,
    /// What the figures were computed with: the product file's budget, with those values in it, for the boards asked for.
    pub stated: Budget,
    /// Board by board.
    pub boards: Vec<BoardFigures>,
    /// Searching for a key.
    pub key_search: Search,
}

/// Computes a budget. A limit that is not kept is no error.
///
/// # Errors
/// No budget is stated, a value cannot be tried, or a board cannot be simulated.
pub fn compute(bench: &Bench, ask: &Ask, progress: &dyn Progress) -> Result<Figures, BudgetError> {
    let stated = bench.product.budget.as_ref().ok_or(BudgetError::Nothing)?;
    for wanted in &ask.boards {
        bench.board(wanted)?;
    }
    let asked = |revision: &String| ask.boards.is_empty() || ask.boards.contains(revision);
    let mut stated = stated.clone();
    stated.boards.retain(|board| asked(&board.revision));
    for (key, value) in &ask.tries {
        stated = stated.with(key, value)?;
    }
    let mut boards = Vec::new();
    for board in bench.product.boards.iter().filter(|board| asked(&board.revision)) {
        progress.at(&Step::TrialInstall { board: &board.revision });
        boards.push(update::board_figures(bench, board, &stated)?);
    }
    Ok(Figures {
        product: bench.product.name.clone(),
        tried: ask.tries.clone(),
        boards,
        key_search: search(KEY_BITS, stated.key_trials_per_s)?,
        stated,
    })
}

/// Whether an update that takes `longest_s` seconds at most keeps the limit that is stated, if one is.
pub fn in_time(stated: &Budget, longest_s: f64) -> bool {
    stated.update_limit_s.is_none_or(|limit| longest_s <= limit)
}

/// Whether what wears out after so many years lasts as long as a unit is meant to serve.
pub fn lasts(stated: &Budget, years: f64) -> bool {
    years >= stated.years
}
