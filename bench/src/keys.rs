//! The keys of a product: made, listed, added to, given out, backed up. What a change to a keyring means is in
//! [`packstaff_product::keyring`]; here it meets the product file, the ledger and this machine.

use crate::{Bench, OpenError, Progress, Step};
use packstaff_product::keyring::{KeyringListing, OneTimeError, OtsKind, TreeKind};
use packstaff_product::{
    Access, Date, FileError, Keyring, KeyringError, KeyringFile, NewKeyring, SignatureKind, Unlock, write_new,
};
use std::io;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What may be shown of a keyring, and how long its HSS-LMS key lasts.
#[derive(Debug)]
pub struct Listing {
    /// Fingerprints, dates and states.
    pub keys: KeyringListing,
    /// Signatures that the HSS-LMS key can still make, or why it makes none; `None` if there is no such key.
    pub signatures_left: Option<Result<u32, KeysError>>,
}

/// A public signing key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PublicKey {
    /// Ed25519.
    Ed25519 {
        /// As a PEM block (SubjectPublicKeyInfo, RFC 8410).
        pem: String,
    },
    /// HSS-LMS.
    HssLms {
        /// As RFC 8554, 6.1, has it.
        raw: Vec<u8>,
        /// As a COSE_Key (RFC 8778, 4).
        cose: Vec<u8>,
    },
}

/// What an HSS-LMS key is to be like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TreeShape {
    /// How many signatures it can make.
    pub height: TreeKind,
    /// Bits of a digit.
    pub digits: OtsKind,
}

/// Why something cannot be done with keys.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum KeysError {
    /// The product folder lacks something, or this machine does.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The folder for the keyring cannot be made.
    #[error("{} cannot be made: {error}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        #[source]
        error: io::Error,
    },
    /// No keyring was made.
    #[error("no keyring was made: {0}")]
    Create(#[source] KeyringError),
    /// No HSS-LMS key was made.
    #[error("no HSS-LMS key was made: {0}")]
    Tree(#[source] KeyringError),
    /// The keyring was not copied.
    #[error("the keyring could not be backed up: {0}")]
    BackUp(#[source] KeyringError),
    /// The keyring has no such key, or cannot be changed.
    #[error(transparent)]
    Keyring(#[from] KeyringError),
    /// The count of one-time keys cannot be used.
    #[error(transparent)]
    OneTime(#[from] OneTimeError),
    /// The public key cannot be written.
    #[error(transparent)]
    Write(#[from] FileError),
}

/// What is in a keyring.
pub fn list(bench: &Bench, keyring: &KeyringFile) -> Listing {
    let keys = keyring.keyring().listing();
    let signatures_left = keys.tree.as_ref().map(|_| {
        let (count, recorded) = bench.one_time_count(keyring)?;
        Ok(count.left(recorded)?)
    });
    Listing { keys, signatures_left }
}

/// Makes the keyring of a product, where the product file says that it lies: a signing key, and the unit keys of the generation
/// that new units have.
///
/// # Errors
/// There is one already, the secret cannot be had, or the system refuses.
pub fn create(bench: &Bench, today: Date, unlock: &mut Unlock) -> Result<KeyringFile, KeysError> {
    let path = bench.keyring_path();
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(|error| KeysError::Folder {
            path: folder.to_owned(),
            error,
        })?;
    }
    let new = NewKeyring {
        date: today,
        first_generation: bench.product.keys.new_units.clone(),
        also_for: Vec::new(),
        scrypt_work: None,
    };
    KeyringFile::create(&path, &new, unlock).map_err(KeysError::Create)
}

/// Adds a generation of unit keys.
///
/// # Errors
/// As [`KeyringFile::add_generation`].
pub fn add(keyring: &mut KeyringFile, generation: &str, today: Date) -> Result<(), KeysError> {
    Ok(keyring.add_generation(generation, today)?)
}

/// Retires a generation: no new update file is made for its units.
///
/// # Errors
/// As [`KeyringFile::retire_generation`].
pub fn retire(keyring: &mut KeyringFile, generation: &str) -> Result<(), KeysError> {
    Ok(keyring.retire_generation(generation)?)
}

/// Adds an HSS-LMS key.
///
/// # Errors
/// There is one already, or something cannot be written.
pub fn add_tree(
    bench: &Bench,
    keyring: &mut KeyringFile,
    shape: TreeShape,
    today: Date,
    progress: &(dyn Progress + Sync),
) -> Result<(), KeysError> {
    let machine = bench.one_time_folder()?;
    let step = |done, all| progress.at(&Step::ComputingTree { done, all });
    let made = keyring.add_tree_key(shape.height, shape.digits, today, machine, &step);
    made.map_err(KeysError::Tree)
}

/// Counts signatures of the HSS-LMS key as made, `by` more than are known of.
///
/// # Errors
/// There is no such key, or its count cannot be written.
pub fn skip(bench: &Bench, keyring: &KeyringFile, by: u32) -> Result<(), KeysError> {
    let (count, recorded) = bench.one_time_count(keyring)?;
    count.skip(recorded, by)?;
    Ok(())
}

/// A public signing key.
///
/// # Errors
/// The keyring has none of that kind.
pub fn public_key(keyring: &Keyring, kind: SignatureKind) -> Result<PublicKey, KeysError> {
    Ok(match kind {
        SignatureKind::Ed25519 => PublicKey::Ed25519 {
            pem: keyring.public_key_pem()?,
        },
        SignatureKind::HssLms => {
            let key = keyring.tree_key()?;
            PublicKey::HssLms {
                raw: key.public_key().to_vec(),
                cose: key.cose_key().to_vec(),
            }
        }
    })
}

/// Writes a public key, in whatever form, to a file that is not there yet.
///
/// # Errors
/// It is there, or cannot be written.
pub fn write_public(path: &Path, text: &str) -> Result<(), KeysError> {
    Ok(write_new(path, text.as_bytes(), Access::Shared)?)
}

/// Copies the keyring to a place where nothing is yet, and sees that the copy opens.
///
/// # Errors
/// As [`KeyringFile::back_up`].
pub fn back_up(keyring: &KeyringFile, to: &Path) -> Result<(), KeysError> {
    keyring.back_up(to).map_err(KeysError::BackUp)
}
