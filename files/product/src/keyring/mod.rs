//! The keyring: the maker's signing key and the unit keys of every generation, in one age file.
//!
//! The signing keys, Ed25519 and perhaps HSS-LMS, make units accept a file; no unit holds them. A unit key only reads: every unit of a generation has
//! it, so whoever opens one unit can read the files of its generation, and still cannot make one that a unit accepts.

mod file;
mod fingerprint;
mod one_time;
mod plain;
mod sealing;
mod tree_key;
mod unlock;

pub use file::{KeyringFile, NewKeyring};
pub use fingerprint::{FINGERPRINT_BYTES, signer_fingerprint, signer_kid};
pub use one_time::{OneTimeCount, OneTimeError, OneTimeKey, ReserveStep};
pub use tree_key::{OtsKind, TreeKey, TreeKeyListing, TreeKind};
pub use unlock::{Purpose, SHORTEST_NEW_PASSPHRASE, Source, Unlock, UnlockError, read_secret};

use crate::whole_file::FileError;
use ed25519_dalek::pkcs8::EncodePublicKey;
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use ed25519_dalek::{Signer, SigningKey};
use fingerprint::unit_key_fingerprint;
use packstaff_document::Date;
use std::fmt;
use std::path::PathBuf;
use thiserror::Error;
use zeroize::Zeroizing;

/// A 256-bit key of a generation of units, wiped when it is dropped.
pub type UnitKeyBytes = Zeroizing<[u8; 32]>;

/// The keys of a product, open.
#[derive(Clone)]
pub struct Keyring {
    signing: SigningKey,
    signing_created: Date,
    /// The HSS-LMS key, if there is one.
    tree: Option<TreeKey>,
    generations: Vec<UnitKeyEntry>,
    /// For whom the keyring is sealed; empty if by a passphrase.
    recipients: Vec<age::x25519::Recipient>,
}

#[derive(Clone, PartialEq, Eq)]
struct UnitKeyEntry {
    id: String,
    created: Date,
    state: GenerationState,
    key: UnitKeyBytes,
}

/// Whether a generation is still given files.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum GenerationState {
    /// Its units can read new update files.
    Serving,
    /// No new file is made for it. The key is kept: old files in the ledger are still read with it.
    Retired,
}

impl GenerationState {
    const WORDS: &[(&str, Self)] = &[("serving", Self::Serving), ("retired", Self::Retired)];

    /// The word of a keyring.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Serving => "serving",
            Self::Retired => "retired",
        }
    }
}

/// What may be shown of a keyring.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyringListing {
    /// Fingerprint of the signing key.
    pub signer: String,
    /// The day the signing key was made.
    pub signer_created: Date,
    /// The HSS-LMS key, if there is one.
    pub tree: Option<TreeKeyListing>,
    /// The generations, in the order they were made.
    pub generations: Vec<GenerationListing>,
    /// The age recipients that can open the keyring; none if a passphrase does.
    pub recipients: Vec<String>,
}

/// What may be shown of a generation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GenerationListing {
    /// Its identifier.
    pub id: String,
    /// The day its key was made.
    pub created: Date,
    /// Whether it is still given files.
    pub state: GenerationState,
    /// Fingerprint of its key.
    pub fingerprint: String,
}

