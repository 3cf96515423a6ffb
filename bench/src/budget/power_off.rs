//! Whether the supply holds a unit up for what it has to finish after a cut.

use crate::open::Bench;
use packstaff_budget::OutOfRange;
use packstaff_budget::capacitor::Losses;
use packstaff_budget::hold_up::{HoldUpError, Load, Source, Stretch, held_s, least_f, needed_s};
use packstaff_budget::save_time::{SaveTimeError, longest_save_s};
use packstaff_budget::series::Series;
use packstaff_product::{Board, Budget, Finish, PowerOff, Regulator, Save};
use packstaff_unit::part::{Part, UnknownPart};
use serde::Serialize;
use thiserror::Error;

/// What happens after the supply is cut.
#[derive(Clone, Debug, Serialize)]
pub struct Off {
    /// What has to be finished.
    #[serde(skip)]
    pub finishing: Finishing,
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
    /// Seconds that the board's supply is stated to hold (`hold_up_ms`).
    #[serde(skip)]
    pub stated_s: f64,
    /// What is drawn, for the picture.
    #[serde(skip)]
    pub curve: Curve,
}

/// What has to be finished after a cut.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Finishing {
    /// A write of one page that has begun.
    Page,
    /// A whole save, by its name.
    Save(String),
}

/// What the picture of a hold-up is drawn from.
#[derive(Clone, Debug)]
pub struct Curve {
    /// The source.
    pub source: Source,
    /// Until the cut is noticed.
    pub noticing: Stretch,
    /// From then until everything is written.
    pub writing: Stretch,
}

/// Why a hold-up cannot be had.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum OffError {
    /// The settings memory is not in the parts table.
    #[error(transparent)]
    Part(#[from] UnknownPart),
    /// A save that the product file does not have.
    #[error("[budget] has no save {0:?}")]
    NoSave(String),
    /// The save cannot be timed.
    #[error(transparent)]
    Time(#[from] SaveTimeError),
    /// An input is out of its range.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// No capacitor is large enough, or one is out of all proportion.
    #[error(transparent)]
    HoldUp(#[from] HoldUpError),
}

impl Off {
    /// Whether the supply holds until everything is finished.
    pub fn holds(&self) -> bool {
        self.margin_s >= 0.0
    }

    /// Whether the supply holds as long as the board's `hold_up_ms` says.
    pub fn holds_as_stated(&self) -> bool {
        self.held_s >= self.stated_s
    }
}

/// What happens after a cut, if it is stated. Or why it cannot be had.
pub(super) fn off(bench: &Bench, board: &Board, budget: &Budget) -> Option<Result<Off, OffError>> {
    let stated = budget.board(&board.revision)?.power_off.as_ref()?;
    Some(power_off(bench, board, budget, stated))
}

fn power_off(bench: &Bench, board: &Board, budget: &Budget, stated: &PowerOff) -> Result<Off, OffError> {
    let memory = bench.settings_memory(board)?;
    let save = budget
        .save(&stated.save)
        .ok_or_else(|| OffError::NoSave(stated.save.clone()))?;
    let (at, bytes, finishing) = to_be_written(stated, memory, save);
    let write_s = longest_save_s(memory, at, bytes, stated.bus_khz * 1e3)?;
    let load = |ma: f64| load(board, stated, ma);
    let noticing = Stretch {
        s: stated.notice_ms / 1e3,
        load: load(stated.load_ma),
    };
    let writing = Stretch {
        s: write_s,
        load: load(stated.saving_load_ma.unwrap_or(stated.load_ma)),
    };
    let stretches = [noticing, writing];
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
    let losses = losses.check()?;
    let given_f = stated.capacitor_uf / 1e6;
    let given_least_f = losses.least_f(given_f);
    let needed_f = least_f(&source, &stretches)?;
    let smallest_f = losses.nominal_f(needed_f);
    let held = |f: f64| held_s(f, &source, &stretches);
    let held_worst = held(given_least_f)?;
    Ok(Off {
        finishing,
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
        stated_s: f64::from(board.supply.hold_up_ms) / 1e3,
        curve: Curve {
            source,
            noticing,
            writing,
        },
    })
}

/// Address and bytes of what is written after a cut, and what that is.
fn to_be_written(stated: &PowerOff, memory: &Part, save: &Save) -> (u32, u32, Finishing) {
    let page = memory.page_bytes.unwrap_or(save.bytes);
    match stated.finish {
        Finish::Page => (save.at / page.max(1) * page, page.min(save.bytes), Finishing::Page),
        Finish::Save => (save.at, save.bytes, Finishing::Save(save.name.clone())),
    }
}

/// What a unit that draws `ma` milliamperes at its own voltage draws from the capacitor.
fn load(board: &Board, stated: &PowerOff, ma: f64) -> Load {
    match stated.regulator {
        Regulator::Linear => Load::CurrentA(ma / 1e3),
        Regulator::Switching { efficiency_percent } => {
            Load::PowerW(f64::from(board.supply.millivolts) / 1e3 * ma / 1e3 / (efficiency_percent / 100.0))
        }
    }
}
