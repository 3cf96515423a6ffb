//! The verb `rehearse`.

use crate::args::{self, Misuse};
use crate::progress::Progress;
use crate::told::ForPeople;
use crate::{code_of, say, show};
use crate::{memory, pages};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::rehearse::{Ask, Beginning, Bound, Limits, Rehearsal, Split, Wanted, rehearse};
use packstaff_rehearsal::explore::Faults;
use packstaff_words::rehearse::{Record, junit, merge, pages as pages_of, read_record, report_of};
use packstaff_words::report::Report;
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A report, and the details of what was rehearsed: for a product, all that joining parts needs.
#[derive(Serialize)]
struct Printed<'a, D: Serialize> {
    #[serde(flatten)]
    report: &'a Report,
    #[serde(flatten)]
    details: BTreeMap<&'static str, &'a D>,
}

/// The file that describes a unit with a loader of its maker's.
const UNIT: &str = "unit.toml";

pub(crate) fn run(ask: &args::Rehearse) -> Result<u8> {
    if let Some(folder) = &ask.product
        && folder.join(UNIT).is_file()
        && !folder.join("product.toml").exists()
    {
        return own_loader(ask, folder);
    }
    let record = match &ask.product {
        Some(folder) => Record::of(&explored(ask, folder)?),
        None => merged(&ask.merge)?,
    };
    let mut report = report_of(&record).told()?;
    if let Some(folder) = &ask.story {
        report.written.extend(pages::write(folder, &pages_of(&record))?);
    }
    told(ask, report, || junit(&record), "rehearsal", &record)
}

/// The parts in files, joined.
fn merged(files: &[PathBuf]) -> Result<Record> {
    let parts = files.iter().map(|file| {
        let text = std::fs::read(file).into_diagnostic();
        let text = text.wrap_err_with(|| format!("{} cannot be read", file.display()))?;
        Ok((file.clone(), read_record(file, &text).told()?))
    });
    merge(parts.collect::<Result<_>>()?).told()
}

/// Writes the results for build servers if they are asked for, and prints the report; with `--json`, with `details` under a name.
fn told(
    ask: &args::Rehearse,
    mut report: Report,
    results: impl FnOnce() -> String,
    name: &'static str,
    details: &impl Serialize,
) -> Result<u8> {
    if let Some(file) = &ask.junit {
        packstaff_product::write_whole(file, results().as_bytes(), packstaff_product::Access::Shared)
            .into_diagnostic()?;
        report.written.push(file.display().to_string());
    }
    if !ask.json {
        return show(&report, false);
    }
    let printed = Printed {
        report: &report,
        details: BTreeMap::from([(name, details)]),
    };
    say(&(serde_json::to_string_pretty(&printed).into_diagnostic()? + "\n"))?;
    Ok(code_of(&report))
}

#[cfg(feature = "own-loader")]
fn own_loader(ask: &args::Rehearse, folder: &Path) -> Result<u8> {
    use packstaff_bench::rehearse::own_loader::rehearse_own_loader;
    use packstaff_words::rehearse::LoaderRecord;
    if let Some((option, instead)) = ask.option_for_products() {
        let folder = folder.to_owned();
        return Err(Misuse::ForProducts {
            option,
            instead,
            folder,
        }
        .into());
    }
    let progress = Progress::new(ask.json);
    let rehearsed = rehearse_own_loader(folder, ask.faults.as_ref(), ask.nodes, &progress);
    progress.done();
    let record = LoaderRecord::of(folder, &rehearsed.told()?);
    let mut report = record.report();
    if let Some(folder) = &ask.story {
        report.written.extend(pages::write(folder, &record.pages())?);
    }
    told(ask, report, || record.junit(), "own_loader", &record)
}

#[cfg(not(feature = "own-loader"))]
fn own_loader(_: &args::Rehearse, folder: &Path) -> Result<u8> {
    Err(Misuse::NoSandbox(folder.to_owned()).into())
}

fn explored(ask: &args::Rehearse, folder: &Path) -> Result<Rehearsal> {
    let bench = crate::machine::open(folder).told()?;
    // A version that is written otherwise than product.toml has it is found before the keyring is asked for.
    for version in ask
        .to
        .iter()
        .map(String::as_str)
        .chain(ask.from.iter().filter_map(Beginning::version))
    {
        bench.version(version).told()?;
    }
    let keyring = bench.keyring(&mut ask.secret.unlock()).told()?;
    let progress = Progress::new(ask.json);
    let wanted = Ask {
        wanted: Wanted {
            boards: ask.board.clone(),
            from: ask.from.clone(),
            to: ask.to.clone(),
            split: match ask.each_start {
                true => Split::EachBeginning,
                false => Split::Together,
            },
        },
        part: ask.part,
        limits: Limits {
            faults: ask.faults.clone().unwrap_or_else(Faults::all),
            bound: ask.nodes.map_or_else(|| Bound::Memory(memory::allowed()), Bound::Nodes),
        },
    };
    let rehearsal = rehearse(&bench, keyring.keyring(), &wanted, &progress);
    progress.done();
    rehearsal.told()
}