/// What can go wrong with a keyring. No message holds anything secret.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum KeyringError {
    /// The file cannot be read or written.
    #[error(transparent)]
    File(#[from] FileError),
    /// There is no secret to open it with.
    #[error(transparent)]
    Unlock(#[from] UnlockError),
    /// A keyring is there already.
    #[error("{} is there already. A keyring is never overwritten: units in the field depend on it", .0.display())]
    Exists(PathBuf),
    /// The passphrase or the identity does not open it.
    #[error(
        "the keyring does not open: the passphrase or identity is not the one it was sealed for, or the file is damaged. Try again, or take the back-up"
    )]
    WrongSecret,
    /// It was sealed with a passphrase.
    #[error("this keyring is sealed with a passphrase, and an identity was given. Give the passphrase")]
    NeedsPassphrase,
    /// It was sealed for identities.
    #[error("this keyring is sealed for age identities, and a passphrase was given. Name an identity file")]
    NeedsIdentity,
    /// It takes more work to open than is accepted.
    #[error(
        "this keyring asks for 2^{required} scrypt steps, more than 2^{most}: it was not made by this program. Take the back-up"
    )]
    TooMuchWork {
        /// Power of two that the file asks for.
        required: u8,
        /// Power of two that is accepted.
        most: u8,
    },
    /// The age file is damaged.
    #[error("the keyring file is damaged: {0}. Take the back-up")]
    DamagedFile(String),
    /// The content is not what this program writes.
    #[error("the keyring opens, but line {line} of its content is not as it should be ({what}). Take the back-up")]
    DamagedContent {
        /// Line of the decrypted text, counted from 1.
        line: usize,
        /// The key or table that it is about.
        what: String,
    },
    /// Encrypting failed.
    #[error("the keyring cannot be sealed: {0}")]
    Seal(String),
    /// A text that is no age recipient.
    #[error("{0:?} is not an age recipient; those begin with age1")]
    NotARecipient(String),
    /// The system's random numbers fail.
    #[error("the system gives no random numbers ({0}); no key can be made on it")]
    NoRandomness(String),
    /// A generation's identifier is not fit to be one.
    #[error("{0:?} cannot name a generation: use 1 to 8 letters a-z, digits or hyphens")]
    BadGenerationId(String),
    /// The generation is there already.
    #[error("the generation {0} is there already. Choose another name: a key that units have is never replaced")]
    GenerationExists(String),
    /// There is no such generation.
    #[error("the keyring has no generation {id}; it has {known}")]
    NoGeneration {
        /// The generation asked for.
        id: String,
        /// The generations that there are.
        known: String,
    },
    /// The generation is to be served and is retired.
    #[error("the generation {0} is retired, and the product file still serves it. Take it out of `serve`")]
    Retired(String),
    /// The last serving generation would be retired.
    #[error("{0} is the only generation still served: without it no unit could be updated. Add the next one first")]
    LastServing(String),
    /// The file has changed since it was opened.
    #[error("{} has changed since it was opened. Open it again, so that nobody's change is lost", .0.display())]
    ChangedMeanwhile(PathBuf),
    /// There is no HSS-LMS key.
    #[error("the keyring has no HSS-LMS key. Make one with `packstaff keys add-tree`")]
    NoTreeKey,
    /// There is an HSS-LMS key already.
    #[error("the keyring has the HSS-LMS key {0} already. A key that units trust is never replaced")]
    TreeKeyExists(String),
    /// The count of one-time keys cannot be kept.
    #[error(transparent)]
    OneTime(#[from] OneTimeError),
    /// What was written does not read back.
    #[error("{} does not read back as it was written; nothing was replaced. Check the disk", .0.display())]
    DoesNotReadBack(PathBuf),
}

impl Keyring {
    /// New keys: a signing key and the first generation's.
    fn generate(first_generation: &str, date: Date) -> Result<Self, KeyringError> {
        let seed = random_key()?;
        let mut keyring = Self {
            signing: SigningKey::from_bytes(&seed),
            signing_created: date,
            tree: None,
            generations: Vec::new(),
            recipients: Vec::new(),
        };
        keyring.add_generation(first_generation, date)?;
        Ok(keyring)
    }

    fn add_generation(&mut self, id: &str, created: Date) -> Result<(), KeyringError> {
        if !crate::is_generation_id(id) {
            return Err(KeyringError::BadGenerationId(id.to_owned()));
        }
        if self.generations.iter().any(|generation| generation.id == id) {
            return Err(KeyringError::GenerationExists(id.to_owned()));
        }
        let key = random_key()?;
        self.generations.push(UnitKeyEntry {
            id: id.to_owned(),
            created,
            state: GenerationState::Serving,
            key,
        });
        Ok(())
    }

    fn retire_generation(&mut self, id: &str) -> Result<(), KeyringError> {
        self.entry(id)?;
        let serving = |entry: &&UnitKeyEntry| entry.state == GenerationState::Serving && entry.id != id;
        if !self.generations.iter().any(|entry| serving(&entry)) {
            return Err(KeyringError::LastServing(id.to_owned()));
        }
        for generation in self.generations.iter_mut().filter(|generation| generation.id == id) {
            generation.state = GenerationState::Retired;
        }
        Ok(())
    }

