//! Reading `[budget]`.

use super::quantity::{self as q, Quantity};
use super::{BoardBudget, Budget, CutsSeen, Finish, PowerOff, Regulator, Save, UpdateRates};
use crate::board::Board;
use packstaff_document::{Entry, Problem, Section, nearest};

pub(crate) const KEYS: &[&str] = &[
    "years",
    "updates_per_year",
    "update_limit_s",
    "interruptions_per_year",
    "cuts_seen",
    "updates_seen",
    "key_trials_per_s",
    "rates",
    "save",
    "board",
];
const RATES_KEYS: &[&str] = &[
    "sha256_cycles_per_byte",
    "aes_cycles_per_byte",
    "signature_cycles",
    "stick_kb_per_s",
    "stick_kb_per_s_slowest",
    "stick_ready_s",
    "stick_ready_s_longest",
];
const SAVE_KEYS: &[&str] = &["name", "at", "bytes", "places", "apart", "per_day", "per_day_most"];
const BOARD_KEYS: &[&str] = &["revision", "owners", "clock_mhz", "power_off"];
const POWER_OFF_KEYS: &[&str] = &[
    "regulator",
    "start_mv",
    "minimum_mv",
    "load_ma",
    "saving_load_ma",
    "efficiency_percent",
    "notice_ms",
    "capacitor_uf",
    "tolerance_percent",
    "ageing_percent",
    "cold_percent",
    "esr_mohm",
    "finish",
    "save",
    "bus_khz",
];

/// The number of an entry, if it is one that the quantity takes.
fn number(entry: &Entry<'_, '_>, quantity: &Quantity) -> Option<f64> {
    let value = entry.number()?;
    match quantity.takes(value) {
        true => Some(value),
        false => entry.refuse(quantity.expected(), "Write a number from that range."),
    }
}

fn needed(section: &Section<'_, '_>, quantity: &Quantity) -> Option<f64> {
    number(&section.value(quantity.key)?, quantity)
}

/// `None` if it is there and cannot be used; `Some(None)` if it is left out.
fn optional(section: &Section<'_, '_>, quantity: &Quantity) -> Option<Option<f64>> {
    match section.find(quantity.key) {
        Some(entry) => number(&entry, quantity).map(Some),
        None => Some(None),
    }
}

/// Reads `[budget]`. Without `boards`, whose own complaints are made elsewhere, revisions are not looked up.
pub(crate) fn read(section: &Section<'_, '_>, boards: Option<&[Board]>) -> Option<Budget> {
    let years = needed(section, &q::YEARS);
    let updates_per_year = needed(section, &q::UPDATES_PER_YEAR);
    let update_limit_s = optional(section, &q::UPDATE_LIMIT_S);
    let interruptions_per_year = needed(section, &q::INTERRUPTIONS);
    let key_trials_per_s = needed(section, &q::KEY_TRIALS);
    let seen = seen(section);
    let rates = match section.find("rates") {
        Some(entry) => entry
            .section("[budget.rates]", RATES_KEYS)
            .and_then(|rates| read_rates(&rates)),
        None => Some(UpdateRates::default()),
    };
    let saves = section.sections("save", "[[budget.save]]", SAVE_KEYS);
    refuse_same("the save", "name", &saves, section);
    let saves: Vec<Option<Save>> = saves.iter().map(save).collect();
    let saves: Option<Vec<Save>> = saves.into_iter().collect();
    let members = section.sections("board", "[[budget.board]]", BOARD_KEYS);
    refuse_same("the revision", "revision", &members, section);
    let read: Vec<_> = members
        .iter()
        .map(|member| board(member, boards, saves.as_deref()))
        .collect();
    let read: Option<Vec<BoardBudget>> = read.into_iter().collect();
    Some(Budget {
        years: years?,
        updates_per_year: updates_per_year?,
        update_limit_s: update_limit_s?,
        interruptions_per_year: interruptions_per_year?,
        seen: seen?,
        key_trials_per_s: key_trials_per_s?,
        rates: rates?,
        saves: saves?,
        boards: read?,
    })
}

/// Notes every name that stands in two of the tables.
fn refuse_same(what: &'static str, key: &'static str, tables: &[Section<'_, '_>], section: &Section<'_, '_>) {
    let names = tables.iter().filter_map(|table| table.find(key));
    let names: Vec<_> = names.map(|entry| (entry.raw_text(), entry.span())).collect();
    section.notes().refuse_repeats(what, names.into_iter());
}

fn seen(section: &Section<'_, '_>) -> Option<Option<CutsSeen>> {
    if section.find("cuts_seen").is_none() && section.find("updates_seen").is_none() {
        return Some(None);
    }
    let cuts = needed(section, &q::CUTS_SEEN);
    let updates = needed(section, &q::UPDATES_SEEN);
    let (cuts, updates) = (cuts?, updates?);
    if cuts > updates || cuts.fract() != 0.0 {
        return section.value("cuts_seen")?.refuse(
            "a whole number of cuts, at most `updates_seen`",
            "Count the updates of which you know how they went, and those of them that were cut.",
        );
    }
    Some(Some(CutsSeen { cuts, updates }))
}

fn read_rates(section: &Section<'_, '_>) -> Option<UpdateRates> {
    let rates = UpdateRates {
        sha256_cycles_per_byte: optional(section, &q::SHA256_CYCLES)?,
        aes_cycles_per_byte: optional(section, &q::AES_CYCLES)?,
        signature_cycles: optional(section, &q::SIGNATURE_CYCLES)?,
        stick_kb_per_s: optional(section, &q::STICK_KB)?,
        stick_kb_per_s_slowest: optional(section, &q::STICK_KB_SLOWEST)?,
        stick_ready_s: optional(section, &q::READY_S)?,
        stick_ready_s_longest: optional(section, &q::READY_S_LONGEST)?,
    };
    Some(rates)
}

