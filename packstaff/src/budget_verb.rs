//! The verb `budget`.

use crate::args;
use crate::{code_of, say};
use miette::{IntoDiagnostic, Result};
use packstaff::budget::{Ask, Figures, budget, draw, told};
use packstaff::progress::Progress;
use packstaff::told::ForPeople;
use packstaff_words::report::Report;
use serde::Serialize;
use std::io::IsTerminal;

/// A report, and every figure in it as a number.
#[derive(Serialize)]
struct Printed<'a> {
    #[serde(flatten)]
    report: &'a Report,
    budget: &'a Figures,
}

pub(crate) fn run(ask: &args::Budget) -> Result<u8> {
    let progress = Progress::new(ask.json);
    let mut bench = packstaff::machine::open(&ask.product).told()?;
    let wanted = Ask {
        boards: ask.board.clone(),
        tries: ask.tries.clone(),
    };
    let computed = budget(&mut bench, &wanted, &progress);
    progress.done();
    let (mut report, figures, stated) = computed?;
    if let Some(folder) = &ask.out {
        report.written = draw(folder, &report, &figures, &stated)?;
    }
    if ask.json {
        let printed = Printed {
            report: &report,
            budget: &figures,
        };
        say(&(serde_json::to_string_pretty(&printed).into_diagnostic()? + "\n"))?;
    } else {
        let colour = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
        say(&format!("{}\n{}", report.table(colour), told(&figures)))?;
    }
    Ok(code_of(&report))
}
