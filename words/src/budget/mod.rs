//! The arithmetic of a unit's life in words: the verb's report, page and JSON, and a release's rows.

mod json;
mod names;
mod numbers;
mod page;
mod remedy;
mod rows;

pub use json::{BudgetJson, json};
pub use page::{Page, files};
pub use rows::set_release;

use crate::report::{Report, Verdict};
use crate::text::wrap;
use packstaff_bench::budget::{Figures, KEY_BITS};
use packstaff_budget::key_search::{Search, WEAK_POINTS};
use std::fmt::Write;

/// The verb's report.
pub fn report(figures: &Figures) -> Report {
    let columns = figures.boards.iter().map(|board| board.board.clone()).collect();
    let mut report = Report::new(heading(&figures.product, &figures.tried), columns);
    rows::set_all(&mut report, figures);
    report.conclusion = conclusion(&report);
    report
}

fn heading(product: &str, tries: &[(String, String)]) -> String {
    let tried: Vec<_> = tries.iter().map(|(key, value)| format!("{key} = {value}")).collect();
    match tried.is_empty() {
        true => format!("{product}, budget"),
        false => format!("{product}, budget with {}", tried.join(", ")),
    }
}

fn conclusion(report: &Report) -> String {
    let failing = report.objections().filter(|(_, _, cell)| cell.verdict == Verdict::Fail);
    match failing.count() {
        0 => "Every limit that product.toml states is kept.".to_owned(),
        1 => "One limit is not kept: see above.".to_owned(),
        count => format!("{count} limits are not kept: see above."),
    }
}

/// How long a search for a key takes, in a sentence.
fn key_words(search: &Search) -> String {
    format!(
        "Somebody who tries {} keys a second finds a key of {KEY_BITS} bits after {} years on average, {} times the age of the universe. \
         That bounds guessing, and nothing else. Keys are lost in other ways:",
        numbers::number(search.keys_per_s),
        numbers::number(search.mean_years),
        numbers::number(search.universes),
    )
}

/// What is told below the table: searching for a key.
pub fn key_search(figures: &Figures) -> String {
    let mut out = String::new();
    for line in wrap(&key_words(&figures.key_search), 100) {
        let _ = writeln!(out, "{line}");
    }
    for (index, point) in WEAK_POINTS.iter().enumerate() {
        for (row, line) in wrap(point, 96).into_iter().enumerate() {
            let lead = match row {
                0 => format!("{}.", index + 1),
                _ => String::new(),
            };
            let _ = writeln!(out, "{lead:<3} {line}");
        }
    }
    out
}