fn save(section: &Section<'_, '_>) -> Option<Save> {
    let integer = |key, least| section.value(key).and_then(|entry| entry.integer_u32(least..=1 << 24));
    let name = section.value("name").and_then(|entry| entry.text());
    let (at, bytes) = (integer("at", 0), integer("bytes", 1));
    let places = match section.find("places") {
        Some(entry) => entry.integer_u32(1..=1 << 20),
        None => Some(1),
    };
    let apart = match section.find("apart") {
        Some(entry) => entry.integer_u32(1..=1 << 24),
        None => bytes,
    };
    let per_day = needed(section, &q::PER_DAY);
    let per_day_most = needed(section, &q::PER_DAY_MOST);
    let (bytes, places, apart) = (bytes?, places?, apart?);
    if places > 1 && apart < bytes {
        return section.value("apart")?.refuse(
            format!("at least the {bytes} bytes of the save"),
            "Places must not overlap: give the bytes from the beginning of one to the beginning of the next.",
        );
    }
    let (per_day, per_day_most) = (per_day?, per_day_most?);
    if per_day > per_day_most {
        return section.value("per_day_most")?.refuse(
            format!("at least `per_day`, {per_day}"),
            "Give the saves of the owner who saves most.",
        );
    }
    Some(Save {
        name: name?,
        at: at?,
        bytes,
        places,
        apart,
        per_day,
        per_day_most,
    })
}

fn board(section: &Section<'_, '_>, boards: Option<&[Board]>, saves: Option<&[Save]>) -> Option<BoardBudget> {
    let revision = section.value("revision").and_then(|entry| match boards {
        Some(boards) => {
            let known = boards.iter().map(|board| board.revision.as_str());
            listed(&entry, "revision", "the boards of this file", known)
        }
        None => entry.text(),
    });
    let owners = needed(section, &q::OWNERS);
    let clock_mhz = optional(section, &q::CLOCK_MHZ);
    let power_off = match section.find("power_off") {
        Some(entry) => entry
            .section("[budget.board.power_off]", POWER_OFF_KEYS)
            .and_then(|section| power_off(&section, saves))
            .map(Some),
        None => Some(None),
    };
    Some(BoardBudget {
        revision: revision?,
        owners: owners?,
        clock_mhz: clock_mhz?,
        power_off: power_off?,
    })
}

/// A name that must be one of a list.
fn listed<'n>(
    entry: &Entry<'_, '_>,
    key: &'static str,
    list: &'static str,
    known: impl Iterator<Item = &'n str> + Clone,
) -> Option<String> {
    let name = entry.text()?;
    if known.clone().any(|other| other == name) {
        return Some(name);
    }
    let problem = Problem::UnknownName {
        key,
        value: format!("{name:?}"),
        list,
        near: nearest(&name, known).map(str::to_owned),
        advice: "Name one that is there, or add it.",
    };
    entry.notes().add(entry.span(), problem);
    None
}

fn power_off(section: &Section<'_, '_>, saves: Option<&[Save]>) -> Option<PowerOff> {
    let regulator = regulator(section);
    let start_mv = needed(section, &q::START_MV);
    let minimum_mv = needed(section, &q::MINIMUM_MV);
    let load_ma = needed(section, &q::LOAD_MA);
    let saving_load_ma = optional(section, &q::SAVING_LOAD_MA);
    let notice_ms = needed(section, &q::NOTICE_MS);
    let capacitor_uf = needed(section, &q::CAPACITOR_UF);
    let tolerance_percent = needed(section, &q::TOLERANCE);
    let ageing_percent = needed(section, &q::AGEING);
    let cold_percent = optional(section, &q::COLD);
    let esr_mohm = optional(section, &q::ESR_MOHM);
    let finish = section.value("finish").and_then(|entry| entry.word(Finish::WORDS));
    let bus_khz = needed(section, &q::BUS_KHZ);
    let save = section.value("save").and_then(|entry| match saves {
        Some(saves) => {
            let known = saves.iter().map(|save| save.name.as_str());
            listed(&entry, "save", "the saves of [budget]", known)
        }
        None => entry.text(),
    });
    let (start_mv, minimum_mv) = (start_mv?, minimum_mv?);
    if minimum_mv >= start_mv {
        return section.value("minimum_mv")?.refuse(
            format!("below `start_mv`, {start_mv} mV"),
            "Give the lowest voltage before the regulator at which the unit still works.",
        );
    }
    Some(PowerOff {
        regulator: regulator?,
        start_mv,
        minimum_mv,
        load_ma: load_ma?,
        saving_load_ma: saving_load_ma?,
        notice_ms: notice_ms?,
        capacitor_uf: capacitor_uf?,
        tolerance_percent: tolerance_percent?,
        ageing_percent: ageing_percent?,
        cold_percent: cold_percent?.unwrap_or(0.0),
        esr_mohm: esr_mohm?.unwrap_or(0.0),
        finish: finish?,
        save: save?,
        bus_khz: bus_khz?,
    })
}

fn regulator(section: &Section<'_, '_>) -> Option<Regulator> {
    let switching = section
        .value("regulator")?
        .word(&[("linear", false), ("switching", true)])?;
    match (switching, section.find("efficiency_percent")) {
        (true, _) => Some(Regulator::Switching {
            efficiency_percent: needed(section, &q::EFFICIENCY)?,
        }),
        (false, None) => Some(Regulator::Linear),
        (false, Some(entry)) => entry.refuse(
            "of use to a linear regulator, whose current is the unit's",
            "Take it out, or set regulator = \"switching\".",
        ),
    }
}
