//! The figures of a budget, as rows of a report.

use super::names::{finishing, update};
use super::numbers::{list, ms, number, seconds, years};
use crate::report::{Cell, Report, Verdict};
use crate::sheet::typical_and_longest;
use packstaff_bench::budget::{
    BoardFigures, Cuts, Figures, FlashWear, LEVEL, MemoryWear, MemoryWearError, Off, OffError, ReleaseBudget, UpdateOf,
    in_time, lasts,
};
use packstaff_budget::plot::farads;
use packstaff_budget::update_time::UpdateTime;
use packstaff_product::Budget;

const UPDATE: &str = "Update";
const CUTS: &str = "Cuts among owners";
const WEAR: &str = "Wear";
const OFF: &str = "Saving at power-off";

/// Section of a release's report.
const RELEASE: &str = "Budget";

/// Everything about all boards, section by section.
pub(super) fn set_all(report: &mut Report, figures: &Figures) {
    let budget = &figures.stated;
    for (column, board) in figures.boards.iter().enumerate() {
        set_update(report, column, board, budget);
    }
    for (column, board) in figures.boards.iter().enumerate() {
        if let Some(cuts) = &board.cuts {
            set_cuts(report, column, cuts, budget);
        }
    }
    for (column, board) in figures.boards.iter().enumerate() {
        if let Some(flash) = &board.flash {
            report.set(WEAR, "flash", "Flash", column, flash_cell(flash, budget));
        }
        if let Some(memory) = &board.memory {
            set_memory(report, WEAR, column, memory, budget);
        }
    }
    for (column, board) in figures.boards.iter().enumerate() {
        if let Some(off) = &board.off {
            set_off_details(report, column, off);
            set_off(report, OFF, column, off);
        }
    }
}

/// What a release has to do with its product file's budget, as rows. The report's columns are the product's boards.
pub fn set_release(report: &mut Report, release: &ReleaseBudget) {
    let stated = &release.stated;
    for (column, board) in release.boards.iter().enumerate() {
        if let Some(time) = board.slowest {
            let cell = limit_cell(time.typical_s, time.longest_s, stated);
            report.set(RELEASE, "update-limit", "Longest install", column, cell);
        }
        if let Some(flash) = &board.flash {
            report.set(RELEASE, "flash", "Flash", column, flash_cell(flash, stated));
        }
        if let Some(memory) = &board.memory {
            set_memory(report, RELEASE, column, memory, stated);
        }
        if let Some(off) = &board.off {
            set_off(report, RELEASE, column, off);
        }
    }
}

fn set_update(report: &mut Report, column: usize, figures: &BoardFigures, budget: &Budget) {
    for (index, timed) in figures.updates.iter().enumerate() {
        let time = &timed.time;
        let id = format!("update-{index}");
        let title = format!("An update {}", update(&timed.of));
        let mut cell = time_cell(time, budget);
        if timed.of == UpdateOf::FillingSlot {
            // It may never come to that.
            cell.verdict = cell.verdict.min(Verdict::Warn);
            cell.figure = typical_and_longest(time.typical_s, time.longest_s);
        }
        report.set(UPDATE, &id, &title, column, cell);
        for (place, phase) in time.phases.iter().enumerate().filter(|_| index == 0) {
            let cell = Cell::pass(seconds(phase.typical_s, phase.longest_s));
            let title = format!("  {}", phase.name);
            report.set(UPDATE, &format!("phase-{place}"), &title, column, cell);
        }
    }
}

/// The time of an update, against the maker's limit; a look is needed where the data sheet is silent.
fn time_cell(time: &UpdateTime, budget: &Budget) -> Cell {
    let cell = limit_cell(time.typical_s, time.longest_s, budget);
    if cell.verdict != Verdict::Pass || time.gaps.is_empty() {
        return cell;
    }
    Cell {
        verdict: Verdict::Warn,
        expected: "times from the part's data sheet".to_owned(),
        explanation: format!(
            "The parts table has not {} for this part: the real time is longer. Ask its maker, or measure it.",
            time.gaps.join(" and not ")
        ),
        ..cell
    }
}

/// The time of an update, against the maker's limit.
fn limit_cell(typical_s: f64, longest_s: f64, budget: &Budget) -> Cell {
    let found = typical_and_longest(typical_s, longest_s);
    match budget.update_limit_s {
        Some(limit) if !in_time(budget, longest_s) => Cell::fail(
            format!("{found} ({longest_s:.1} s)"),
            format!("at most {limit} s, as `update_limit_s` in product.toml says"),
            "A smaller image, larger sectors, or a faster clock while installing make it shorter; or raise the limit, if owners can wait.",
        ),
        _ => Cell::pass(found),
    }
}

