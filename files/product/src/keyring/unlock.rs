//! How the secret that opens a keyring reaches the program: never on a command line, where every process can read it.

use age::secrecy::{ExposeSecret, SecretString};
use std::error::Error;
use std::fmt;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use zeroize::Zeroizing;

/// Longest secret text that is read, in bytes.
const LONGEST_SECRET: usize = 64 << 10;
/// Fewest characters of a passphrase for a new keyring. Common practice; opening asks for nothing.
pub const SHORTEST_NEW_PASSPHRASE: usize = 12;
const IDENTITY_PREFIX: &str = "AGE-SECRET-KEY-1";

/// What a secret is wanted for, so that a prompt can say it, and ask twice where that is wise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// To open a keyring that is there.
    Open,
    /// To seal a new one: a slip of the finger would lock it for ever.
    Create,
}

/// Gives a text when a secret is wanted: asks a person, or looks where the caller was told to.
pub type Source = Box<dyn FnMut(Purpose) -> Result<SecretString, UnlockError>>;

/// Where the secret that opens a keyring comes from. Nothing is fetched before it is needed, and nothing here looks at an
/// environment or a terminal: sources that do are the caller's.
pub enum Unlock {
    /// A passphrase, whatever it looks like.
    Passphrase(Source),
    /// A passphrase; or an age identity, if the text begins like one (`AGE-SECRET-KEY-1`).
    Text {
        /// What to call the source in messages, such as `descriptor 3`.
        origin: String,
        /// Gives the text.
        source: Source,
    },
    /// A file of age identities, one a line, with comments after `#`.
    IdentityFile(PathBuf),
}

impl fmt::Debug for Unlock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Passphrase(_) => f.write_str("Passphrase"),
            Self::Text { origin, .. } => f.debug_tuple("Text").field(origin).finish(),
            Self::IdentityFile(path) => f.debug_tuple("IdentityFile").field(path).finish(),
        }
    }
}

/// The secret that opens a keyring.
#[derive(Clone)]
pub(crate) enum Secret {
    Passphrase(SecretString),
    Identities(Vec<age::x25519::Identity>),
}

/// Why there is no secret to open a keyring with.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum UnlockError {
    /// A source of the caller's gave nothing.
    #[error("{0}")]
    Source(#[source] Box<dyn Error + Send + Sync>),
    /// A file cannot be read.
    #[error("the secret cannot be read from {origin}: {error}")]
    Unreadable {
        /// The source.
        origin: String,
        /// What the system said.
        #[source]
        error: io::Error,
    },
    /// The source gave nothing.
    #[error("the secret from {0} is empty")]
    Empty(String),
    /// A line that is no identity.
    #[error(
        "line {line} of {origin} is not an age identity. Identities begin with {IDENTITY_PREFIX} and comments with #"
    )]
    NotAnIdentity {
        /// The source.
        origin: String,
        /// The line, counted from 1.
        line: usize,
    },
    /// A passphrase too short to seal a new keyring with.
    #[error(
        "a passphrase of {found} characters is too short for a keyring: use at least {SHORTEST_NEW_PASSPHRASE}, for example five or six random words"
    )]
    TooShort {
        /// Characters found.
        found: usize,
    },
}

impl Unlock {
    /// Fetches the secret.
    pub(crate) fn fetch(&mut self, purpose: Purpose) -> Result<Secret, UnlockError> {
        let secret = match self {
            Self::Passphrase(source) => {
                let passphrase = source(purpose)?;
                if passphrase.expose_secret().is_empty() {
                    return Err(UnlockError::Empty("the prompt".to_owned()));
                }
                Secret::Passphrase(passphrase)
            }
            Self::Text { origin, source } => secret_text(&source(purpose)?, origin)?,
            Self::IdentityFile(path) => {
                let text = read_secret(path)?;
                Secret::Identities(identities(&text, &path.display().to_string())?)
            }
        };
        match &secret {
            Secret::Passphrase(passphrase) if purpose == Purpose::Create => {
                let found = passphrase.expose_secret().chars().count();
                if found < SHORTEST_NEW_PASSPHRASE {
                    return Err(UnlockError::TooShort { found });
                }
            }
            _ => {}
        }
        Ok(secret)
    }
}

fn secret_text(secret: &SecretString, origin: &str) -> Result<Secret, UnlockError> {
    let text = secret.expose_secret();
    if text.is_empty() {
        return Err(UnlockError::Empty(origin.to_owned()));
    }
    if text.starts_with(IDENTITY_PREFIX) {
        return Ok(Secret::Identities(identities(text, origin)?));
    }
    Ok(Secret::Passphrase(secret.clone()))
}

fn identities(text: &str, origin: &str) -> Result<Vec<age::x25519::Identity>, UnlockError> {
    let mut found = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let not_an_identity = |_| UnlockError::NotAnIdentity {
            origin: origin.to_owned(),
            line: index + 1,
        };
        found.push(line.parse().map_err(not_an_identity)?);
    }
    if found.is_empty() {
        return Err(UnlockError::Empty(origin.to_owned()));
    }
    Ok(found)
}

/// Reads a secret, of at most 64 KiB, into memory that is wiped. The room is taken at once, because a buffer that grows leaves
/// copies.
///
/// # Errors
/// It cannot be read, is too long, or is not text.
pub fn read_secret(path: &Path) -> Result<Zeroizing<String>, UnlockError> {
    let unreadable = |error| UnlockError::Unreadable {
        origin: path.display().to_string(),
        error,
    };
    let mut bytes = Zeroizing::new(Vec::with_capacity(LONGEST_SECRET + 1));
    let file = std::fs::File::open(path).map_err(unreadable)?;
    file.take(LONGEST_SECRET as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    if bytes.len() > LONGEST_SECRET {
        return Err(unreadable(io::Error::new(
            io::ErrorKind::FileTooLarge,
            "it is too long for a secret",
        )));
    }
    match std::str::from_utf8(&bytes) {
        Ok(text) => Ok(Zeroizing::new(text.to_owned())),
        Err(_) => Err(unreadable(io::Error::new(io::ErrorKind::InvalidData, "it is not text"))),
    }
}
