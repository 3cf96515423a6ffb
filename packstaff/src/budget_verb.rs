//! The verb `budget`.

use crate::args;
use crate::progress::Progress;
use crate::told::ForPeople;
use crate::{code_of, say};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::budget::{Ask, compute};
use packstaff_product::{Access, write_whole};
use packstaff_words::budget::{Page, files, json, key_search, report};
use std::io::IsTerminal;
use std::path::Path;

pub(crate) fn run(ask: &args::Budget) -> Result<u8> {
    let progress = Progress::new(ask.json);
    let bench = crate::machine::open(&ask.product).told()?;
    let wanted = Ask {
        boards: ask.board.clone(),
        tries: ask.tries.clone(),
    };
    let computed = compute(&bench, &wanted, &progress);
    progress.done();
    let figures = computed.told()?;
    let mut report = report(&figures);
    if let Some(folder) = &ask.out {
        report.written = write(folder, &files(&report, &figures).into_diagnostic()?)?;
    }
    if ask.json {
        say(&(serde_json::to_string_pretty(&json(&report, &figures)).into_diagnostic()? + "\n"))?;
    } else {
        let colour = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
        say(&format!("{}\n{}", report.table(colour), key_search(&figures)))?;
    }
    Ok(code_of(&report))
}

/// Writes files into a folder, and gives their paths.
fn write(folder: &Path, files: &[Page]) -> Result<Vec<String>> {
    std::fs::create_dir_all(folder)
        .into_diagnostic()
        .wrap_err_with(|| format!("{} cannot be made", folder.display()))?;
    let written = files.iter().map(|file| {
        let path = folder.join(&file.name);
        write_whole(&path, file.content.as_bytes(), Access::Shared).into_diagnostic()?;
        Ok(path.display().to_string())
    });
    written.collect()
}
