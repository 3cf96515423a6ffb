//! What the maker knows of a board's units: how they are built, and every release for them.

use super::TraceError;
use crate::Bench;
use crate::open::{anchor, unit_key};
use crate::rehearse::may_go_back_to;
use packstaff_envelope::{VersionNumbers, open};
use packstaff_product::ledger::{BoardRecord, Release as Recorded};
use packstaff_product::{Board, Keyring, SignatureKind};
use packstaff_trace::{KindOfUnit, Release};

/// All that is known of a board's units, of one generation of keys or of every one that is served.
///
/// # Errors
/// A unit of such a board cannot be built, or an archived file does not open.
pub fn kind(
    bench: &Bench,
    keyring: &Keyring,
    board: &Board,
    generation: Option<&str>,
) -> Result<KindOfUnit, TraceError> {
    let generations = match generation {
        Some(generation) => vec![generation],
        None => bench.product.keys.serve.iter().map(String::as_str).collect(),
    };
    let blueprints = generations
        .into_iter()
        .map(|generation| Ok((generation.to_owned(), bench.blueprint(board, keyring, generation)?)));
    let mut releases = Vec::new();
    for recorded in bench.ledger.releases() {
        if let Some(record) = recorded.record.board(&board.revision) {
            releases.push(release(bench, keyring, recorded, record)?);
        }
    }
    Ok(KindOfUnit {
        board: board.revision.clone(),
        generations: blueprints.collect::<Result<_, TraceError>>()?,
        releases,
    })
}

fn release(bench: &Bench, keyring: &Keyring, recorded: &Recorded, record: &BoardRecord) -> Result<Release, TraceError> {
    let file = recorded.update_file(record)?;
    // A generation that is served no longer has no list of keys to trust: every file was signed with one of these, at least.
    let any_kind = || {
        SignatureKind::WORDS
            .iter()
            .find_map(|(_, kind)| anchor(keyring, *kind).ok())
            .map(|anchor| vec![anchor])
    };
    let mut why = None;
    let opened = record.generations.iter().find_map(|generation| {
        let key = unit_key(generation, *keyring.unit_key(generation).ok()?).ok()?;
        let anchors = bench.anchors(keyring, generation).ok().or_else(any_kind)?;
        open(&file, &anchors, &key).map_err(|refusal| why = Some(refusal)).ok()
    });
    let opened = opened.ok_or_else(|| TraceError::Archive {
        file: record.file.clone(),
        why,
    })?;
    let version = &recorded.record.version;
    let latest = bench.ledger.latest_issue_of(version).map(|latest| latest.record.issue);
    Ok(Release {
        version: version.clone(),
        numbers: VersionNumbers::new(recorded.record.numbers.as_slice()).unwrap_or(opened.manifest.version),
        issue: recorded.record.issue,
        file_name: record.file.clone(),
        manifest: opened.manifest.digest,
        image: opened.image,
        file,
        offered: latest == Some(recorded.record.issue) && may_go_back_to(bench, version),
    })
}
