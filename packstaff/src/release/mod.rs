//! The main job: from a compiler's output to an update file, a stick, a rehearsed install, an owner's sheet and a record, or
//! to a clear refusal.

mod build;
mod pack;
mod rehearse;
mod sheet;
mod signing;
mod stick;
mod write;

pub use pack::{NameError, file_name};
pub use stick::release_stick;

use crate::pages;
use crate::progress::Progress;
use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::Bench;
use packstaff_bench::settings::{self, ReleaseSettings};
use packstaff_envelope::Manifest;
use packstaff_product::ledger::Appended;
use packstaff_product::{Board, Date, Record, Unlock};
use packstaff_words::rehearse::{pages as pages_of, proof};
use packstaff_words::report::{Cell, Report, Verdict};
use packstaff_words::text::{bytes, hex};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What the maker asks for.
pub struct Options {
    /// Version text.
    pub version: String,
    /// Builds that are not where the product file says, by board revision.
    pub builds: BTreeMap<String, PathBuf>,
    /// The day of the release; of no account when the release is recorded already.
    pub date: Date,
    /// Record and write nothing.
    pub dry_run: bool,
    /// Where to draw what the rehearsal covered, and the story of each claim that does not hold. `None`: only the stories, beside
    /// the release's folder, and only if there are any.
    pub story: Option<PathBuf>,
    /// Where the release goes; `None` for `out/<version>` in the product folder.
    pub out: Option<PathBuf>,
}

/// The update file of one board, packed or taken from the ledger.
pub struct Packed {
    /// The board.
    pub board: Board,
    /// The image in the clear.
    pub image: Vec<u8>,
    /// The update file.
    pub file: Vec<u8>,
    /// Its name.
    pub name: String,
    /// What is signed in it.
    pub manifest: Manifest,
}

/// Makes a release.
///
/// # Errors
/// What kept the work from being done at all. A check that does not hold is no error: it is in the report.
pub fn release(bench: &mut Bench, options: &Options, unlock: &mut Unlock, progress: &Progress) -> Result<Report> {
    let version = bench.version(&options.version).told()?;
    let issue = bench.product.policy.issue;
    let dry = if options.dry_run { ", dry run" } else { "" };
    let heading = format!("{} {version}, issue {issue}{dry}", bench.product.name);
    let columns = bench
        .product
        .boards
        .iter()
        .map(|board| board.revision.clone())
        .collect();
    let mut report = Report::new(heading, columns);
    let notes = packstaff_bench::notes::read(bench.folder(), version.text()).told()?;
    let folder = match &options.out {
        Some(folder) => folder.clone(),
        None => bench.folder().join("out").join(version.text()),
    };
    if !options.dry_run {
        write::may_replace(&folder)?;
    }

    progress.say("checking the builds");
    let images = build::examine(bench, &version, options, &mut report)?;
    let Some(images) = images else {
        report.conclusion = refused(&report, "Nothing was packed or written");
        return Ok(report);
    };

    let settled = settings::of_release(bench, &version, &options.builds).told()?;
    if let Some(settled) = &settled {
        packstaff_words::settings::set_release(&mut report, settled);
    }
    if report.verdict == Verdict::Fail {
        report.conclusion = refused(&report, "Nothing was packed or written");
        return Ok(report);
    }

    progress.say("opening the keyring");
    let keyring = bench.keyring(unlock).told()?;
    let packed = pack::pack(bench, &keyring, &version, &notes, images, progress, &mut report)?;

    progress.say("rehearsing");
    let rehearsed = rehearse::rehearse(bench, keyring.keyring(), &version, &packed, progress, &mut report)?;

    if let Some(budget) = packstaff_bench::budget::of_release(bench, &rehearsed.installs).told()? {
        packstaff_words::budget::set_release(&mut report, &budget);
    }

    let date = bench
        .ledger
        .find(version.text(), issue)
        .map_or(options.date, |known| known.record.date);
    let page = sheet::page(
        bench,
        &version,
        date,
        &notes,
        &packed,
        &rehearsed,
        settled.as_ref().and_then(ReleaseSettings::matrix),
    );
    progress.say("making the stick");
    let image = stick::make(bench, &version, date, &packed, &page)?;
    stick::check(bench, keyring.keyring(), &image, &packed, &mut report)?;

    let stories = rehearsed
        .record
        .cases
        .iter()
        .any(|case| !case.covered.broken.is_empty());
    let beside = folder.with_file_name(format!("{}-stories", version.text()));
    let drawn = match &options.story {
        Some(folder) => Some(folder.as_path()),
        None => (stories && !options.dry_run).then_some(beside.as_path()),
    };
    if let Some(folder) = drawn {
        report.written = pages::write(folder, &pages_of(&rehearsed.record))?;
    }
    if report.verdict == Verdict::Fail {
        let consequence = match report.written.is_empty() {
            true => "Nothing was recorded or written",
            false => "Nothing was recorded, and nothing written but pictures of what can happen",
        };
        report.conclusion = refused(&report, consequence);
        return Ok(report);
    }
    let proof = proof(&rehearsed.record);
    if options.dry_run {
        report.conclusion = format!(
            "{version} would be released: every check holds. {proof} Dry run: nothing was recorded or written."
        );
        return Ok(report);
    }
    let layout = settings::file(bench, version.text()).told()?;
    let record = Record {
        settings: layout.as_deref().map(write::layout),
        ..write::record(
            &version,
            date,
            issue,
            &notes,
            keyring.keyring(),
            &packed,
            &bench.product.keys.serve,
        )
    };
    let layout = layout.iter().map(|content| (write::LAYOUT, content.as_slice()));
    let files: Vec<_> = packed
        .iter()
        .map(|packed| (packed.name.as_str(), packed.file.as_slice()))
        .chain(layout)
        .collect();
    let appended = bench
        .ledger
        .append(&record, &files)
        .into_diagnostic()
        .wrap_err("the release could not be recorded")?;
    report
        .written
        .extend(write::out(&folder, &packed, &image, &page, &report)?);
    let recorded = match appended {
        Appended::Added => "and recorded in the ledger",
        Appended::AlreadyThere => "as it is recorded in the ledger already",
    };
    report.conclusion = format!("{version} is released, {recorded}. {proof}");
    write::report(&folder, &report)?;
    Ok(report)
}

fn refused(report: &Report, consequence: &str) -> String {
    let count = report
        .objections()
        .filter(|(_, _, cell)| cell.verdict == Verdict::Fail)
        .count();
    let checks = if count == 1 {
        "one check does not hold".to_owned()
    } else {
        format!("{count} checks do not hold")
    };
    format!("Not released: {checks}. {consequence}.")
}

impl Packed {
    fn summary(&self) -> Cell {
        Cell {
            found: format!("SHA-256 {}", hex(&packstaff_envelope::sha256(&self.file))),
            ..Cell::pass(format!("{}, {}", self.name, bytes(self.file.len() as u64)))
        }
    }
}
