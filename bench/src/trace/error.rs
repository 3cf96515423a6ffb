//! Why a unit cannot be traced.

use crate::OpenError;
use crate::settings::SettingsError;
use packstaff_envelope::Refusal;
use packstaff_product::LedgerError;
use packstaff_stick::StickError;
use packstaff_trace::ReadoutError;
use std::io;
use std::path::PathBuf;
use thiserror::Error;

/// Why a unit cannot be traced.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum TraceError {
    /// A board revision that the product file does not have.
    #[error("there is no board {found}; product.toml has {}", known.join(", "))]
    UnknownBoard {
        /// The revision asked for.
        found: String,
        /// Those that there are.
        known: Vec<String>,
    },
    /// What was sent is of no board, or of several.
    #[error("it cannot be told from what was sent which board revision this unit is")]
    WhichBoard,
    /// Nothing is served, so that there are no units.
    #[error("product.toml serves no key generation")]
    NoGeneration,
    /// A file of the ledger's archive cannot be had.
    #[error("the ledger's archive: {0}")]
    Ledger(#[from] LedgerError),
    /// A file of the ledger's archive does not open.
    #[error("the ledger's archive: {file} does not open: {}", why.map_or("the keyring has none of its generations".to_owned(), |why| why.to_string()))]
    Archive {
        /// The update file.
        file: String,
        /// Why; `None`: the keyring has no key for it.
        why: Option<Refusal>,
    },
    /// A release's file cannot be put on a stick, to try it.
    #[error(transparent)]
    Stick(#[from] StickError),
    /// A read-out cannot be read.
    #[error("the read-out {} cannot be read: {error}", path.display())]
    Readout {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        error: io::Error,
    },
    /// A file is no read-out.
    #[error("the read-out {} cannot be read: {error}", path.display())]
    NoReadout {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        error: ReadoutError,
    },
    /// A read-out is larger than any unit's flash.
    #[error("the read-out {} has more than {most} bytes: no unit's flash is so large", path.display())]
    ReadoutTooLong {
        /// The file.
        path: PathBuf,
        /// The most that is read, in bytes.
        most: u64,
    },
    /// A folder was named in place of a stick's image.
    #[error("{} is a folder", .0.display())]
    Folder(PathBuf),
    /// The image of the stick cannot be read.
    #[error("the stick image {} cannot be read: {error}", path.display())]
    StickImage {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        error: io::Error,
    },
    /// A dump of the settings memory cannot be read.
    #[error("the settings dump {} cannot be read: {error}", path.display())]
    Settings {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        error: io::Error,
    },
    /// A dump is larger than any settings memory.
    #[error("{} has more bytes than any settings memory", .0.display())]
    SettingsTooLong(PathBuf),
    /// A version's layout of its settings is wrong.
    #[error(transparent)]
    Layout(#[from] SettingsError),
    /// The product's units cannot be built.
    #[error(transparent)]
    Open(#[from] OpenError),
}
