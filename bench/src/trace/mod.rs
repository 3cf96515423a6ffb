//! What happened to a unit: the ledger and the keyring brought together with what an owner sent.

mod error;
mod evidence;
mod known;
mod settings;

pub use error::TraceError;
pub use evidence::{AddressError, FlashFile, Given, gather};
pub use known::kind;
pub use settings::{KeptAs, RecordKept, SettingsSeen};

use crate::Bench;
use packstaff_installer::Reason;
use packstaff_product::{Board, Keyring};
use packstaff_trace::{Account, Evidence, Inconsistency, Tracer, Unseen};

/// What the unit is known to be.
#[derive(Clone, Copy, Debug, Default)]
pub struct Known<'a> {
    /// Its board revision.
    pub board: Option<&'a str>,
    /// The generation of its keys; `None`: any that is served.
    pub generation: Option<&'a str>,
}

/// Something that was sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Sent {
    /// A read-out of flash.
    Flash {
        /// The file's name. It comes from outside: show it with care.
        name: String,
        /// Bytes of flash in it.
        bytes: u64,
        /// Address of the first.
        first: u32,
    },
    /// The image of the stick.
    Stick {
        /// The file's name. It comes from outside: show it with care.
        name: String,
        /// Its bytes.
        bytes: u64,
    },
    /// The code on the display.
    Code(Reason),
    /// A dump of the settings memory.
    Settings {
        /// The file's name. It comes from outside: show it with care.
        name: String,
    },
}

/// What a trace found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Traced {
    /// What was sent.
    pub sent: Vec<Sent>,
    /// The account.
    pub account: Account,
    /// What the settings memory holds, if a dump of it was sent.
    pub settings: Option<SettingsSeen>,
}

/// A board that the unit may have.
struct Candidate<'a> {
    board: &'a Board,
    tracer: Tracer,
    evidence: Evidence,
    /// How much of what was sent units of this board explain.
    recognised: u32,
}

impl<'a> Candidate<'a> {
    fn of(
        bench: &Bench,
        keyring: &Keyring,
        board: &'a Board,
        generation: Option<&str>,
        given: &Given,
    ) -> Result<Self, TraceError> {
        let tracer = Tracer::new(kind(bench, keyring, board, generation)?)?;
        let evidence = gather(bench, board, given)?;
        Ok(Self {
            recognised: tracer.recognises(&evidence),
            board,
            tracer,
            evidence,
        })
    }
}

/// Traces a unit.
///
/// # Errors
/// What was sent cannot be read, the ledger's files do not open, or it cannot be told which board it is.
pub fn trace(bench: &Bench, keyring: &Keyring, known: Known<'_>, given: &Given) -> Result<Traced, TraceError> {
    let mut candidates = boards(bench, known.board)?
        .into_iter()
        .map(|board| Candidate::of(bench, keyring, board, known.generation, given))
        .collect::<Result<Vec<_>, _>>()?;
    if candidates.len() > 1 {
        let best = candidates.iter().map(|candidate| candidate.recognised).max();
        candidates.retain(|candidate| candidate.recognised > 0 && Some(candidate.recognised) == best);
    }
    let [candidate] = candidates.as_slice() else {
        return Err(TraceError::WhichBoard);
    };
    let account = candidate.tracer.account(&candidate.evidence);
    let mut account = account.ok_or(TraceError::NoGeneration)?;
    account
        .inconsistencies
        .extend(another_board(bench, keyring, candidate, given)?);
    let settings = given.settings.as_deref();
    let settings = settings.map(|path| settings::seen(bench, path)).transpose()?;
    if settings.is_some() {
        account.unseen.retain(|unseen| *unseen != Unseen::Settings);
    }
    Ok(Traced {
        sent: evidence::sent(given, &candidate.evidence),
        account,
        settings,
    })
}

/// The boards that the unit may have.
fn boards<'a>(bench: &'a Bench, named: Option<&str>) -> Result<Vec<&'a Board>, TraceError> {
    let boards = &bench.product.boards;
    let Some(named) = named else {
        return Ok(boards.iter().collect());
    };
    let board = bench.product.board(named).ok_or_else(|| TraceError::UnknownBoard {
        found: named.to_owned(),
        known: boards.iter().map(|board| board.revision.clone()).collect(),
    })?;
    Ok(vec![board])
}

/// Whether what was sent is another board's.
fn another_board(
    bench: &Bench,
    keyring: &Keyring,
    candidate: &Candidate<'_>,
    given: &Given,
) -> Result<Option<Inconsistency>, TraceError> {
    if candidate.recognised > 0 {
        return Ok(None);
    }
    let named = &candidate.board.revision;
    for other in bench.product.boards.iter().filter(|other| other.revision != *named) {
        if Candidate::of(bench, keyring, other, None, given)?.recognised > 0 {
            return Ok(Some(Inconsistency::AnotherBoard {
                named: named.clone(),
                found: other.revision.clone(),
            }));
        }
    }
    Ok(None)
}
