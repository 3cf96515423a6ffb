//! The rehearsal of a release: every world that an install to it can come to, and each install once as it should be.

use super::Packed;
use crate::progress::Progress;
use crate::rehearse::{
    Case, File, Install, InstallOutcome, Limits, Outcome, PartOf, Stage, explore_case, explore_keeping, install_row,
    keeping_cases, may_go_back_to, recorded_files, set_case, set_keeping,
};
use miette::Result;
use packstaff_bench::open::Bench;
use packstaff_product::{Keyring, Version};
use packstaff_rehearsal::claims::ReleasedImage;
use packstaff_rehearsal::explore::Faults;
use packstaff_words::report::Report;

const SECTION: &str = "Rehearsal";

/// What came of it.
pub(super) struct Rehearsed {
    /// The explorations.
    pub(super) outcome: Outcome,
    /// The installs without a cut, for the times on the sheet.
    pub(super) installs: Vec<Install>,
}

pub(super) fn rehearse(
    bench: &Bench,
    keyring: &Keyring,
    version: &Version,
    packed: &[Packed],
    progress: &Progress,
    report: &mut Report,
) -> Result<Rehearsed> {
    let limits = Limits {
        faults: Faults::all(),
        nodes_max: None,
    };
    let mut cases = Vec::new();
    let mut installs = Vec::new();
    let mut names = Vec::new();
    for packed in packed {
        let revision = &packed.board.revision;
        let boards = &bench.product.boards;
        let column = boards.iter().position(|board| board.revision == *revision).unwrap_or(0);
        let stage = Stage::of(bench, keyring, &packed.board, files(bench, version, packed)?)?;
        let others: Vec<_> = stage.files.iter().map(|file| file.version.clone()).collect();
        let others = others.into_iter().filter(|other| other != version.text());
        let from: Vec<_> = [None].into_iter().chain(others.map(Some)).collect();
        let back = from.iter().flatten().filter(|other| may_go_back_to(bench, other));
        let there = from.iter().map(|from| (from.as_deref(), version.text()));
        let ways = there.chain(back.map(|to| (Some(version.text()), to.as_str())));
        let mut outcomes = Vec::new();
        for (from, to) in ways {
            progress.say(&format!("installing once, without a cut: board {revision}, to {to}"));
            let install = stage.install(from, to)?;
            let outcome = InstallOutcome::of(&install);
            let (id, title) = row_of(from, to, version);
            install_row(report, SECTION, &id, &title, column, &outcome);
            installs.push(install);
            outcomes.push(outcome);
        }
        let to = stage.highest().map_or(version.text(), |file| &file.version);
        let case = Case {
            board: revision.clone(),
            to: to.to_owned(),
            // A version that is no longer the highest was come to above; from there on the highest is.
            from: from.into_iter().filter(|from| from.as_deref() != Some(to)).collect(),
        };
        let mut done = explore_case(&stage, &case, &limits, progress)?;
        done.index = cases.len();
        done.installs = outcomes;
        set_case(report, SECTION, &done, column, true);
        names.push(case);
        cases.push(done);
    }
    let keeping = keeping_cases(bench, &names)?;
    let mut outcome = Outcome::begin(bench, &names, &keeping, &limits.faults, PartOf::WHOLE)?;
    outcome.cases = cases;
    for (index, case) in (names.len()..).zip(&keeping.cases) {
        let mut done = explore_keeping(bench, case, &limits, progress)?;
        done.index = index;
        set_keeping(report, &done);
        outcome.keeping.push(done);
    }
    Ok(Rehearsed { outcome, installs })
}

/// The ledger's files, with the release's own in place of any other of its version.
fn files(bench: &Bench, version: &Version, packed: &Packed) -> Result<Vec<File>> {
    let mut files = recorded_files(bench, &packed.board)?;
    files.retain(|file| file.version != version.text());
    files.push(File {
        version: version.text().to_owned(),
        numbers: version.numbers().as_slice().to_vec(),
        issue: bench.product.policy.issue,
        name: packed.name.clone(),
        bytes: packed.file.clone(),
        manifest: packed.manifest.digest,
        image: ReleasedImage {
            image_size: packed.manifest.image_size,
            image_digest: packed.manifest.image_digest,
        },
    });
    files.sort_by(|a, b| a.numbers.cmp(&b.numbers));
    Ok(files)
}

fn row_of(from: Option<&str>, to: &str, version: &Version) -> (String, String) {
    match from {
        None => ("from-new".to_owned(), "New unit".to_owned()),
        Some(from) if to == version.text() => (format!("from-{from}"), format!("From {from}")),
        Some(_) => (format!("back-to-{to}"), format!("Back to {to}")),
    }
}
