//! Why a stick cannot be made or examined.

use crate::OpenError;
use packstaff_product::LedgerError;
use packstaff_stick::deliver::{DeliverError, DeviceRefusal};
use packstaff_stick::examine::ViewError;
use packstaff_stick::examine::bundle::BundleError;
use packstaff_stick::{ReadError, StickError};
use std::io;
use std::path::PathBuf;
use thiserror::Error;

/// Why a stick cannot be made.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum MakeError {
    /// A version or a board is not the product's.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// A version is asked for twice.
    #[error("version {0} is named twice; name it once")]
    NamedTwice(String),
    /// A version is not in the ledger.
    #[error("the ledger has no release of {0}: release it first")]
    NotReleased(String),
    /// A version has no file for the boards that were asked for.
    #[error("{version} was released for no board {boards}; leave --board out, or name another version")]
    NotForBoards {
        /// The version.
        version: String,
        /// The boards asked for, with commas between.
        boards: String,
    },
    /// Nothing is asked for.
    #[error("no version is named")]
    NoVersion,
    /// Sectors of such a size are not to be had.
    #[error("a sector of {0} bytes cannot be; choose 512, 1024, 2048 or 4096")]
    Sector(u64),
    /// Clusters of such a size are not to be had.
    #[error("a cluster of {0} bytes cannot be; 65536 is the most")]
    Cluster(u64),
    /// A file of the ledger cannot be had.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The files, or a name, do not go on such a stick.
    #[error("the stick cannot be laid out: {0}")]
    Layout(#[source] StickError),
    /// The image would take the place of something other than a file.
    #[error("{} is there already and is no ordinary file", .0.display())]
    NoOrdinaryFile(PathBuf),
    /// The image cannot be read back.
    #[error(transparent)]
    Unreadable(#[from] ReadError),
    /// The image reads back with other contents.
    #[error("{0} reads back differently: please report it")]
    Differs(String),
    /// The image cannot be written.
    #[error("the stick image: {0}")]
    Write(#[source] StickError),
    /// The device is not erased, or could not be written.
    #[error(transparent)]
    Device(#[from] DeviceRefusal),
    /// The files cannot be brought to the folder.
    #[error(transparent)]
    Deliver(#[from] DeliverError),
    /// What else is in the folder cannot be told.
    #[error("{} cannot be listed: {error}", path.display())]
    Unlisted {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        #[source]
        error: io::Error,
    },
}

/// Why nothing can be said about a stick.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ExamineError {
    /// It cannot be opened.
    #[error("{} cannot be read: {error}", path.display())]
    Unreadable {
        /// What was to be examined.
        path: PathBuf,
        /// What the system said.
        #[source]
        error: io::Error,
    },
    /// It has no end.
    #[error("{} is neither a file nor a stick: its length cannot be found: {error}", path.display())]
    NoLength {
        /// What was to be examined.
        path: PathBuf,
        /// What the system said.
        #[source]
        error: io::Error,
    },
    /// The folder or archive cannot be read.
    #[error(transparent)]
    Bundle(#[from] BundleError),
    /// A unit that is asked about is not the product's, or cannot be built.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// A generation that the product file does not have.
    #[error("there is no generation {found:?} in product.toml, which has {known}")]
    NoGeneration {
        /// The generation asked for.
        found: String,
        /// Those that there are, with commas between.
        known: String,
    },
    /// A file of the ledger cannot be had.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// A unit could not be asked.
    #[error(transparent)]
    View(#[from] ViewError),
}
