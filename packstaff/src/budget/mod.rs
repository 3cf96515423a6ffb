//! The verb `budget`: the arithmetic of a unit's life, for every board, with the maker's figures or others tried instead.

mod figures;
mod page;
mod rows;
mod trial;
mod words;

pub use figures::{AsSeen, BoardFigures, Cuts, FlashWear, MemoryWear, Off, Update};
pub use packstaff_bench::budget::rates;
pub use page::draw;

use crate::progress::Progress;
use crate::told::ForPeople;
use miette::{Diagnostic, IntoDiagnostic, Result};
use packstaff_bench::open::{Bench, OpenError};
use packstaff_bench::wear::Most;
use packstaff_budget::key_search::{Search, WEAK_POINTS, search};
use packstaff_product::{Board, Budget};
use packstaff_rehearsal::power_up::Ending;
use packstaff_words::report::{Report, Verdict};
use packstaff_words::text::wrap;
use serde::Serialize;
use std::fmt::Write;
use thiserror::Error;

/// Bits of the keys that are searched for.
const KEY_BITS: u32 = 256;

/// What the maker asks for.
#[derive(Clone, Debug, Default)]
pub struct Ask {
    /// Board revisions; all if there are none.
    pub boards: Vec<String>,
    /// Values to try instead of those in the product file.
    pub tries: Vec<(String, String)>,
}

/// Every figure.
#[derive(Clone, Debug, Serialize)]
pub struct Figures {
    /// Values that were tried instead of the product file's.
    pub tried: Vec<(String, String)>,
    /// Board by board.
    pub boards: Vec<BoardFigures>,
    /// Searching for a key.
    pub key_search: Search,
}

/// What keeps a budget from being made.
#[derive(Debug, Error, Diagnostic)]
pub enum BudgetError {
    /// Nothing is stated.
    #[error("product.toml has no [budget]")]
    #[diagnostic(help("docs/src/budget.md says what stands there; demo/kc4/product.toml has an example"))]
    Nothing,
    /// A value that cannot be tried.
    #[error(transparent)]
    #[diagnostic(help("write it as KEY=VALUE, with a key of [budget] or below it"))]
    Try(#[from] packstaff_product::WhatIfError),
}

/// Computes a budget: the report, the figures, and the inputs that they were computed with.
///
/// # Errors
/// There is no budget, a value cannot be tried, or a board cannot be simulated. A limit that is not kept is no error: it is in the
/// report.
pub fn budget(bench: &mut Bench, ask: &Ask, progress: &Progress) -> Result<(Report, Figures, Budget)> {
    let mut stated = bench.product.budget.take().ok_or(BudgetError::Nothing)?;
    for wanted in &ask.boards {
        if bench.product.board(wanted).is_none() {
            let known = bench.product.boards.iter().map(|board| board.revision.as_str());
            return Err(crate::told::report(OpenError::UnknownBoard {
                found: wanted.clone(),
                known: known.collect::<Vec<_>>().join(", "),
            }));
        }
    }
    let asked = |revision: &String| ask.boards.is_empty() || ask.boards.contains(revision);
    stated.boards.retain(|board| asked(&board.revision));
    for (key, value) in &ask.tries {
        stated.try_value(key, value).map_err(BudgetError::Try)?;
    }
    bench.product.budget = Some(stated.clone());
    let bench = &*bench;
    let boards = bench.product.boards.iter().filter(|board| asked(&board.revision));
    let mut computed: Vec<(&Board, BoardFigures)> = Vec::new();
    for board in boards {
        progress.say(&format!("installing on a simulated board {}", board.revision));
        computed.push((board, figures::board_figures(bench, board, &stated)?));
    }
    let columns = computed.iter().map(|(board, _)| board.revision.clone()).collect();
    let mut report = Report::new(heading(&bench.product.name, &ask.tries), columns);
    rows::set_all(&mut report, &computed, &stated);
    report.conclusion = conclusion(&report);
    let figures = Figures {
        tried: ask.tries.clone(),
        boards: computed.into_iter().map(|(_, figures)| figures).collect(),
        key_search: search(KEY_BITS, stated.key_trials_per_s).into_diagnostic()?,
    };
    Ok((report, figures, stated))
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
pub(crate) fn key_words(search: &Search) -> String {
    format!(
        "Somebody who tries {} keys a second finds a key of {KEY_BITS} bits after {} years on average, {} times the age of the universe. \
         That bounds guessing, and nothing else. Keys are lost in other ways:",
        words::number(search.keys_per_s),
        words::number(search.mean_years),
        words::number(search.universes),
    )
}

/// What is told below the table: searching for a key.
pub fn told(figures: &Figures) -> String {
    let mut out = String::new();
    for line in wrap(&key_words(&figures.key_search), 100) {
        let _ = writeln!(out, "{line}");
    }
    for (index, point) in WEAK_POINTS.iter().enumerate() {
        for (row, line) in wrap(point, 96).into_iter().enumerate() {
            let lead = if row == 0 {
                format!("{}.", index + 1)
            } else {
                String::new()
            };
            let _ = writeln!(out, "{lead:<3} {line}");
        }
    }
    out
}

/// The rows of a release about what its product file's budget limits. `installs` says how each board's slowest install went.
pub(crate) fn release_rows(
    report: &mut Report,
    bench: &Bench,
    installs: &[packstaff_bench::rehearse::Install],
) -> Result<()> {
    let Some(stated) = &bench.product.budget else {
        return Ok(());
    };
    for (column, board) in bench.product.boards.iter().enumerate() {
        // An install that did not arrive has no time; the rehearsal's rows say so.
        let here = installs.iter().filter(|install| {
            install.board == board.revision && install.arrived && matches!(install.ending, Ending::Started { .. })
        });
        let slowest = here.clone().map(|install| install.estimate.total());
        let slowest = slowest.max_by(|a, b| a.longest_s.total_cmp(&b.longest_s));
        if let Some(time) = slowest.filter(|_| stated.update_limit_s.is_some()) {
            let cell = rows::limit_cell(time.typical_s, time.longest_s, stated);
            report.set(rows::RELEASE, "update-limit", "Longest install", column, cell);
        }
        // A new unit is given its first version once, and not by its owner.
        let updates = here.filter(|install| install.from.version().is_some());
        let erases = updates.map(|install| install.erases_most).reduce(Most::max);
        let erases = erases.unwrap_or(Most { own: 1, beside: 1 });
        if let Some(flash) = figures::flash_wear(bench.parts(board).told()?, erases, stated) {
            report.set(
                rows::RELEASE,
                "flash",
                "Flash",
                column,
                rows::flash_cell(&flash, stated),
            );
        }
        if let Some(memory) = figures::memory_wear(bench, board, stated) {
            rows::set_memory(report, rows::RELEASE, column, &memory, stated);
        }
        if let Some(off) = figures::off(bench, board, stated) {
            rows::set_off(report, rows::RELEASE, column, &off, board);
        }
    }
    Ok(())
}
