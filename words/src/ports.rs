//! A port before the judge, as a report.

use crate::report::{Cell, Report, Verdict};
use packstaff_bench::ports::{Checked, Fact, MapCheck, Sectors};
use packstaff_installer::{Layout as Slots, Region};
use packstaff_port_check::cases::{Judged, Outcome, Tried};

/// The cases of each section, by their names.
const SECTIONS: [(&str, &[&str]); 4] = [
    (
        "Drivers",
        &["erase", "program", "one-sector", "blank", "read", "reader"],
    ),
    ("Installs", &["new", "first", "start", "declined", "update", "older"]),
    ("Refusals", &["refused", "damaged"]),
    ("Cuts", &["pulled", "cut", "torn"]),
];

/// The report of a port.
pub fn report(checked: &Checked) -> Report {
    let judged = &checked.judged;
    let mut report = Report::new(
        "A port, step by step beside the same installer here",
        vec!["under test".to_owned()],
    );
    if let Some(map) = &checked.map {
        let title = format!("is that of board {} in product.toml", map.revision);
        report.set("Map", "map", &title, 0, map_cell(map));
    }
    // What had to be left out because of a mistake is told once, in the conclusion, and not once for each case.
    let broken = judged.tried.iter().any(is_broken);
    let told = |case: &&Tried| !(broken && matches!(case.outcome, Outcome::NotTried(_)));
    for (section, ids) in SECTIONS {
        let cases = judged.tried.iter().filter(|case| ids.contains(&case.id));
        for case in cases.filter(told) {
            report.set(section, case.id, case.title, 0, case_cell(&case.outcome));
        }
    }
    report.conclusion = conclusion(report.verdict, judged);
    report
}

fn is_broken(case: &Tried) -> bool {
    matches!(case.outcome, Outcome::Broken(_))
}

fn case_cell(outcome: &Outcome) -> Cell {
    match outcome {
        Outcome::Holds(figure) => Cell::pass(figure.clone()),
        Outcome::Broken(finding) => Cell::fail(finding.to_string(), "", ""),
        Outcome::NotTried(why) => Cell {
            verdict: Verdict::Warn,
            figure: "not tried".to_owned(),
            found: format!("not tried: {why}"),
            expected: String::new(),
            explanation: String::new(),
        },
    }
}

fn conclusion(verdict: Verdict, judged: &Judged) -> String {
    let counts = judged.counts;
    let all = judged.tried.len();
    let broken = judged.tried.iter().filter(|case| is_broken(case)).count();
    let open: Vec<&str> = judged
        .tried
        .iter()
        .filter_map(|case| match case.outcome {
            Outcome::NotTried(why) => Some(why),
            _ => None,
        })
        .collect();
    let done = format!(
        "{} power-ups, {} steps compared, {} changes of flash looked at, {} cuts.",
        counts.power_ups, counts.steps, counts.changes, counts.cuts
    );
    let left_out = match open.first() {
        Some(why) => format!(", {} were not tried: {why}", open.len()),
        None => String::new(),
    };
    match verdict {
        Verdict::Fail if broken == 0 => {
            format!("What was tried holds, but the port is not one for that board: its map is another. {done}")
        }
        Verdict::Fail => {
            format!("The port is not right yet. Of {all} cases {broken} did not hold{left_out}. {done}")
        }
        Verdict::Warn => format!("Of {all} cases all that were tried hold{left_out}. {done}"),
        Verdict::Pass => format!("All {all} cases hold. {done}"),
    }
}

/// Whether the port's map is the one that releases are made and rehearsed for.
fn map_cell(map: &MapCheck) -> Cell {
    if map.differences.is_empty() {
        return Cell::pass(format!("slot {}", region(map.slot)));
    }
    let (mut found, mut expected) = (Vec::new(), Vec::new());
    for pair in &map.differences {
        let name = name(&pair.declared);
        // Sizes would be a list of hundreds.
        let (declared, port) = match pair.declared {
            Fact::SectorSizes(_) => ("those of the part".to_owned(), "others".to_owned()),
            _ => (value(&pair.declared), value(&pair.found)),
        };
        expected.push(format!("{name}: {declared}"));
        found.push(format!("{name}: {port}"));
    }
    Cell::fail(
        found.join("; "),
        expected.join("; "),
        "Releases are rehearsed on the map of product.toml: a port with another one is not what was rehearsed.",
    )
}

const fn name(fact: &Fact) -> &'static str {
    match fact {
        Fact::Flash(_) => "flash",
        Fact::Beside(_) => "memory beside",
        Fact::Installer(_) => "installer",
        Fact::Slot(_) => "slot",
        Fact::FirstFloor(_) => "floor, first",
        Fact::SecondFloor(_) => "floor, second",
        Fact::SecondPlace(_) => "beside the slot",
        Fact::SectorSizes(_) => "sizes of sectors",
    }
}

fn value(fact: &Fact) -> String {
    match fact {
        Fact::Flash(memory) | Fact::Beside(Some(memory)) => sectors(memory),
        Fact::Beside(None) | Fact::SecondPlace(Slots::Single) => "none".to_owned(),
        Fact::Installer(place) | Fact::Slot(place) | Fact::FirstFloor(place) | Fact::SecondFloor(place) => {
            region(*place)
        }
        Fact::SecondPlace(Slots::Staged { stage }) => format!("a stage, {}", region(*stage)),
        Fact::SecondPlace(Slots::Paired { second }) => format!("a second slot, {}", region(*second)),
        Fact::SectorSizes(sizes) => format!("{sizes:?}"),
    }
}

fn sectors(memory: &Sectors) -> String {
    let Sectors {
        count,
        base,
        granule,
        erased,
    } = memory;
    format!("{count} sectors from {base:#x}, granules of {granule} bytes, erased {erased:02x}")
}

fn region(region: Region) -> String {
    format!("{:#x}+{:#x}", region.base, region.size)
}
