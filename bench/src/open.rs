//! A product folder, open on the bench: the product file, the ledger, the keyring.

use crate::board::BoardFault;
pub use crate::board::{anchor, kid, unit_key};
use packstaff_parts::PartsTable;
use packstaff_product::keyring::{OneTimeCount, OneTimeError};
use packstaff_product::{
    Board, DocumentError, KeyringError, KeyringFile, Ledger, LedgerError, Product, Unlock, VersionError,
};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Ending of every update file's name.
pub const EXTENSION: &str = "UPD";

/// The maker's own table of parts, in the product folder: it need not be there.
pub const PARTS_FILE: &str = "parts.toml";

/// An open product folder.
pub struct Bench {
    folder: PathBuf,
    /// Where this machine remembers which one-time keys it has used.
    one_time_folder: Option<PathBuf>,
    parts: PartsTable,
    /// What the maker declared.
    pub product: Product,
    /// What has been released.
    pub ledger: Ledger,
}

/// Why a product folder, or something in it, cannot be used.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum OpenError {
    /// There is no product file.
    #[error("{} holds no product.toml", .0.display())]
    NoProduct(PathBuf),
    /// A board's part cannot be used.
    #[error("board {revision}: {why}")]
    Board {
        /// The board revision.
        revision: String,
        /// Why.
        #[source]
        why: BoardFault,
    },
    /// A key's name that a unit cannot hold.
    #[error("the name of a key has {len} bytes, and a unit holds 1 to 16")]
    KeyName {
        /// Bytes of the name.
        len: usize,
    },
    /// A generation that the product file does not have.
    #[error("there is no [[generation]] {0} in product.toml")]
    NoGeneration(String),
    /// There is no place for what this machine must remember.
    #[error(
        "this machine has no place to remember which one-time keys are used: neither XDG_STATE_HOME nor HOME is set"
    )]
    NoMachineFolder,
    /// A board revision that the product file does not have.
    #[error("there is no board {found} in product.toml, which has {known}")]
    UnknownBoard {
        /// The revision asked for.
        found: String,
        /// Those that there are.
        known: String,
    },
    /// A file of the folder cannot be read.
    #[error("{} cannot be read: {error}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        error: std::io::Error,
    },
    /// The product file is wrong.
    #[error(transparent)]
    Document(#[from] DocumentError),
    /// The ledger cannot be used.
    #[error("the ledger cannot be used: {0}")]
    Ledger(#[source] LedgerError),
    /// The keyring stays closed.
    #[error("the keyring {} stays closed: {error}", path.display())]
    Keyring {
        /// The keyring.
        path: PathBuf,
        /// Why.
        #[source]
        error: KeyringError,
    },
    /// The keyring lacks a key.
    #[error(transparent)]
    Key(#[from] KeyringError),
    /// The count of one-time keys cannot be had.
    #[error(transparent)]
    OneTime(#[from] OneTimeError),
    /// A version's text is not of the product's scheme.
    #[error(transparent)]
    Version(#[from] VersionError),
    /// A version that the product file does not list.
    #[error("version {found} is not listed in product.toml, which has {listed}")]
    UnlistedVersion {
        /// The version asked for.
        found: String,
        /// Those listed.
        listed: String,
    },
}

/// Reads a product file's text, whose boards name parts of a table; `name` is what complaints call it.
///
/// # Errors
/// Everything that is wrong with it, each with its line.
pub fn read_product(name: &str, text: &str, parts: &PartsTable) -> Result<Product, OpenError> {
    Ok(Product::read(name, text, Some(parts))?)
}

/// The built-in parts, and those of the product folder's own table if it has one.
fn read_parts(folder: &Path) -> Result<PartsTable, OpenError> {
    let path = folder.join(PARTS_FILE);
    match std::fs::read_to_string(&path) {
        Ok(text) => Ok(PartsTable::with_own(&path.display().to_string(), &text)?),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(PartsTable::default()),
        Err(error) => Err(OpenError::Unreadable { path, error }),
    }
}

impl Bench {
    /// Opens a product folder.
    ///
    /// # Errors
    /// Everything that is wrong with the maker's own parts table or the product file, each with its line; or the first record of the ledger that cannot be used.
    pub fn open(folder: &Path) -> Result<Self, OpenError> {
        let path = folder.join("product.toml");
        if !path.is_file() {
            return Err(OpenError::NoProduct(folder.to_owned()));
        }
        let text = std::fs::read_to_string(&path).map_err(|error| OpenError::Unreadable {
            path: path.clone(),
            error,
        })?;
        let parts = read_parts(folder)?;
        let product = read_product(&path.display().to_string(), &text, &parts)?;
        let ledger = Ledger::open(&folder.join("ledger")).map_err(OpenError::Ledger)?;
        Ok(Self {
            folder: folder.to_owned(),
            one_time_folder: None,
            parts,
            product,
            ledger,
        })
    }

    /// The same, on a machine that remembers in `folder` which one-time keys it has used: a folder outside of every product
    /// folder, so that an older copy of one does not bring them back.
    #[must_use]
    pub fn with_one_time_folder(self, folder: Option<PathBuf>) -> Self {
        Self {
            one_time_folder: folder,
            ..self
        }
    }

    /// The product folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Where the keyring lies.
    pub fn keyring_path(&self) -> PathBuf {
        self.folder.join(&self.product.keys.keyring)
    }

    /// Opens the keyring.
    ///
    /// # Errors
    /// The secret cannot be had, or does not open it.
    pub fn keyring(&self, unlock: &mut Unlock) -> Result<KeyringFile, OpenError> {
        let path = self.keyring_path();
        KeyringFile::open(&path, unlock).map_err(|error| OpenError::Keyring { path, error })
    }

    /// The version of this text.
    ///
    /// # Errors
    /// It is not in the product's scheme, or not listed.
    pub fn version(&self, text: &str) -> Result<packstaff_product::Version, OpenError> {
        let version = self.product.version(text)?;
        let list = &self.product.versions.list;
        list.iter()
            .find(|listed| listed.text() == version.text())
            .cloned()
            .ok_or_else(|| {
                let listed = list
                    .iter()
                    .map(packstaff_product::Version::text)
                    .collect::<Vec<_>>()
                    .join(", ");
                OpenError::UnlistedVersion {
                    found: text.to_owned(),
                    listed,
                }
            })
    }

    /// The board of this revision.
    ///
    /// # Errors
    /// The product has none.
    pub fn board(&self, revision: &str) -> Result<&Board, OpenError> {
        let known = || {
            self.product
                .boards
                .iter()
                .map(|board| board.revision.as_str())
                .collect::<Vec<_>>()
        };
        self.product.board(revision).ok_or_else(|| OpenError::UnknownBoard {
            found: revision.to_owned(),
            known: known().join(", "),
        })
    }

    /// The parts that boards may name: the built-in ones and the maker's own.
    pub const fn parts_table(&self) -> &PartsTable {
        &self.parts
    }

    /// The count of the HSS-LMS key's one-time keys, and the highest of them that the ledger knows.
    ///
    /// # Errors
    /// The keyring has no such key, or this machine has no place for what it must remember.
    pub fn one_time_count(&self, keyring: &KeyringFile) -> Result<(OneTimeCount, Option<u32>), OpenError> {
        let key = keyring.keyring().tree_key()?;
        let recorded = self.ledger.highest_one_time_key(&key.listing().fingerprint);
        let count = keyring.one_time_count(self.one_time_folder()?)?;
        Ok((count, recorded))
    }

    /// Where this machine remembers which one-time keys it has used.
    ///
    /// # Errors
    /// It has no place for that.
    pub fn one_time_folder(&self) -> Result<&Path, OpenError> {
        self.one_time_folder.as_deref().ok_or(OpenError::NoMachineFolder)
    }
}
