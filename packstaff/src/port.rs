//! A port before the judge: what it was taken through, as a report.

use crate::progress::Progress;
use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result};
use packstaff_bench::open::{Bench, slots};
use packstaff_port_check::cases::{Judged, Options, Outcome, Tried, judge};
use packstaff_port_check::link::{Link, Way};
use packstaff_product::Board;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{FlashLayout, Memory};
use packstaff_words::report::{Cell, Report, Verdict};
use std::time::Duration;

/// What is to be judged.
pub struct Ask {
    /// How the port is reached.
    pub way: Way,
    /// How long an answer may take.
    pub patience: Duration,
    /// How much is tried.
    pub options: Options,
    /// The product folder and the board revision whose map the port must have.
    pub product: Option<(Bench, String)>,
}

const SECTIONS: [(&str, &[&str]); 4] = [
    (
        "Drivers",
        &["erase", "program", "one-sector", "blank", "read", "reader"],
    ),
    ("Installs", &["new", "first", "start", "declined", "update", "older"]),
    ("Refusals", &["refused", "damaged"]),
    ("Cuts", &["pulled", "cut", "torn"]),
];

/// Takes a port through all cases.
///
/// # Errors
/// The port could not be met at all, or the product has no such board.
pub fn check(ask: Ask, progress: &Progress) -> Result<Report> {
    let link = Link::new(ask.way, ask.patience);
    // The board is looked up first, so that a wrong name does not show after minutes.
    let board = ask
        .product
        .as_ref()
        .map(|(bench, revision)| board_of(bench, revision).map(|board| (bench, board)))
        .transpose()?;
    let judged = judge(link, &ask.options, &mut |title| progress.say(title)).into_diagnostic()?;
    let mut report = Report::new(
        "A port, step by step beside the same installer here",
        vec!["under test".to_owned()],
    );
    if let Some((bench, board)) = board {
        let cell = same_map(bench, board, &judged.map)?;
        report.set(
            "Map",
            "map",
            &format!("is that of board {} in product.toml", board.revision),
            0,
            cell,
        );
    }
    // What had to be left out because of a mistake is told once, in the conclusion, and not once for each case.
    let broken = judged
        .tried
        .iter()
        .any(|case| matches!(case.outcome, Outcome::Broken(_)));
    let told = |case: &&Tried| !(broken && matches!(case.outcome, Outcome::NotTried(_)));
    for (section, ids) in SECTIONS {
        let cases = judged.tried.iter().filter(|case| ids.contains(&case.id));
        for case in cases.filter(told) {
            report.set(section, case.id, case.title, 0, cell(&case.outcome));
        }
    }
    report.conclusion = conclusion(&report, &judged);
    Ok(report)
}

fn cell(outcome: &Outcome) -> Cell {
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

fn conclusion(report: &Report, judged: &Judged) -> String {
    let counts = judged.counts;
    let all = judged.tried.len();
    let broken = judged
        .tried
        .iter()
        .filter(|case| matches!(case.outcome, Outcome::Broken(_)))
        .count();
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
    match report.verdict {
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

fn board_of<'b>(bench: &'b Bench, revision: &str) -> Result<&'b Board> {
    let mut boards = bench.product.boards.iter();
    boards.find(|board| board.revision == revision).ok_or_else(|| {
        let known: Vec<&str> = bench
            .product
            .boards
            .iter()
            .map(|board| board.revision.as_str())
            .collect();
        miette::miette!("product.toml has no board {revision}; it has {}", known.join(", "))
    })
}

/// Whether the port's map is the one that releases are made and rehearsed for.
fn same_map(bench: &Bench, board: &Board, port: &Blueprint) -> Result<Cell> {
    let layout = bench.layout(board).told()?;
    let range = |range: packstaff_product::Range| format!("{:#x}+{:#x}", range.start(), range.size());
    let region = |region: packstaff_installer::Region| format!("{:#x}+{:#x}", region.base, region.size);
    let memory = |memory: &Memory| {
        let geometry = memory.geometry();
        format!(
            "{} sectors from {:#x}, granules of {} bytes, erased {:02x}",
            geometry.sectors().count(),
            geometry.base,
            geometry.granule,
            geometry.erased
        )
    };
    let beside = |layout: &FlashLayout| layout.beside().map_or("none".to_owned(), memory);
    let stage = |blueprint: packstaff_installer::Layout| match blueprint {
        packstaff_installer::Layout::Single => "none".to_owned(),
        packstaff_installer::Layout::Staged { stage } => format!("a stage, {}", region(stage)),
        packstaff_installer::Layout::Paired { second } => format!("a second slot, {}", region(second)),
    };
    let [first, second] = board.map.floor;
    let [port_first, port_second] = port.floors;
    let mut facts = vec![
        ("flash", memory(layout.own()), memory(port.layout.own())),
        ("memory beside", beside(&layout), beside(&port.layout)),
        ("installer", range(board.map.installer), region(port.installer)),
        ("slot", range(board.map.slot), region(port.slot)),
        ("floor, first", range(first), region(port_first)),
        ("floor, second", range(second), region(port_second)),
        ("beside the slot", stage(slots(&board.map.second)), stage(port.slots)),
    ];
    let sizes = |layout: &FlashLayout| layout.sectors().iter().map(|sector| sector.size).collect::<Vec<_>>();
    if sizes(&layout) != sizes(&port.layout) {
        facts.push(("sizes of sectors", "those of the part".to_owned(), "others".to_owned()));
    }
    facts.retain(|(_, ours, theirs)| ours != theirs);
    if facts.is_empty() {
        return Ok(Cell::pass(format!("slot {}", region(port.slot))));
    }
    let (mut found, mut expected) = (Vec::new(), Vec::new());
    for (name, ours, theirs) in facts {
        expected.push(format!("{name}: {ours}"));
        found.push(format!("{name}: {theirs}"));
    }
    Ok(Cell::fail(
        found.join("; "),
        expected.join("; "),
        "Releases are rehearsed on the map of product.toml: a port with another one is not what was rehearsed.",
    ))
}
