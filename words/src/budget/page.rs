//! A budget as a page with its curves, and each curve as a file.

use super::key_words;
use super::names::finishing;
use crate::report::{Report, Row, Section, Verdict};
use maud::{Markup, PreEscaped, html};
use packstaff_bench::budget::{BoardFigures, Figures, MemoryWear, Off};
use packstaff_budget::OutOfRange;
use packstaff_budget::key_search::WEAK_POINTS;
use packstaff_budget::plot::{Chart, HoldUpPicture, Look, WearLine, hold_up_chart, wear_chart};
use packstaff_product::{Budget, Save};

/// A file of a budget.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page {
    /// Its name.
    pub name: String,
    /// Its content.
    pub content: String,
}

/// A file for every curve, and the page that has them all.
///
/// # Errors
/// A curve cannot be drawn.
pub fn files(report: &Report, figures: &Figures) -> Result<Vec<Page>, OutOfRange> {
    let mut files = Vec::new();
    let mut charts = Vec::new();
    for board in &figures.boards {
        for (name, chart) in charts_of(board, &figures.stated)? {
            let svg = chart.svg();
            files.push(Page {
                name: format!("{name}-{}.svg", plain(&board.board)),
                content: format!("{svg}\n"),
            });
            charts.push((chart.title, svg));
        }
    }
    files.push(Page {
        name: "budget.html".to_owned(),
        content: page(report, figures, &charts),
    });
    Ok(files)
}

/// Revisions are the maker's words; a file's name keeps to letters that every system takes.
fn plain(name: &str) -> String {
    let plain = |char: char| if char.is_ascii_alphanumeric() { char } else { '-' };
    name.chars().map(plain).collect()
}

fn charts_of(board: &BoardFigures, budget: &Budget) -> Result<Vec<(&'static str, Chart)>, OutOfRange> {
    let of = format!("Board {}", board.board);
    let mut charts = Vec::new();
    if let Some(Ok(off)) = &board.off {
        charts.push(("hold-up", hold_up(&of, off)?));
    }
    let mut lines = Vec::new();
    if let Some(Ok(memory)) = &board.memory {
        lines.extend(memory_lines(memory, &budget.saves));
    }
    if let Some(flash) = &board.flash {
        lines.push(WearLine {
            name: "flash, by updates".to_owned(),
            cycles: flash.cycles as f64,
            per_day: flash.erases as f64 * budget.updates_per_year / packstaff_budget::YEAR_DAYS,
            look: Look::Beside,
        });
    }
    charts.push(("wear", wear_chart(&of, &lines, budget.years)));
    Ok(charts)
}

fn hold_up(of: &str, off: &Off) -> Result<Chart, OutOfRange> {
    let curve = &off.curve;
    let written = format!("{} is written", finishing(&off.finishing));
    let stretches = [
        (curve.noticing, "the cut is noticed".to_owned()),
        (curve.writing, written),
    ];
    hold_up_chart(&HoldUpPicture {
        of,
        source: curve.source,
        stretches: &stretches,
        nominal_f: off.given_f,
        least_f: off.given_least_f,
    })
}

/// Two lines for each save that wears a page most: the owner who saves most, and ordinary use.
fn memory_lines(memory: &MemoryWear, saves: &[Save]) -> Vec<WearLine> {
    let mut lines = Vec::new();
    for (number, save) in saves.iter().enumerate() {
        let Some(cells) = memory.cells.iter().find(|cells| cells.records.contains(&number)) else {
            continue;
        };
        for (owner, per_day, look) in [
            ("who saves most", cells.writes_per_day_most, Look::Worst),
            ("ordinary use", cells.writes_per_day, Look::Usual),
        ] {
            lines.push(WearLine {
                name: format!("{}, {owner}", save.name),
                cycles: memory.cycles as f64,
                per_day,
                look,
            });
        }
    }
    lines
}

fn page(report: &Report, figures: &Figures, charts: &[(String, String)]) -> String {
    let body = html! {
        header {
            p.of { (report.heading) }
            h1 { "What a unit's life allows" }
        }
        main {
            @if report.verdict == Verdict::Fail {
                div.broken {
                    @for (row, column, cell) in report.objections() {
                        p { b { (row.title) ", board " (column) ": " } (cell.found) "; expected: " (cell.expected) ". " (cell.explanation) }
                    }
                }
            }
            @for section in &report.sections {
                h2 { (section.title) }
                (table(section, &report.columns))
            }
            h2 { "Curves" }
            @for (caption, svg) in charts {
                figure {
                    figcaption { (caption) }
                    (PreEscaped(svg))
                }
            }
            h2 { "Searching for a key" }
            p { (key_words(&figures.key_search)) }
            ol {
                @for point in WEAK_POINTS { li { p { (point) } } }
            }
        }
        footer {
            p { "Formulas, sources and what they leave out are told in the guide, under The budget." }
        }
    };
    packstaff_rehearsal::picture::page(&report.heading, &body)
}

fn table(section: &Section, columns: &[String]) -> Markup {
    html! {
        table {
            thead {
                tr {
                    th {}
                    @for column in columns { th { "board " (column) } }
                }
            }
            tbody {
                @for row in &section.rows { (line(row)) }
            }
        }
    }
}

fn line(row: &Row) -> Markup {
    html! {
        tr {
            th { (row.title) }
            @for cell in &row.cells {
                td {
                    @if let Some(cell) = cell {
                        @if cell.verdict != Verdict::Pass { b { (cell.verdict.word()) ": " } }
                        (cell.found)
                    }
                }
            }
        }
    }
}