fn set_cuts(report: &mut Report, column: usize, cuts: &Cuts, budget: &Budget) {
    let owners = number(cuts.owners);
    let mains = &cuts.by_mains;
    let likely = |(low, high): (u64, u64)| match low == high {
        true => format!("{low}"),
        false => format!("{low} to {high}"),
    };
    let cell = Cell {
        found: format!(
            "{} of {owners} owners expected, {} with {:.0} % chance; for one owner {}",
            number(mains.expected),
            likely(mains.likely),
            LEVEL * 100.0,
            number(mains.one)
        ),
        ..Cell::pass(format!(
            "{} of {owners}, likely {}",
            number(mains.expected),
            likely(mains.likely)
        ))
    };
    let title = format!("By the mains, {} failures a year", budget.interruptions_per_year);
    report.set(CUTS, "cuts-by-mains", &title, column, cell);
    if let Some(seen) = &cuts.as_seen {
        let forecast = &seen.forecast;
        let percent = |chance: f64| format!("{:.2}", chance * 100.0);
        let cell = Cell {
            found: format!(
                "{} of {owners} owners expected, {} with {:.0} % chance, if a cut comes as often as was seen; that is {} to {} % of updates",
                number(forecast.expected),
                likely(forecast.likely),
                LEVEL * 100.0,
                percent(seen.chance.0),
                percent(seen.chance.1)
            ),
            ..Cell::pass(format!(
                "{} of {owners}, likely {}; rate {} to {} %",
                number(forecast.expected),
                likely(forecast.likely),
                percent(seen.chance.0),
                percent(seen.chance.1)
            ))
        };
        let title = format!("As seen: {} of {} updates", seen.cuts, seen.updates);
        report.set(CUTS, "cuts-as-seen", &title, column, cell);
    }
}

/// Flash against the years of service.
fn flash_cell(flash: &FlashWear, budget: &Budget) -> Cell {
    if lasts(budget, flash.years) {
        return Cell::pass(years(flash.years));
    }
    Cell::fail(
        format!(
            "{}: {} cycles, {} in an update, last {}",
            flash.part,
            flash.cycles,
            flash.erases,
            years(flash.years)
        ),
        format!("at least {} years, as `years` in product.toml says", budget.years),
        "Flash wears by updates alone. Release less often, or take a part that is rated for more cycles.",
    )
}

/// The settings memory against the years of service.
fn set_memory(
    report: &mut Report,
    section: &str,
    column: usize,
    memory: &Result<MemoryWear, MemoryWearError>,
    budget: &Budget,
) {
    let title = "Settings memory, owner who saves most";
    let memory = match memory {
        Ok(memory) => memory,
        Err(why) => {
            let cell = Cell::fail(
                why.to_string(),
                "saves that fit the settings memory",
                "Correct [[budget.save]] in product.toml.",
            );
            report.set(section, "settings-memory", title, column, cell);
            return;
        }
    };
    let first = list(&memory.first);
    let address = memory.cells.first().map_or(0, |cells| cells.at);
    let cell = match lasts(budget, memory.years) {
        true => Cell {
            found: format!(
                "{} first, in the page at {address:#06x}, after {}; {} in ordinary use",
                first,
                years(memory.years),
                years(memory.years_ordinary)
            ),
            ..Cell::pass(format!("{}, first {first}", years(memory.years)))
        },
        false => Cell::fail(
            format!(
                "{first} wear out the page at {address:#06x} of {} after {}; in ordinary use after {}",
                memory.part,
                years(memory.years),
                years(memory.years_ordinary)
            ),
            format!("at least {} years, as `years` in product.toml says", budget.years),
            "Save less often, let the record rotate among more pages (`places` and `apart`), keep what is saved often out of pages that hold other things, or fit a memory with more cycles.",
        ),
    };
    report.set(section, "settings-memory", title, column, cell);
}

fn set_off_details(report: &mut Report, column: usize, off: &Result<Off, OffError>) {
    let Ok(off) = off else { return };
    let to_be_done = Cell::pass(format!(
        "{}, {} after the cut",
        finishing(&off.finishing),
        ms(off.needed_s)
    ));
    report.set(OFF, "off-needed", "To be finished", column, to_be_done);
    let next = |value: Option<f64>| value.map_or("none".to_owned(), farads);
    let smallest = Cell::pass(format!(
        "{} (E6 {}, E12 {})",
        farads(rounded_up(off.smallest_f)),
        next(off.next_e6_f),
        next(off.next_e12_f)
    ));
    report.set(OFF, "off-smallest", "Smallest capacitor", column, smallest);
}

