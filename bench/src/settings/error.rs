//! Why nothing can be said of a product's settings.

use packstaff_document::DocumentError;
use packstaff_keeper::carry::CarryFault;
use packstaff_product::LedgerError;
use packstaff_settings::carry::CarryError;
use packstaff_settings::dump::DumpError;
use packstaff_settings::dwarf::DwarfError;
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
    /// A pair of versions that cannot be planned.
    #[error(transparent)]
    Plan(CarryError),
    /// A version without a layout.
    #[error("there is no layout of version {version}; there are layouts of {}", known.join(", "))]
    NoLayout {
        /// The version asked for.
        version: String,
        /// Those that there are.
        known: Vec<String>,
    },
    /// A dump that is longer than any settings memory.
    #[error("{} has {bytes} bytes, more than any settings memory", path.display())]
    DumpTooLong {
        /// The file.
        path: PathBuf,
        /// Its bytes.
        bytes: u64,
    },
    /// A file that is no dump of this version.
    #[error("{} is no dump of version {version}: {error}", path.display())]
    NoDump {
        /// The file.
        path: PathBuf,
        /// The version that was to have written it.
        version: String,
        /// Why it is none.
        #[source]
        error: DumpError,
        /// A version of which it holds whole settings.
        instead: Option<String>,
    },
    /// A record that cannot be carried over.
    #[error("the settings cannot be carried over from {from} to {to}: {fault}")]
    NotCarried {
        /// The version come from.
        from: String,
        /// The version gone to.
        to: String,
        /// What the keeper says.
        fault: CarryFault,
    },
    /// A record that is not one of its layout.
    #[error(transparent)]
    Record(#[from] DumpError),
    /// A layout's number that is too large.
    #[error("a layout's number has 16 bits, and {0:#x} is given")]
    LayoutNumber(u32),
    /// The build has no such record.
    #[error(transparent)]
    Build(#[from] DwarfError),
}
