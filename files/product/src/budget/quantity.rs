//! Every number of the budget: its key, its unit and what is taken.

/// A number that the maker states.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// Its key in the product file.
    pub key: &'static str,
    /// Its unit; empty for a bare number.
    pub unit: &'static str,
    /// The least that is taken.
    pub least: f64,
    /// The most that is taken.
    pub most: f64,
}

impl Quantity {
    const fn new(key: &'static str, unit: &'static str, least: f64, most: f64) -> Self {
        Self { key, unit, least, most }
    }

    /// What is taken, in words.
    pub fn expected(&self) -> String {
        let unit = if self.unit.is_empty() { "" } else { " " };
        format!("a number from {} to {}{unit}{}", self.least, self.most, self.unit)
    }

    /// Whether a value is taken.
    pub fn takes(&self, value: f64) -> bool {
        (self.least..=self.most).contains(&value)
    }
}

pub(super) const YEARS: Quantity = Quantity::new("years", "years", 0.1, 100.0);
pub(super) const UPDATES_PER_YEAR: Quantity = Quantity::new("updates_per_year", "a year", 0.0, 10_000.0);
pub(super) const UPDATE_LIMIT_S: Quantity = Quantity::new("update_limit_s", "s", 1.0, 86_400.0);
pub(super) const INTERRUPTIONS: Quantity = Quantity::new("interruptions_per_year", "a year", 0.0, 10_000.0);
pub(super) const CUTS_SEEN: Quantity = Quantity::new("cuts_seen", "", 0.0, 1e6);
pub(super) const UPDATES_SEEN: Quantity = Quantity::new("updates_seen", "", 1.0, 1e9);
pub(super) const KEY_TRIALS: Quantity = Quantity::new("key_trials_per_s", "a second", 1.0, 1e30);

pub(super) const SHA256_CYCLES: Quantity = Quantity::new("sha256_cycles_per_byte", "cycles", 0.0, 1e6);
pub(super) const AES_CYCLES: Quantity = Quantity::new("aes_cycles_per_byte", "cycles", 0.0, 1e6);
pub(super) const SIGNATURE_CYCLES: Quantity = Quantity::new("signature_cycles", "cycles", 0.0, 1e10);
pub(super) const STICK_KB: Quantity = Quantity::new("stick_kb_per_s", "kB/s", 1.0, 500_000.0);
pub(super) const STICK_KB_SLOWEST: Quantity = Quantity::new("stick_kb_per_s_slowest", "kB/s", 1.0, 500_000.0);
pub(super) const READY_S: Quantity = Quantity::new("stick_ready_s", "s", 0.0, 3600.0);
pub(super) const READY_S_LONGEST: Quantity = Quantity::new("stick_ready_s_longest", "s", 0.0, 3600.0);

pub(super) const PER_DAY: Quantity = Quantity::new("per_day", "a day", 0.0, 1e6);
pub(super) const PER_DAY_MOST: Quantity = Quantity::new("per_day_most", "a day", 0.0, 1e6);

pub(super) const OWNERS: Quantity = Quantity::new("owners", "", 0.0, 1e9);
pub(super) const CLOCK_MHZ: Quantity = Quantity::new("clock_mhz", "MHz", 0.1, 1000.0);

pub(super) const START_MV: Quantity = Quantity::new("start_mv", "mV", 500.0, 500_000.0);
pub(super) const MINIMUM_MV: Quantity = Quantity::new("minimum_mv", "mV", 500.0, 500_000.0);
pub(super) const LOAD_MA: Quantity = Quantity::new("load_ma", "mA", 0.001, 100_000.0);
pub(super) const SAVING_LOAD_MA: Quantity = Quantity::new("saving_load_ma", "mA", 0.001, 100_000.0);
pub(super) const EFFICIENCY: Quantity = Quantity::new("efficiency_percent", "%", 10.0, 100.0);
pub(super) const NOTICE_MS: Quantity = Quantity::new("notice_ms", "ms", 0.0, 60_000.0);
pub(super) const CAPACITOR_UF: Quantity = Quantity::new("capacitor_uf", "µF", 0.001, 1e9);
pub(super) const TOLERANCE: Quantity = Quantity::new("tolerance_percent", "%", 0.0, 90.0);
pub(super) const AGEING: Quantity = Quantity::new("ageing_percent", "%", 0.0, 90.0);
pub(super) const COLD: Quantity = Quantity::new("cold_percent", "%", 0.0, 90.0);
pub(super) const ESR_MOHM: Quantity = Quantity::new("esr_mohm", "mΩ", 0.0, 1e6);
pub(super) const BUS_KHZ: Quantity = Quantity::new("bus_khz", "kHz", 1.0, 50_000.0);