/// Whether the capacitor that is there holds long enough, and as long as the board's supply is stated to.
fn set_off(report: &mut Report, section: &str, column: usize, off: &Result<Off, OffError>) {
    let title = "Held up at power-off";
    let off = match off {
        Ok(off) => off,
        Err(why) => {
            let cell = Cell::fail(
                why.to_string(),
                "a supply that can hold the unit up",
                "Correct [budget.board.power_off] in product.toml, or the circuit: a higher voltage before the regulator, less load, or less series resistance.",
            );
            report.set(section, "held-up", title, column, cell);
            return;
        }
    };
    let has = format!("{} hold {}", farads(off.given_f), ms(off.held_s));
    let worst = format!(
        "{has} in the worst case, when {} are left of them, and {} when new",
        farads(off.given_least_f),
        ms(off.held_nominal_s)
    );
    let cell = match off.holds() {
        true => Cell {
            found: format!("{worst}; {} are needed", ms(off.needed_s)),
            ..Cell::pass(format!(
                "{}, {}, {:.0} % to spare",
                farads(off.given_f),
                ms(off.held_s),
                off.margin_s / off.needed_s.max(1e-9) * 100.0
            ))
        },
        false => Cell::fail(
            worst,
            format!(
                "at least {}, until {} is written",
                ms(off.needed_s),
                finishing(&off.finishing)
            ),
            format!(
                "Fit {} or more (the next value of E6 is {}), shed loads when the cut is noticed (`saving_load_ma`), or notice it earlier.",
                farads(rounded_up(off.smallest_f)),
                off.next_e6_f.map_or("none".to_owned(), farads)
            ),
        ),
    };
    report.set(section, "held-up", title, column, cell);
    let cell = match off.holds_as_stated() {
        true => Cell::pass(format!("stated {}", ms(off.stated_s))),
        false => Cell::fail(
            format!("{} in the worst case", ms(off.held_s)),
            format!("{}, as `supply` of the board says (`hold_up_ms`)", ms(off.stated_s)),
            "Correct `hold_up_ms`, or fit a larger capacitor: other things rely on what is stated there.",
        ),
    };
    report.set(section, "hold-up-stated", "As long as is stated", column, cell);
}

/// The next value of three digits: what is called the smallest must not be too small.
fn rounded_up(f: f64) -> f64 {
    if f <= 0.0 {
        return f;
    }
    let unit = 10_f64.powf(f.log10().floor() - 2.0);
    (f / unit * (1.0 - 1e-9)).ceil() * unit
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The CH32V203's data sheet has typical times alone: what is computed from them is no worst case.
    #[test]
    fn a_silent_data_sheet_is_pointed_at() {
        use packstaff_unit::part::PartsTable;
        use packstaff_unit::timing::{FlashWork, Rates, Work};
        let work = Work {
            own: FlashWork {
                erases: [(4096, 3)].into(),
                programmed_bytes: 2560,
            },
            ..Work::default()
        };
        let demo = include_str!("../../../demo/kc4/product.toml");
        let budget = packstaff_bench::open::read_product("product.toml", demo, PartsTable::built_in())
            .unwrap()
            .budget
            .unwrap();
        let cell = |part: &str| {
            let part = PartsTable::built_in().part(part).unwrap();
            let time = packstaff_budget::update_time::update_time(&work, part, &Rates::portable(48e6));
            time_cell(&time.unwrap(), &budget)
        };
        assert_eq!(cell("stm32g474-512k").verdict, Verdict::Pass);
        let silent = cell("ch32v203-64k");
        assert_eq!(silent.verdict, Verdict::Warn);
        let what = "has not a longest time of erasing and not a longest time of programming for this part";
        assert!(silent.explanation.contains(what), "{}", silent.explanation);
    }

    #[test]
    fn the_smallest_is_never_rounded_down() {
        let seen = [14_354.6e-6, 800.0e-6, 80.83e-6, 0.0].map(|f| farads(rounded_up(f)).replace('\u{a0}', " "));
        assert_eq!(seen, ["14400 µF", "800 µF", "80.9 µF", "0 pF"]);
    }
}
