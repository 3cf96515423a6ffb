//! A budget as a page with its curves, and each curve as a file.

use super::Figures;
use super::figures::{BoardFigures, MemoryWear, Off};
use super::key_words;
use maud::{PreEscaped, html};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_budget::key_search::WEAK_POINTS;
use packstaff_budget::plot::{Chart, HoldUpPicture, Look, WearLine, hold_up_chart, wear_chart};
use packstaff_product::{Access, Budget, Save};
use packstaff_words::report::{Report, Verdict};
use std::path::Path;

/// Writes the page and a file for every curve into a folder. Gives the names of the files.
///
/// # Errors
/// A file cannot be written.
pub fn draw(folder: &Path, report: &Report, figures: &Figures, budget: &Budget) -> Result<Vec<String>> {
    std::fs::create_dir_all(folder)
        .into_diagnostic()
        .wrap_err_with(|| format!("{} cannot be made", folder.display()))?;
    let mut written = Vec::new();
    let mut write = |name: &str, content: &str| -> Result<()> {
        let path = folder.join(name);
        packstaff_product::write_whole(&path, content.as_bytes(), Access::Shared).into_diagnostic()?;
        written.push(path.display().to_string());
        Ok(())
    };
    let mut charts = Vec::new();
    for board in &figures.boards {
        for (name, chart) in charts_of(board, budget)? {
            let svg = chart.svg();
            write(&format!("{name}-{}.svg", plain(&board.board)), &format!("{svg}\n"))?;
            charts.push((chart.title, svg));
        }
    }
    write("budget.html", &page(report, figures, &charts))?;
    Ok(written)
}

/// Revisions are the maker's words; a file's name keeps to letters that every system takes.
fn plain(name: &str) -> String {
    let plain = |char: char| if char.is_ascii_alphanumeric() { char } else { '-' };
    name.chars().map(plain).collect()
}

fn charts_of(board: &BoardFigures, budget: &Budget) -> Result<Vec<(&'static str, Chart)>> {
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

fn hold_up(of: &str, off: &Off) -> Result<Chart> {
    let picture = HoldUpPicture {
        of,
        source: off.curve.source,
        stretches: &off.curve.stretches,
        nominal_f: off.given_f,
        least_f: off.given_least_f,
    };
    hold_up_chart(&picture).into_diagnostic()
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
                table {
                    thead {
                        tr {
                            th {}
                            @for column in &report.columns { th { "board " (column) } }
                        }
                    }
                    tbody {
                        @for row in &section.rows {
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
                }
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
