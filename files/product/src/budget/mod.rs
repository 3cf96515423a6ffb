//! What the maker states for the arithmetic of a unit's life: `[budget]` and what stands below it.

mod quantity;
mod read;
mod what_if;

pub use quantity::Quantity;
pub(crate) use read::{KEYS, read};
pub use what_if::WhatIfError;

/// The inputs of a product's budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// How long a unit is meant to serve, in years.
    pub years: f64,
    /// How often an owner updates, in a year.
    pub updates_per_year: f64,
    /// The longest time that an update may take, in seconds.
    pub update_limit_s: Option<f64>,
    /// How often an owner's mains fail in a year (SAIFI).
    pub interruptions_per_year: f64,
    /// Updates of which the maker knows whether they were cut.
    pub seen: Option<CutsSeen>,
    /// Keys that somebody who searches tries in a second.
    pub key_trials_per_s: f64,
    /// Rates of processor and stick that are not the usual ones.
    pub rates: UpdateRates,
    /// What the units save now and then.
    pub saves: Vec<Save>,
    /// What differs from board to board.
    pub boards: Vec<BoardBudget>,
}

/// Updates that the maker knows of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CutsSeen {
    /// How many of them were cut.
    pub cuts: f64,
    /// How many there were.
    pub updates: f64,
}

/// Rates that an update's time is reckoned from; `None` for the usual one.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct UpdateRates {
    /// SHA-256, in cycles a byte.
    pub sha256_cycles_per_byte: Option<f64>,
    /// AES-256 in counter mode, in cycles a byte.
    pub aes_cycles_per_byte: Option<f64>,
    /// Verifying a signature, in cycles.
    pub signature_cycles: Option<f64>,
    /// Reading the stick, in thousand bytes a second.
    pub stick_kb_per_s: Option<f64>,
    /// The slowest stick, in thousand bytes a second.
    pub stick_kb_per_s_slowest: Option<f64>,
    /// From plugging in to the first read, in seconds.
    pub stick_ready_s: Option<f64>,
    /// The longest time from plugging in to the first read, in seconds.
    pub stick_ready_s_longest: Option<f64>,
}

/// Something that units save now and then in their settings memory.
#[derive(Clone, Debug, PartialEq)]
pub struct Save {
    /// What it is.
    pub name: String,
    /// Address of its first place.
    pub at: u32,
    /// Bytes written at each save.
    pub bytes: u32,
    /// Places that it rotates among.
    pub places: u32,
    /// Bytes from the beginning of one place to the next.
    pub apart: u32,
    /// Saves a day in ordinary use.
    pub per_day: f64,
    /// Saves a day of the owner who saves most.
    pub per_day_most: f64,
}

/// The budget of one board revision.
#[derive(Clone, Debug, PartialEq)]
pub struct BoardBudget {
    /// The revision.
    pub revision: String,
    /// Units of it that owners have.
    pub owners: f64,
    /// Clock of the processor while it installs, in MHz; `None` for the highest that the part allows.
    pub clock_mhz: Option<f64>,
    /// What is done when the supply is cut.
    pub power_off: Option<PowerOff>,
}

/// What a board does when its supply is cut, and what it lives on.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerOff {
    /// What follows the capacitor.
    pub regulator: Regulator,
    /// Lowest voltage on the capacitor while the supply is there, in millivolts.
    pub start_mv: f64,
    /// Lowest voltage that the regulator can use, in millivolts.
    pub minimum_mv: f64,
    /// What the unit draws at its own supply voltage, in milliamperes.
    pub load_ma: f64,
    /// The same once the cut is noticed and loads are shed; `None` if none are.
    pub saving_load_ma: Option<f64>,
    /// From the cut until the unit begins to finish what it has to, in milliseconds.
    pub notice_ms: f64,
    /// The capacitor's nominal value, in microfarads.
    pub capacitor_uf: f64,
    /// Its tolerance, in per cent.
    pub tolerance_percent: f64,
    /// What it loses by age, in per cent.
    pub ageing_percent: f64,
    /// What it loses in the cold, in per cent.
    pub cold_percent: f64,
    /// Its series resistance, in milliohms.
    pub esr_mohm: f64,
    /// What has to be finished.
    pub finish: Finish,
    /// Which of the saves it is about, by its name.
    pub save: String,
    /// Clock of the bus to the settings memory, in kHz.
    pub bus_khz: f64,
}

/// What follows the capacitor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Regulator {
    /// A linear regulator: the current is the unit's.
    Linear,
    /// A switching regulator of this efficiency in per cent: the power is the unit's, divided by it.
    Switching {
        /// The efficiency.
        efficiency_percent: f64,
    },
}

/// What has to be finished after a cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finish {
    /// A write of one page that has begun.
    Page,
    /// A whole save.
    Save,
}

impl Finish {
    const WORDS: &[(&str, Self)] = &[("page", Self::Page), ("save", Self::Save)];
}

impl Budget {
    /// What is stated for a board.
    pub fn board(&self, revision: &str) -> Option<&BoardBudget> {
        self.boards.iter().find(|board| board.revision == revision)
    }

    /// The save of this name.
    pub fn save(&self, name: &str) -> Option<&Save> {
        self.saves.iter().find(|save| save.name == name)
    }
}
