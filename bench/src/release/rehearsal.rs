//! The rehearsal of a release: every world that an install to it can come to, and each install once as it should be.

use super::{Edition, Packed, ReleaseError};
use crate::open::Bench;
use crate::progress::Progress;
use crate::rehearse::{
    Beginning, BoardUnderTest, Bound, Case, CaseOutcome, Install, Limits, PartOf, Rehearsal, UpdateFile, Way,
    may_go_back_to, recorded_files, rehearse_board,
};
use packstaff_product::{Board, Keyring};
use packstaff_rehearsal::explore::Faults;

/// Rehearses the installs of what was packed, and the settings that belong to them.
///
/// # Errors
/// A unit cannot be made, or an exploration gave no answer. A claim that does not hold is an answer.
pub(super) fn rehearse(
    bench: &Bench,
    keyring: &Keyring,
    edition: &Edition,
    packed: &[&Packed],
    bound: Bound,
    progress: &dyn Progress,
) -> Result<Rehearsal, ReleaseError> {
    let limits = Limits {
        faults: Faults::all(),
        bound,
    };
    let mut cases = Vec::new();
    let mut outcomes = Vec::new();
    for packed in packed {
        let board = bench.board(&packed.board)?;
        let files = files(bench, edition, board, packed)?;
        let board = BoardUnderTest::of(bench, keyring, board, files)?;
        let case = case(&board, edition);
        outcomes.push(rehearse_board(
            &board,
            &case,
            &ways(bench, &board, edition),
            &limits,
            progress,
        )?);
        cases.push(case);
    }
    let mut rehearsal = Rehearsal::begin(bench, cases, &limits.faults, PartOf::WHOLE)?;
    rehearsal.installs = (0..).zip(outcomes).collect();
    rehearsal.rehearse_settings(bench, &limits, progress)?;
    Ok(rehearsal)
}

/// The ledger's files, with the release's own in place of any other of its version.
fn files(bench: &Bench, edition: &Edition, board: &Board, packed: &Packed) -> Result<Vec<UpdateFile>, ReleaseError> {
    let version = &edition.version;
    let mut files = recorded_files(bench, board)?;
    files.retain(|file| file.version != version.text());
    files.push(UpdateFile {
        version: version.text().to_owned(),
        numbers: version.numbers().as_slice().to_vec(),
        issue: edition.issue,
        name: packed.name.clone(),
        bytes: packed.file.clone(),
        manifest: packed.manifest.digest,
        image: packed.released_image(),
    });
    files.sort_by(|a, b| a.numbers.cmp(&b.numbers));
    Ok(files)
}

/// A new unit, and one that runs each other version.
fn beginnings(board: &BoardUnderTest<'_>, edition: &Edition) -> Vec<Beginning> {
    let versions = board.files.iter().map(|file| file.version.clone());
    let others = versions.filter(|other| other != edition.version.text());
    [Beginning::New]
        .into_iter()
        .chain(others.map(Beginning::Runs))
        .collect()
}

/// The installs without a cut: to the version, and back from it to those that owners may go back to.
fn ways(bench: &Bench, board: &BoardUnderTest<'_>, edition: &Edition) -> Vec<Way> {
    let version = edition.version.text();
    let from = beginnings(board, edition);
    let back = from.iter().filter_map(Beginning::version);
    let back = back.filter(|other| may_go_back_to(bench, other)).map(|to| Way {
        from: Beginning::Runs(version.to_owned()),
        to: to.to_owned(),
    });
    let there = from.iter().map(|from| Way {
        from: from.clone(),
        to: version.to_owned(),
    });
    there.chain(back).collect()
}

/// What is explored. A version that is no longer the highest is come to once without a cut; from there on the highest is.
fn case(board: &BoardUnderTest<'_>, edition: &Edition) -> Case {
    let version = edition.version.text();
    let to = board.highest().map_or(version, |file| &file.version);
    let from = beginnings(board, edition).into_iter();
    Case {
        board: board.board.revision.clone(),
        to: to.to_owned(),
        from: from.filter(|from| from.version() != Some(to)).collect(),
    }
}

/// Every install without a cut.
pub(super) fn installs(rehearsal: &Rehearsal) -> impl Iterator<Item = &Install> {
    let cases = rehearsal.installs.values();
    cases.flat_map(|case: &CaseOutcome| &case.installs)
}
