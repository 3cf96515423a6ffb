//! The verb `rehearse`.

use crate::args;
use crate::{code_of, say, show};
use miette::{IntoDiagnostic, Result};
use packstaff::memory;
use packstaff::progress::Progress;
#[cfg(feature = "own-loader")]
use packstaff::rehearse::rehearse_own_loader;
use packstaff::rehearse::{Ask, Outcome, draw, junit, merge, read_outcome, rehearse, report_of};
use packstaff::told::ForPeople;
use packstaff_bench::rehearse::{Beginning, Bound, Limits, Split, Wanted};
use packstaff_rehearsal::explore::Faults;
use packstaff_words::report::Report;
use serde::Serialize;
use std::collections::BTreeMap;

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
    let outcome = match &ask.product {
        Some(folder) => explored(ask, folder)?,
        None => {
            let parts = ask.merge.iter().map(|file| Ok((file.clone(), read_outcome(file)?)));
            merge(parts.collect::<Result<_>>()?)?
        }
    };
    let mut report = report_of(&outcome);
    if let Some(folder) = &ask.story {
        report.written.extend(draw(folder, &outcome)?);
    }
    told(ask, report, || junit(&outcome), "rehearsal", &outcome)
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
fn own_loader(ask: &args::Rehearse, folder: &std::path::Path) -> Result<u8> {
    if let Some((option, instead)) = ask.option_for_products() {
        let folder = folder.display();
        return Err(miette::miette!(
            help = instead,
            "{option} is for product folders, and {folder} describes one unit with a loader of its own"
        ));
    }
    let progress = Progress::new(ask.json);
    let outcome = rehearse_own_loader(folder, ask.faults.as_ref(), ask.nodes, &progress);
    progress.done();
    let outcome = outcome?;
    let mut report = outcome.report();
    if let Some(folder) = &ask.story {
        report.written.extend(outcome.draw(folder)?);
    }
    told(ask, report, || outcome.junit(), "own_loader", &outcome)
}

#[cfg(not(feature = "own-loader"))]
fn own_loader(_: &args::Rehearse, folder: &std::path::Path) -> Result<u8> {
    let folder = folder.display();
    Err(miette::miette!(
        help = "build it with the sandbox that such loaders run in: cargo run --release --features own-loader -- rehearse FOLDER",
        "{folder} describes a unit with a loader of its own, and this packstaff was built without the sandbox for them"
    ))
}

fn explored(ask: &args::Rehearse, folder: &std::path::Path) -> Result<Outcome> {
    let bench = packstaff::machine::open(folder).told()?;
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
    let outcome = rehearse(&bench, keyring.keyring(), &wanted, &progress);
    progress.done();
    outcome
}
