//! What is said of a release: the report, the sheet and the short text for the stick, all built from what the bench found.

mod fill_sheet;
mod remedy;
mod rows;

pub use fill_sheet::page;

use crate::budget;
use crate::readme::{OnStick, SheetPlace, readme};
use crate::rehearse::{self, Record, UnknownBoard};
use crate::report::{Report, Verdict};
use crate::settings;
use packstaff_bench::release::{Examined, Finished, Made, Published, Texts};
use packstaff_product::ledger::Appended;

/// What a release was asked for with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Intent {
    /// To see what would come of it.
    DryRun,
    /// To go out.
    Release,
}

/// The texts that go onto the stick and into the release's folder.
pub fn texts(made: &Made) -> Texts {
    let files = made
        .packed()
        .map(|packed| (packed.board.as_str(), packed.name.as_str()));
    let held = OnStick {
        version: &made.examined.edition.version,
        files: files.collect(),
    };
    Texts {
        sheet: page(made),
        readme: readme(&made.examined.product, &[held], SheetPlace::OnStick),
    }
}

/// The report of a release that was refused before anything was packed.
pub fn refusal(examined: &Examined, intent: Intent) -> Report {
    let mut report = examination(examined, intent);
    report.conclusion = refused(&report, "Nothing was packed or written");
    report
}

/// The report of a finished release that is not published: refused, or ready to go out. `drawn` are the pictures of its rehearsal
/// that were written.
///
/// # Errors
/// The rehearsal has a board that the product has not.
pub fn report(finished: &Finished, intent: Intent, drawn: Vec<String>) -> Result<Report, UnknownBoard> {
    let mut report = all_rows(finished, intent)?;
    report.written = drawn;
    let version = &finished.made.examined.edition.version;
    let proof = || rehearse::proof(&Record::of(&finished.made.rehearsal));
    report.conclusion = match (finished.holds(), intent) {
        (false, _) if report.written.is_empty() => refused(&report, "Nothing was recorded or written"),
        (false, _) => refused(
            &report,
            "Nothing was recorded, and nothing written but pictures of what can happen",
        ),
        (true, Intent::DryRun) => format!(
            "{version} would be released: every check holds. {} Dry run: nothing was recorded or written.",
            proof()
        ),
        (true, Intent::Release) => format!(
            "{version} is ready to be released: every check holds. {} Nothing is recorded or written yet.",
            proof()
        ),
    };
    Ok(report)
}

/// The report of a release that is recorded and written out.
///
/// # Errors
/// As [`report`].
pub fn published(finished: &Finished, published: &Published, drawn: Vec<String>) -> Result<Report, UnknownBoard> {
    let mut report = all_rows(finished, Intent::Release)?;
    report.written = drawn;
    let files = published.files.iter().map(|file| file.display().to_string());
    report.written.extend(files);
    let recorded = match published.recorded {
        Appended::Added => "and recorded in the ledger",
        Appended::AlreadyThere => "as it is recorded in the ledger already",
    };
    let version = &finished.made.examined.edition.version;
    let proof = rehearse::proof(&Record::of(&finished.made.rehearsal));
    report.conclusion = format!("{version} is released, {recorded}. {proof}");
    Ok(report)
}

/// The rows of everything that was looked at before packing.
fn examination(examined: &Examined, intent: Intent) -> Report {
    let edition = &examined.edition;
    let dry = match intent {
        Intent::DryRun => ", dry run",
        Intent::Release => "",
    };
    let heading = format!(
        "{} {}, issue {}{dry}",
        examined.product.name, edition.version, edition.issue
    );
    let boards = examined.product.boards.iter();
    let mut report = Report::new(heading, boards.map(|board| board.revision.clone()).collect());
    rows::set_builds(&mut report, examined);
    if let Some(settings) = &examined.settings {
        settings::set_release(&mut report, settings);
    }
    report
}

fn all_rows(finished: &Finished, intent: Intent) -> Result<Report, UnknownBoard> {
    let made = &finished.made;
    let mut report = examination(&made.examined, intent);
    rows::set_packing(&mut report, made);
    let version = made.examined.edition.version.text();
    rehearse::release_rows(&mut report, &made.rehearsal, version)?;
    if let Some(stated) = &made.budget {
        budget::set_release(&mut report, stated);
    }
    rows::set_stick(&mut report, finished);
    Ok(report)
}

fn refused(report: &Report, consequence: &str) -> String {
    let failed = report.objections().filter(|(_, _, cell)| cell.verdict == Verdict::Fail);
    let checks = match failed.count() {
        1 => "one check does not hold".to_owned(),
        count => format!("{count} checks do not hold"),
    };
    format!("Not released: {checks}. {consequence}.")
}
