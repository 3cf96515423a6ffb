//! Where the secret that opens a keyring comes from: a terminal, an environment variable or an open file descriptor. Never the
//! command line, where every process can read it.

use crate::args::Secret;
use age::secrecy::SecretString;
use packstaff_product::Unlock;
use packstaff_product::keyring::{Purpose, UnlockError, read_secret};
use std::io;
use std::path::Path;
use thiserror::Error;
use zeroize::Zeroizing;

/// Why a source gave no secret.
#[derive(Debug, Error)]
enum SourceError {
    /// Nobody could be asked.
    #[error(
        "no passphrase could be asked for: {0}. Where nobody can type, use an identity file, a variable or a descriptor"
    )]
    Prompt(#[source] io::Error),
    /// The environment variable is not set, or not text.
    #[error("the environment variable {0} is not set to a text. Set it, or name another source")]
    NoVariable(String),
}

impl From<SourceError> for UnlockError {
    fn from(error: SourceError) -> Self {
        Self::Source(Box::new(error))
    }
}

impl Secret {
    /// Where the keyring's secret comes from: a prompt unless an option says otherwise.
    pub(crate) fn unlock(&self) -> Unlock {
        if let Some(path) = &self.identity {
            return Unlock::IdentityFile(path.clone());
        }
        if let Some(number) = self.passphrase_fd {
            return Unlock::Text {
                origin: format!("descriptor {number}"),
                source: Box::new(move |_| descriptor(number)),
            };
        }
        if let Some(name) = self.passphrase_env.clone() {
            return Unlock::Text {
                origin: format!("the variable {name}"),
                source: Box::new(move |_| Ok(variable(&name)?)),
            };
        }
        Unlock::Passphrase(Box::new(|purpose| Ok(prompt(purpose).map_err(SourceError::Prompt)?)))
    }
}

/// The first line of what an open file descriptor gives. Unix only.
fn descriptor(number: u32) -> Result<SecretString, UnlockError> {
    let text = read_secret(Path::new(&format!("/dev/fd/{number}")))?;
    Ok(SecretString::from(text.lines().next().unwrap_or_default().to_owned()))
}

/// The value of an environment variable. Convenient in automation; processes of the same user can read it.
fn variable(name: &str) -> Result<SecretString, SourceError> {
    let text = std::env::var(name).map_err(|_| SourceError::NoVariable(name.to_owned()))?;
    let text = Zeroizing::new(text);
    Ok(SecretString::from(text.trim_end_matches(['\r', '\n']).to_owned()))
}

/// Asks a person, and for a new keyring twice.
fn prompt(purpose: Purpose) -> io::Result<SecretString> {
    let first = Zeroizing::new(rpassword::prompt_password("Passphrase of the keyring: ")?);
    if purpose == Purpose::Create && Zeroizing::new(rpassword::prompt_password("The same once more: ")?) != first {
        return Err(io::Error::other("the two are not the same"));
    }
    Ok(SecretString::from(first.to_string()))
}
