//! The rehearsal of a release: every world that an install to it can come to, and each install once as it should be.

use super::Packed;
use crate::memory;
use crate::progress::Progress;
use crate::told::ForPeople;
use miette::Result;
use packstaff_bench::open::Bench;
use packstaff_bench::rehearse::{
    Beginning, BoardUnderTest, Bound, Case, Install, Limits, PartOf, Rehearsal, RehearseError, UpdateFile, Way,
    may_go_back_to, recorded_files, rehearse_board,
};
use packstaff_product::{Keyring, Version};
use packstaff_rehearsal::claims::ReleasedImage;
use packstaff_rehearsal::explore::Faults;
use packstaff_words::rehearse::{Record, release_rows};
use packstaff_words::report::Report;
use std::collections::BTreeMap;

/// What came of it.
pub(super) struct Rehearsed {
    /// All of it, told.
    pub(super) record: Record,
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
    let rehearsal = rehearsed(bench, keyring, version, packed, progress).told()?;
    release_rows(report, &rehearsal, version.text()).told()?;
    Ok(Rehearsed {
        record: Record::of(&rehearsal),
        installs: rehearsal.installs_without_cut().cloned().collect(),
    })
}

fn rehearsed(
    bench: &Bench,
    keyring: &Keyring,
    version: &Version,
    packed: &[Packed],
    progress: &Progress,
) -> Result<Rehearsal, RehearseError> {
    let limits = Limits {
        faults: Faults::all(),
        bound: Bound::Memory(memory::allowed()),
    };
    let mut outcomes = BTreeMap::new();
    for (index, packed) in packed.iter().enumerate() {
        let files = files(bench, version, packed)?;
        let board = BoardUnderTest::of(bench, keyring, &packed.board, files)?;
        let (case, ways) = case_of(bench, &board, version);
        outcomes.insert(index, rehearse_board(&board, &case, &ways, &limits, progress)?);
    }
    let cases = outcomes.values().map(|outcome| outcome.case.clone()).collect();
    let mut rehearsal = Rehearsal::begin(bench, cases, &limits.faults, PartOf::WHOLE)?;
    rehearsal.installs = outcomes;
    rehearsal.rehearse_settings(bench, &limits, progress)?;
    Ok(rehearsal)
}

/// What is explored of a board, and the installs without a cut: to the version, and back from it.
fn case_of(bench: &Bench, board: &BoardUnderTest<'_>, version: &Version) -> (Case, Vec<Way>) {
    let others = board.files.iter().map(|file| file.version.clone());
    let others = others.filter(|other| other != version.text());
    let from: Vec<_> = [Beginning::New]
        .into_iter()
        .chain(others.map(Beginning::Runs))
        .collect();
    let back = from.iter().filter_map(Beginning::version);
    let back = back.filter(|other| may_go_back_to(bench, other)).map(|to| Way {
        from: Beginning::Runs(version.text().to_owned()),
        to: to.to_owned(),
    });
    let there = from.iter().map(|from| Way {
        from: from.clone(),
        to: version.text().to_owned(),
    });
    let ways = there.chain(back).collect();
    let to = board.highest().map_or(version.text(), |file| &file.version);
    let case = Case {
        board: board.board.revision.clone(),
        to: to.to_owned(),
        // A version that is no longer the highest is come to above; from there on the highest is.
        from: from.iter().filter(|from| from.version() != Some(to)).cloned().collect(),
    };
    (case, ways)
}

/// The ledger's files, with the release's own in place of any other of its version.
fn files(bench: &Bench, version: &Version, packed: &Packed) -> Result<Vec<UpdateFile>, RehearseError> {
    let mut files = recorded_files(bench, &packed.board)?;
    files.retain(|file| file.version != version.text());
    files.push(UpdateFile {
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