    fn entry(&self, id: &str) -> Result<&UnitKeyEntry, KeyringError> {
        self.generations
            .iter()
            .find(|generation| generation.id == id)
            .ok_or_else(|| KeyringError::NoGeneration {
                id: id.to_owned(),
                known: self
                    .generations
                    .iter()
                    .map(|generation| generation.id.as_str())
                    .collect::<Vec<_>>()
                    .join(", "),
            })
    }

    /// What may be shown: fingerprints, dates and states.
    pub fn listing(&self) -> KeyringListing {
        let generations = self.generations.iter().map(|entry| GenerationListing {
            id: entry.id.clone(),
            created: entry.created,
            state: entry.state,
            fingerprint: unit_key_fingerprint(&entry.key),
        });
        KeyringListing {
            signer: signer_fingerprint(&self.public_key()),
            signer_created: self.signing_created,
            tree: self.tree.as_ref().map(TreeKey::listing),
            generations: generations.collect(),
            recipients: self.recipients.iter().map(ToString::to_string).collect(),
        }
    }

    /// Signs a message with Ed25519 (RFC 8032).
    pub fn sign(&self, message: &[u8]) -> [u8; 64] {
        self.signing.sign(message).to_bytes()
    }

    /// The public half of the signing key: what units trust.
    pub fn public_key(&self) -> [u8; 32] {
        self.signing.verifying_key().to_bytes()
    }

    /// The public half of the signing key as a PEM block (SubjectPublicKeyInfo, RFC 8410).
    ///
    /// # Errors
    /// None is known; the encoder has the right to fail.
    pub fn public_key_pem(&self) -> Result<String, KeyringError> {
        let pem = self.signing.verifying_key().to_public_key_pem(LineEnding::LF);
        pem.map_err(|error| KeyringError::Seal(error.to_string()))
    }

    /// The HSS-LMS key.
    ///
    /// # Errors
    /// There is none yet.
    pub fn tree_key(&self) -> Result<&TreeKey, KeyringError> {
        self.tree.as_ref().ok_or(KeyringError::NoTreeKey)
    }

    /// The signing key's identifier in update files.
    pub fn signer_kid(&self) -> [u8; FINGERPRINT_BYTES] {
        signer_kid(&self.public_key())
    }

    /// The unit key of a generation, serving or retired. Its key identifier in update files is the generation's
    /// identifier, as ASCII.
    ///
    /// # Errors
    /// There is no such generation.
    pub fn unit_key(&self, id: &str) -> Result<UnitKeyBytes, KeyringError> {
        Ok(self.entry(id)?.key.clone())
    }

    /// The keys for making update files that these generations can read, in the order given.
    ///
    /// # Errors
    /// One of them is not there, or retired.
    pub fn serving_keys(&self, ids: &[String]) -> Result<Vec<(String, UnitKeyBytes)>, KeyringError> {
        let serving = ids.iter().map(|id| match self.entry(id)? {
            UnitKeyEntry {
                state: GenerationState::Retired,
                ..
            } => Err(KeyringError::Retired(id.clone())),
            UnitKeyEntry { key, .. } => Ok((id.clone(), key.clone())),
        });
        serving.collect()
    }

    /// Whether both hold the same keys and states.
    fn holds_the_same_as(&self, other: &Self) -> bool {
        self.signing == other.signing
            && self.signing_created == other.signing_created
            && self.tree == other.tree
            && self.generations == other.generations
            && self.recipients == other.recipients
    }
}

/// Shows what [`Keyring::listing`] shows and nothing else.
impl fmt::Debug for Keyring {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Keyring").field(&self.listing()).finish()
    }
}

fn random_key() -> Result<UnitKeyBytes, KeyringError> {
    let mut key = Zeroizing::new([0; 32]);
    fill_randomly(key.as_mut_slice())?;
    Ok(key)
}

fn fill_randomly(bytes: &mut [u8]) -> Result<(), KeyringError> {
    getrandom::fill(bytes).map_err(|error| KeyringError::NoRandomness(error.to_string()))
}
