//! How the secret that opens a keyring reaches the program: never on a command line, where every process can read it.

use age::secrecy::{ExposeSecret, SecretString};
use std::fmt;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use thiserror::Error;
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

/// Asks a person for a passphrase.
pub type Prompt = Box<dyn FnMut(Purpose) -> io::Result<SecretString>>;

/// Where the secret that opens a keyring comes from.
///
/// A text from `Fd` or `Env` that begins like an age identity (`AGE-SECRET-KEY-1`) is used as one; every other is a
/// passphrase.
pub enum Unlock {
    /// A person is asked for a passphrase.
    Prompt(Prompt),
    /// The first line of what an open file descriptor gives. Unix only.
    Fd(u32),
    /// The value of an environment variable. Convenient in automation; processes of the same user can read it.
    Env(String),
    /// A file of age identities, one a line, with comments after `#`.
    IdentityFile(PathBuf),
}

impl fmt::Debug for Unlock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Prompt(_) => f.write_str("Prompt"),
            Self::Fd(number) => f.debug_tuple("Fd").field(number).finish(),
            Self::Env(name) => f.debug_tuple("Env").field(name).finish(),
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
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum UnlockError {
    /// The prompt failed.
    #[error(
        "no passphrase could be asked for: {0}. Where nobody can type, use an identity file, a variable or a descriptor"
    )]
    Prompt(#[source] io::Error),
    /// The source cannot be read.
    #[error("the secret cannot be read from {origin}: {error}")]
    Unreadable {
        /// The source.
        origin: String,
        /// What the system said.
        #[source]
        error: io::Error,
    },
    /// The environment variable is not set, or not text.
    #[error("the environment variable {0} is not set to a text. Set it, or name another source")]
    NoVariable(String),
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
            Self::Prompt(prompt) => {
                let passphrase = prompt(purpose).map_err(UnlockError::Prompt)?;
                if passphrase.expose_secret().is_empty() {
                    return Err(UnlockError::Empty("the prompt".to_owned()));
                }
                Secret::Passphrase(passphrase)
            }
            Self::Fd(number) => {
                let text = read_secret(Path::new(&format!("/dev/fd/{number}")))?;
                secret_text(text.lines().next().unwrap_or_default(), &format!("descriptor {number}"))?
            }
            Self::Env(name) => {
                let text = std::env::var(&*name).map_err(|_| UnlockError::NoVariable(name.clone()))?;
                let text = Zeroizing::new(text);
                secret_text(text.trim_end_matches(['\r', '\n']), &format!("the variable {name}"))?
            }
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

fn secret_text(text: &str, origin: &str) -> Result<Secret, UnlockError> {
    if text.is_empty() {
        return Err(UnlockError::Empty(origin.to_owned()));
    }
    if text.starts_with(IDENTITY_PREFIX) {
        return Ok(Secret::Identities(identities(text, origin)?));
    }
    Ok(Secret::Passphrase(SecretString::from(text.to_owned())))
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

/// Reads a secret into memory that is wiped. The room is taken at once, because a buffer that grows leaves copies.
fn read_secret(path: &Path) -> Result<Zeroizing<String>, UnlockError> {
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
