//! Why nothing can be said of a product's settings.

use packstaff_document::DocumentError;
use packstaff_product::LedgerError;
use packstaff_settings::carry::CarryError;
use std::path::PathBuf;
use thiserror::Error;

/// Why nothing can be said of a product's settings.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// No version has a layout.
    #[error("{} has no layout file", .0.display())]
    NoLayouts(PathBuf),
    /// A file cannot be read.
    #[error("{} cannot be read: {error}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        error: std::io::Error,
    },
    /// A layout file that is longer than any.
    #[error("{} has {bytes} bytes", path.display())]
    TooLong {
        /// The file.
        path: PathBuf,
        /// Its bytes.
        bytes: u64,
    },
    /// A layout file is wrong.
    #[error(transparent)]
    Layout(#[from] DocumentError),
    /// A layout file with another version in it than in its name.
    #[error("{} describes version {found}", path.display())]
    OtherVersion {
        /// The file.
        path: PathBuf,
        /// The version in it.
        found: String,
    },
    /// The ledger cannot be read.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// A layout in the ledger is no text.
    #[error("the layout of {0} in the ledger is no text")]
    NoText(String),
    /// The layouts contradict each other.
    #[error("the layouts do not go together: {0}")]
    History(#[source] CarryError),
    /// A rule between two versions cannot be followed.
    #[error("what becomes of settings cannot be worked out: {0}")]
    Carry(#[source] CarryError),
}
