//! What happened to a unit: the ledger and the keyring brought together with what an owner sent, and the account told to the maker
//! and to the owner.

mod evidence;
mod kept;
mod reply;
mod words;

pub use evidence::{FlashFile, Given, gather};
pub use kept::{KeptAs, RecordKept, SettingsSeen};
pub use reply::reply;
pub use words::text;

use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::{Bench, anchor, unit_key};
use packstaff_bench::rehearse::may_go_back_to;
use packstaff_envelope::{VersionNumbers, open};
use packstaff_product::SignatureKind;
use packstaff_product::ledger::{BoardRecord, Release as Recorded};
use packstaff_product::{Board, Keyring};
use packstaff_trace::{Account, Evidence, KindOfUnit, Misfit, Release, Tracer, UNSEEN_SETTINGS};
use serde::Serialize;

/// What `trace` found.
#[derive(Serialize)]
pub struct Traced {
    /// The product's name.
    pub product: String,
    /// What was sent, in words.
    pub sent: Vec<String>,
    /// The account.
    #[serde(flatten)]
    pub account: Account,
    /// What the settings memory holds, if a dump of it was sent.
    pub settings: Option<SettingsSeen>,
    /// What to write to the owner.
    pub reply: String,
}

/// Traces a unit. `board` and `generation` narrow down what it may be.
///
/// # Errors
/// What was sent cannot be read, the ledger's files do not open, or it cannot be told which board it is.
pub fn trace(
    bench: &Bench,
    keyring: &Keyring,
    board: Option<&str>,
    generation: Option<&str>,
    given: &Given,
) -> Result<Traced> {
    let boards: Vec<&Board> = match board {
        Some(revision) => vec![bench.product.board(revision).ok_or_else(|| {
            let known: Vec<_> = bench
                .product
                .boards
                .iter()
                .map(|board| board.revision.as_str())
                .collect();
            miette::miette!(
                help = "name a `revision` of product.toml",
                "there is no board {revision}; product.toml has {}",
                known.join(", ")
            )
        })?],
        None => bench.product.boards.iter().collect(),
    };
    let mut candidates = boards
        .into_iter()
        .map(|board| {
            let tracer = Tracer::new(kind(bench, keyring, board, generation)?).into_diagnostic()?;
            let evidence = gather(bench, board, given)?;
            let known = tracer.recognises(&evidence);
            Ok((board, tracer, evidence, known))
        })
        .collect::<Result<Vec<_>>>()?;
    let best = candidates.iter().map(|(_, _, _, known)| *known).max().unwrap_or(0);
    if candidates.len() > 1 {
        candidates.retain(|(_, _, _, known)| *known == best && best > 0);
    }
    let (Some((board, tracer, evidence, _)), true) = (candidates.first(), candidates.len() == 1) else {
        return Err(miette::miette!(
            help = "ask the owner which board revision it is, and name it with --board",
            "it cannot be told from what was sent which board revision this unit is"
        ));
    };
    let mut account = account(tracer, evidence)?;
    account
        .misfits
        .extend(other_board(bench, keyring, board, tracer, given)?);
    let settings = given
        .settings
        .as_deref()
        .map(|dump| kept::kept(bench, dump))
        .transpose()?;
    if settings.is_some() {
        account.unseen.retain(|unseen| unseen.what != UNSEEN_SETTINGS);
    }
    Ok(Traced {
        product: bench.product.name.clone(),
        sent: given.words(evidence),
        reply: reply(bench, board, &account, settings.as_ref()),
        settings,
        account,
    })
}

/// Whether what was sent is another board's.
fn other_board(
    bench: &Bench,
    keyring: &Keyring,
    board: &Board,
    tracer: &Tracer,
    given: &Given,
) -> Result<Option<Misfit>> {
    if tracer.recognises(&gather(bench, board, given)?) > 0 {
        return Ok(None);
    }
    for other in bench
        .product
        .boards
        .iter()
        .filter(|other| other.revision != board.revision)
    {
        let tracer = Tracer::new(kind(bench, keyring, other, None)?).into_diagnostic()?;
        if tracer.recognises(&gather(bench, other, given)?) > 0 {
            return Ok(Some(Misfit {
                id: "another-board",
                what: format!(
                    "what was sent holds nothing of board {}, and something of board {}",
                    board.revision, other.revision
                ),
                explanation: "Name that board with --board, or ask the owner which one it is.",
            }));
        }
    }
    Ok(None)
}

fn account(tracer: &Tracer, evidence: &Evidence) -> Result<Account> {
    tracer
        .account(evidence)
        .ok_or_else(|| miette::miette!("product.toml serves no key generation"))
}

/// All that is known of a board's units.
///
/// # Errors
/// A unit of such a board cannot be built, or an archived file does not open.
pub fn kind(bench: &Bench, keyring: &Keyring, board: &Board, generation: Option<&str>) -> Result<KindOfUnit> {
    let generations = match generation {
        Some(generation) => vec![generation],
        None => bench.product.keys.serve.iter().map(String::as_str).collect(),
    };
    let blueprints = generations.into_iter().map(|generation| {
        Ok((
            generation.to_owned(),
            bench.blueprint(board, keyring, generation).told()?,
        ))
    });
    let mut releases = Vec::new();
    for recorded in bench.ledger.releases() {
        if let Some(record) = recorded.record.board(&board.revision) {
            releases.push(release(bench, keyring, recorded, record)?);
        }
    }
    Ok(KindOfUnit {
        board: board.revision.clone(),
        generations: blueprints.collect::<Result<_>>()?,
        releases,
    })
}

fn release(bench: &Bench, keyring: &Keyring, recorded: &Recorded, record: &BoardRecord) -> Result<Release> {
    let file = recorded.update_file(record).into_diagnostic()?;
    // A generation that is served no longer has no list of keys to trust: every file was signed with one of these, at least.
    let any_kind = || {
        SignatureKind::WORDS
            .iter()
            .find_map(|(_, kind)| anchor(keyring, *kind).ok())
            .map(|anchor| vec![anchor])
    };
    let mut refused = None;
    let opened = record.generations.iter().find_map(|generation| {
        let key = unit_key(generation, *keyring.unit_key(generation).ok()?).ok()?;
        let anchors = bench.anchors(keyring, generation).ok().or_else(any_kind)?;
        open(&file, &anchors, &key)
            .map_err(|refusal| refused = Some(refusal))
            .ok()
    });
    let version = &recorded.record.version;
    let opened = opened.ok_or_else(|| {
        let why = refused.map_or("the keyring has none of its generations".to_owned(), |refusal| {
            refusal.to_string()
        });
        miette::miette!("{} does not open: {why}", record.file)
    });
    let opened = opened.wrap_err("the ledger's archive")?;
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
