//! The figures of one board: how long its updates take, and how many of them will be cut.

use super::error::BudgetError;
use super::power_off::{Off, OffError, off};
use super::rates::rates;
use super::trial::trial;
use super::wear::{FlashWear, MemoryWear, MemoryWearError, flash_wear, memory_wear};
use crate::open::Bench;
use crate::wear::Most;
use packstaff_budget::OutOfRange;
use packstaff_budget::cuts::{Forecast, forecast, forecast_by_chance, mean_interval};
use packstaff_budget::update_time::{UpdateTime, update_time};
use packstaff_product::{Board, Budget, CutsSeen};
use serde::Serialize;

/// The chance with which intervals hold.
pub const LEVEL: f64 = 0.95;

/// An update's time.
#[derive(Clone, Debug)]
pub struct Update {
    /// Which update.
    pub of: UpdateOf,
    /// Bytes of its image.
    pub image_bytes: u32,
    /// Its time.
    pub time: UpdateTime,
}

/// Which update is timed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum UpdateOf {
    /// That to the newest release: its version.
    Newest(String),
    /// One that may come, with an image that fills the slot.
    FillingSlot,
}

/// How many owners will have their update cut.
#[derive(Clone, Debug, Serialize)]
pub struct Cuts {
    /// How many owners there are.
    pub owners: f64,
    /// By failures of the mains alone, for an update of the longest time.
    pub by_mains: Forecast,
    /// As often as the maker saw, whatever the reason.
    pub as_seen: Option<AsSeen>,
}

/// A forecast from what the maker saw.
#[derive(Clone, Debug, Serialize)]
pub struct AsSeen {
    /// Cuts that were seen.
    pub cuts: f64,
    /// Updates among which they were.
    pub updates: f64,
    /// Interval of the chance of a cut in one update.
    pub chance: (f64, f64),
    /// The forecast with the chance that was seen.
    pub forecast: Forecast,
}

/// All figures of a board.
#[derive(Clone, Debug)]
pub struct BoardFigures {
    /// The board revision.
    pub board: String,
    /// Clock while it installs, in hertz.
    pub clock_hz: f64,
    /// The newest release, and an image that fills the slot.
    pub updates: Vec<Update>,
    /// Cuts among owners; `None` if their number is not stated.
    pub cuts: Option<Cuts>,
    /// Flash.
    pub flash: Option<FlashWear>,
    /// Settings memory; `None` if nothing is stated to be saved. Or why it cannot be computed.
    pub memory: Option<Result<MemoryWear, MemoryWearError>>,
    /// After a cut; `None` if it is not stated. Or why it cannot be had.
    pub off: Option<Result<Off, OffError>>,
}

/// Computes everything for a board, with what is stated in `budget`.
///
/// # Errors
/// The board cannot be simulated, or a rate is out of its range.
pub(super) fn board_figures(bench: &Bench, board: &Board, budget: &Budget) -> Result<BoardFigures, BudgetError> {
    let parts = bench.parts(board)?;
    let rates = rates(Some(budget), board, parts.own);
    let filling = (UpdateOf::FillingSlot, bench.target(board)?.usable);
    let mut updates = Vec::new();
    let mut erases = Most::default();
    for (of, image_bytes) in newest(bench, board).into_iter().chain([filling]) {
        let seen = trial(bench, board, image_bytes)?;
        erases = erases.max(seen.erases_most);
        let time = update_time(&seen.work, parts, &rates)?;
        updates.push(Update { of, image_bytes, time });
    }
    let stated = budget.board(&board.revision);
    let longest_s = updates.first().map_or(0.0, |update| update.time.longest_s);
    let cuts = stated
        .map(|stated| cuts(budget, stated.owners, longest_s))
        .transpose()?;
    Ok(BoardFigures {
        board: board.revision.clone(),
        clock_hz: rates.clock_hz,
        updates,
        cuts,
        flash: flash_wear(parts, erases, budget),
        memory: memory_wear(bench, board, budget),
        off: off(bench, board, budget),
    })
}

/// The newest release for a board, and the bytes of its image.
fn newest(bench: &Bench, board: &Board) -> Option<(UpdateOf, u32)> {
    let released = bench.ledger.releases().iter().filter_map(|release| {
        let image = release.record.board(&board.revision)?.image_size;
        let version = bench.product.version(&release.record.version).ok()?;
        Some((version.numbers(), &release.record.version, image as u32))
    });
    let (_, version, image_bytes) = released.max_by(|a, b| a.0.cmp(&b.0))?;
    Some((UpdateOf::Newest(version.clone()), image_bytes))
}

fn cuts(budget: &Budget, owners: f64, longest_s: f64) -> Result<Cuts, OutOfRange> {
    let as_seen = budget.seen.map(|CutsSeen { cuts, updates }| {
        let (low, high) = mean_interval(cuts as u64, LEVEL)?;
        Ok(AsSeen {
            cuts,
            updates,
            chance: (low / updates, (high / updates).min(1.0)),
            forecast: forecast_by_chance(owners, cuts / updates, LEVEL)?,
        })
    });
    Ok(Cuts {
        owners,
        by_mains: forecast(owners, longest_s, budget.interruptions_per_year, LEVEL)?,
        as_seen: as_seen.transpose()?,
    })
}
