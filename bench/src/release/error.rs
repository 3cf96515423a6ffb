//! What keeps a release from being made at all.

use super::folder::FolderError;
use crate::budget::BudgetError;
use crate::notes::NotesError;
use crate::open::OpenError;
use crate::rehearse::RehearseError;
use crate::settings::SettingsError;
use packstaff_envelope::encode::EncodeError;
use packstaff_product::keyring::OneTimeError;
use packstaff_product::{KeyringError, LedgerError};
use packstaff_stick::StickError;
use packstaff_unit::blueprint::BlueprintError;
use std::path::PathBuf;
use thiserror::Error;

/// What keeps a release from being prepared. A check that does not hold is no error: it is in the outcome.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ReleaseError {
    /// Something in the product folder cannot be used.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The notes cannot be used.
    #[error(transparent)]
    Notes(#[from] NotesError),
    /// A build cannot be read.
    #[error("the build for board {board}, {}, cannot be read: {error}", path.display())]
    UnreadableBuild {
        /// The board revision.
        board: String,
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        error: std::io::Error,
    },
    /// A name for an update file that no stick could hold.
    #[error("no name of at most 8 letters can be made for board {board} of {short} {version}")]
    Name {
        /// The product's short name.
        short: String,
        /// The board revision.
        board: String,
        /// The version.
        version: String,
    },
    /// The keyring has not the keys of the generations that are served.
    #[error("the generations that product.toml serves: {0}")]
    Served(#[source] KeyringError),
    /// The keyring has no HSS-LMS key, and units want to see its signature.
    #[error("product.toml has units that trust HSS-LMS signatures: {0}")]
    NoTreeKey(#[source] KeyringError),
    /// The HSS-LMS key's tree cannot be computed.
    #[error(transparent)]
    Tree(KeyringError),
    /// There is no one-time key to sign with.
    #[error(transparent)]
    OneTime(#[from] OneTimeError),
    /// The system gives no random numbers.
    #[error("the system gives no random numbers: {0}")]
    NoRandomness(getrandom::Error),
    /// An update file cannot be made.
    #[error("the update file for board {board}: {error}")]
    Encode {
        /// The board revision.
        board: String,
        /// Why.
        #[source]
        error: EncodeError,
    },
    /// A recorded file is not as it was.
    #[error(transparent)]
    Archive(LedgerError),
    /// What becomes of settings cannot be worked out.
    #[error(transparent)]
    Settings(#[from] SettingsError),
    /// The rehearsal gave no answer.
    #[error(transparent)]
    Rehearsal(#[from] RehearseError),
    /// The budget cannot be computed.
    #[error(transparent)]
    Budget(#[from] BudgetError),
    /// The stick image cannot be made.
    #[error("the stick image: {0}")]
    Stick(#[from] StickError),
    /// No unit of a board can be built.
    #[error(transparent)]
    Blueprint(#[from] BlueprintError),
}

/// Why a report could not be made: the bench does not know what it says.
pub type ReportError = Box<dyn std::error::Error + Send + Sync>;

/// What keeps a finished release from going out.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PublishError {
    /// A check does not hold.
    #[error("{version} is not released: a check does not hold")]
    Refused {
        /// The version.
        version: String,
    },
    /// The ledger takes no record of it.
    #[error("the release could not be recorded: {0}")]
    Ledger(#[from] LedgerError),
    /// It is recorded, and whoever makes its report could not make it.
    #[error("the report of the release: {0}")]
    Report(#[source] ReportError),
    /// It is recorded, and its folder could not be written. Releasing it again takes its files from the ledger.
    #[error(transparent)]
    Folder(#[from] FolderError),
}
