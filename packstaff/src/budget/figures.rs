//! The figures of a board's budget, computed.

use super::trial::trial;
use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result};
use packstaff_bench::budget::rates;
use packstaff_bench::open::Bench;
use packstaff_bench::wear::Most;
use packstaff_budget::capacitor::Losses;
use packstaff_budget::cuts::{Forecast, forecast, forecast_by_chance, mean_interval};
use packstaff_budget::hold_up::{HoldUpError, Load, Source, Stretch, held_s, least_f, needed_s};
use packstaff_budget::save_time::longest_save_s;
use packstaff_budget::series::Series;
use packstaff_budget::update_time::{UpdateTime, update_time};
use packstaff_budget::wear::{Cells, Record, bytes_that_wear_together, cells, flash_years, years};
use packstaff_product::{Board, Budget, CutsSeen, Finish, PowerOff, Regulator};
use packstaff_unit::part::Part;
use packstaff_unit::timing::FlashParts;
use serde::Serialize;

/// The chance with which intervals hold.
pub(super) const LEVEL: f64 = 0.95;

/// An update's time.
#[derive(Clone, Debug, Serialize)]
pub struct Update {
    /// Which update, in words.
    pub of: String,
    /// Whether it is a release's; otherwise it is one that may come.
    pub released: bool,
    /// Bytes of its image.
    pub image_bytes: u32,
    /// Its time.
    pub time: UpdateTime,
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

/// What happens after the supply is cut.
#[derive(Clone, Debug, Serialize)]
pub struct Off {
    /// What has to be finished, in words.
    pub finishing: String,
    /// Seconds from the cut until it is.
    pub needed_s: f64,
    /// Capacitance that is needed, in farads.
    pub needed_f: f64,
    /// Nominal value of the smallest capacitor of which that is left, in farads.
    pub smallest_f: f64,
    /// The next value of E6, in farads.
    pub next_e6_f: Option<f64>,
    /// The next value of E12, in farads.
    pub next_e12_f: Option<f64>,
    /// Nominal value of the capacitor that is there, in farads.
    pub given_f: f64,
    /// What is left of it in the worst case, in farads.
    pub given_least_f: f64,
    /// Seconds that its nominal value holds.
    pub held_nominal_s: f64,
    /// Seconds that it holds in the worst case.
    pub held_s: f64,
    /// Seconds that are left over in the worst case; less than 0 if it does not hold.
    pub margin_s: f64,
    /// What is drawn, for the picture.
    #[serde(skip)]
    pub curve: Curve,
}

/// What the picture of a hold-up is drawn from.
#[derive(Clone, Debug)]
pub struct Curve {
    /// The source.
    pub source: Source,
    /// The stretches, each with the words for its end.
    pub stretches: Vec<(Stretch, String)>,
}

/// All figures of a board.
#[derive(Clone, Debug, Serialize)]
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
    pub memory: Option<Result<MemoryWear, String>>,
    /// After a cut; `None` if it is not stated. Or why it cannot be had.
    pub off: Option<Result<Off, String>>,
}

