//! How long flash and the settings memory last.

use crate::open::Bench;
use crate::wear::Most;
use packstaff_budget::wear::{Cells, Record, WearError, bytes_that_wear_together, cells, flash_years, years};
use packstaff_product::{Board, Budget, Save};
use packstaff_unit::part::Part;
use packstaff_unit::timing::FlashParts;
use serde::Serialize;
use thiserror::Error;

/// How flash wears by updates.
#[derive(Clone, Debug, Serialize)]
pub struct FlashWear {
    /// The part: of two, the one that wears out sooner.
    pub part: String,
    /// Erase cycles that the data sheet guarantees.
    pub cycles: u64,
    /// How often an update erases the sector that it erases most.
    pub erases: u64,
    /// Years until that sector has made its cycles.
    pub years: f64,
}

/// How the settings memory wears by saves.
#[derive(Clone, Debug, Serialize)]
pub struct MemoryWear {
    /// The part.
    pub part: String,
    /// Bytes that wear together.
    pub page_bytes: u32,
    /// Write cycles that the data sheet guarantees.
    pub cycles: u64,
    /// Names of the saves.
    pub saves: Vec<String>,
    /// Every page that is written, those that wear out first first.
    pub cells: Vec<Cells>,
    /// What wears out first: the saves of the first page.
    pub first: Vec<String>,
    /// Years until then, with the owner who saves most.
    pub years: f64,
    /// Years until then in ordinary use.
    pub years_ordinary: f64,
}

/// Why the wear of a settings memory cannot be computed.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum MemoryWearError {
    /// The parts table does not say how often the memory can be written.
    #[error("the parts table has no endurance for {0}")]
    NoEndurance(String),
    /// What is saved does not fit the memory.
    #[error(transparent)]
    Saves(#[from] WearError),
}

/// Flash, if the table has its endurance.
pub(super) fn flash_wear(parts: FlashParts<'_>, erases: Most, budget: &Budget) -> Option<FlashWear> {
    let wear = |part: &Part, erases: u64| {
        let cycles = part.endurance_min?;
        Some(FlashWear {
            part: part.id.clone(),
            cycles,
            erases,
            years: flash_years(cycles as f64, erases as f64, budget.updates_per_year),
        })
    };
    let own = wear(parts.own, erases.own)?;
    let beside = parts.beside.and_then(|part| wear(part, erases.beside));
    Some(match beside {
        Some(beside) if beside.years < own.years => beside,
        _ => own,
    })
}

/// The settings memory, if anything is stated to be saved in it. Or why it cannot be computed.
pub(super) fn memory_wear(
    bench: &Bench,
    board: &Board,
    budget: &Budget,
) -> Option<Result<MemoryWear, MemoryWearError>> {
    if budget.saves.is_empty() {
        return None;
    }
    let memory = bench.settings_memory(board).ok()?;
    let records: Vec<_> = budget.saves.iter().map(record).collect();
    let page_bytes = bytes_that_wear_together(memory);
    let Some(cycles) = memory.endurance_min else {
        return Some(Err(MemoryWearError::NoEndurance(memory.id.clone())));
    };
    let worn = match cells(memory.size_bytes, page_bytes, &records) {
        Ok(worn) => worn,
        Err(error) => return Some(Err(error.into())),
    };
    let most = worn.first().map_or(0.0, |first| first.writes_per_day_most);
    let ordinary = worn.iter().map(|cells| cells.writes_per_day).fold(0.0, f64::max);
    let first = worn.first().map(|first| &first.records[..]).unwrap_or_default();
    let first = first.iter().filter_map(|record| records.get(*record));
    Some(Ok(MemoryWear {
        part: memory.id.clone(),
        page_bytes,
        cycles,
        first: first.map(|record| record.name.clone()).collect(),
        years: years(cycles as f64, most),
        years_ordinary: years(cycles as f64, ordinary),
        saves: records.into_iter().map(|record| record.name).collect(),
        cells: worn,
    }))
}

fn record(save: &Save) -> Record {
    Record {
        name: save.name.clone(),
        at: save.at,
        bytes: save.bytes,
        places: save.places,
        apart: save.apart,
        per_day: save.per_day,
        per_day_most: save.per_day_most,
    }
}