/// Computes everything for a board.
///
/// # Errors
/// The board cannot be simulated, or a rate is out of its range.
pub(super) fn board_figures(bench: &Bench, board: &Board, budget: &Budget) -> Result<BoardFigures> {
    let parts = bench.parts(board).told()?;
    let rates = rates(&bench.product, board, parts.own);
    let newest = bench.ledger.releases().iter().filter_map(|release| {
        let image = release.record.board(&board.revision)?.image_size;
        let version = bench.product.version(&release.record.version).ok()?;
        Some((version.numbers(), release.record.version.clone(), image as u32))
    });
    let newest = newest.max_by(|a, b| a.0.cmp(&b.0));
    let full = bench.target(board).told()?.usable;
    let sizes = newest.map(|(_, version, image)| (format!("to {version}"), true, image));
    let mut updates = Vec::new();
    let mut erases = Most::default();
    let filled = ("that fills the slot".to_owned(), false, full);
    for (of, released, image_bytes) in sizes.into_iter().chain([filled]) {
        let seen = trial(bench, board, image_bytes)?;
        erases = erases.max(seen.erases_most);
        let time = update_time(&seen.work, parts, &rates).into_diagnostic()?;
        updates.push(Update {
            of,
            released,
            image_bytes,
            time,
        });
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

fn cuts(budget: &Budget, owners: f64, longest_s: f64) -> Result<Cuts> {
    let by_mains = forecast(owners, longest_s, budget.interruptions_per_year, LEVEL).into_diagnostic()?;
    let as_seen = budget.seen.map(|CutsSeen { cuts, updates }| {
        let (low, high) = mean_interval(cuts as u64, LEVEL).into_diagnostic()?;
        Ok::<_, miette::Report>(AsSeen {
            cuts,
            updates,
            chance: (low / updates, (high / updates).min(1.0)),
            forecast: forecast_by_chance(owners, cuts / updates, LEVEL).into_diagnostic()?,
        })
    });
    Ok(Cuts {
        owners,
        by_mains,
        as_seen: as_seen.transpose()?,
    })
}

/// Flash, if the table has its endurance.
pub(crate) fn flash_wear(parts: FlashParts<'_>, erases: Most, budget: &Budget) -> Option<FlashWear> {
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
pub(crate) fn memory_wear(bench: &Bench, board: &Board, budget: &Budget) -> Option<Result<MemoryWear, String>> {
    if budget.saves.is_empty() {
        return None;
    }
    let memory = bench.settings_memory(board).ok()?;
    let records: Vec<_> = budget
        .saves
        .iter()
        .map(|save| Record {
            name: save.name.clone(),
            at: save.at,
            bytes: save.bytes,
            places: save.places,
            apart: save.apart,
            per_day: save.per_day,
            per_day_most: save.per_day_most,
        })
        .collect();
    let page_bytes = bytes_that_wear_together(memory);
    let Some(cycles) = memory.endurance_min else {
        return Some(Err(format!("the parts table has no endurance for {}", memory.id)));
    };
    let worn = match cells(memory.size_bytes, page_bytes, &records) {
        Ok(worn) => worn,
        Err(error) => return Some(Err(error.to_string())),
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

/// What happens after a cut, if it is stated. Or why it cannot be had.
pub(crate) fn off(bench: &Bench, board: &Board, budget: &Budget) -> Option<Result<Off, String>> {
    let stated = budget.board(&board.revision)?.power_off.as_ref()?;
    Some(power_off(bench, board, budget, stated))
}

fn power_off(bench: &Bench, board: &Board, budget: &Budget, stated: &PowerOff) -> Result<Off, String> {
    let memory = bench.settings_memory(board).map_err(|unknown| unknown.to_string())?;
    let save = budget
        .save(&stated.save)
        .ok_or_else(|| format!("[budget] has no save {:?}", stated.save))?;
    let page = memory.page_bytes.unwrap_or(save.bytes);
    let (bytes, at, finishing) = match stated.finish {
        Finish::Page => (
            page.min(save.bytes),
            save.at / page.max(1) * page,
            "one page".to_owned(),
        ),
        Finish::Save => (save.bytes, save.at, format!("a whole save of {}", save.name)),
    };
    let write_s = longest_save_s(memory, at, bytes, stated.bus_khz * 1e3).map_err(|error| error.to_string())?;
    let load = |ma: f64| match stated.regulator {
        Regulator::Linear => Load::CurrentA(ma / 1e3),
        Regulator::Switching { efficiency_percent } => {
            Load::PowerW(f64::from(board.supply.millivolts) / 1e3 * ma / 1e3 / (efficiency_percent / 100.0))
        }
    };
    let stretch = |s: f64, ma: f64| Stretch { s, load: load(ma) };
    let stretches = [
        stretch(stated.notice_ms / 1e3, stated.load_ma),
        stretch(write_s, stated.saving_load_ma.unwrap_or(stated.load_ma)),
    ];
    let source = Source {
        start_v: stated.start_mv / 1e3,
        minimum_v: stated.minimum_mv / 1e3,
        esr_ohm: stated.esr_mohm / 1e3,
    };
    let losses = Losses {
        tolerance: stated.tolerance_percent / 100.0,
        ageing: stated.ageing_percent / 100.0,
        cold: stated.cold_percent / 100.0,
    };
    let losses = losses.check().map_err(|error| error.to_string())?;
    let given_f = stated.capacitor_uf / 1e6;
    let given_least_f = losses.least_f(given_f);
    let needed_f = least_f(&source, &stretches).map_err(|error: HoldUpError| error.to_string())?;
    let smallest_f = losses.nominal_f(needed_f);
    let held = |f: f64| held_s(f, &source, &stretches).map_err(|error| error.to_string());
    let held_worst = held(given_least_f)?;
    Ok(Off {
        needed_s: needed_s(&stretches),
        needed_f,
        smallest_f,
        next_e6_f: Series::E6.at_least(smallest_f),
        next_e12_f: Series::E12.at_least(smallest_f),
        given_f,
        given_least_f,
        held_nominal_s: held(given_f)?,
        held_s: held_worst,
        margin_s: held_worst - needed_s(&stretches),
        curve: Curve {
            source,
            stretches: stretches
                .into_iter()
                .zip(["the cut is noticed".to_owned(), format!("{finishing} is written")])
                .collect(),
        },
        finishing,
    })
}
