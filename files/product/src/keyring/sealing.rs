//! The age file around a keyring.

use super::KeyringError;
use super::unlock::Secret;
use age::armor::{ArmoredReader, ArmoredWriter, Format};
use std::io::{Read, Write};
use zeroize::Zeroizing;

/// Bytes of an age file, and of its content, that are read at most: a keyring has a few thousand.
pub(crate) const LARGEST_KEYRING: usize = 1 << 20;
/// The most scrypt work that opening accepts, as a power of two: about a minute and 4 GiB on a desktop computer. The
/// library's own limit depends on how busy the machine is at that moment, so a keyring might open only sometimes.
const MOST_WORK: u8 = 22;

/// For whom a keyring is sealed.
#[derive(Clone)]
pub(crate) enum Seal {
    /// For who knows the passphrase. `work` is the scrypt cost as a power of two; `None` takes about a second on this
    /// machine.
    Passphrase {
        passphrase: age::secrecy::SecretString,
        work: Option<u8>,
    },
    /// For the holders of these recipients' identities.
    Recipients(Vec<age::x25519::Recipient>),
}

/// Encrypts into an armored age file: text, which version control can keep.
pub(crate) fn seal(content: &[u8], seal: &Seal) -> Result<Vec<u8>, KeyringError> {
    let encryptor = match seal {
        Seal::Passphrase { passphrase, work } => {
            let mut recipient = age::scrypt::Recipient::new(passphrase.clone());
            if let Some(work) = work {
                recipient.set_work_factor((*work).clamp(1, MOST_WORK));
            }
            age::Encryptor::with_recipients(std::iter::once(&recipient as &dyn age::Recipient))
        }
        Seal::Recipients(recipients) => {
            age::Encryptor::with_recipients(recipients.iter().map(|recipient| recipient as &dyn age::Recipient))
        }
    };
    let encryptor = encryptor.map_err(|error| KeyringError::Seal(error.to_string()))?;
    let written = ArmoredWriter::wrap_output(Vec::new(), Format::AsciiArmor).and_then(|armored| {
        let mut writer = encryptor.wrap_output(armored)?;
        writer.write_all(content)?;
        writer.finish()?.finish()
    });
    written.map_err(|error| KeyringError::Seal(error.to_string()))
}

/// Decrypts an age file, armored or not.
pub(crate) fn open(sealed: &[u8], secret: &Secret) -> Result<Zeroizing<Vec<u8>>, KeyringError> {
    let decryptor = age::Decryptor::new_buffered(ArmoredReader::new(sealed)).map_err(why_not)?;
    let mut reader = match (secret, decryptor.is_scrypt()) {
        (Secret::Passphrase(passphrase), true) => {
            let mut identity = age::scrypt::Identity::new(passphrase.clone());
            identity.set_max_work_factor(MOST_WORK);
            decryptor.decrypt(std::iter::once(&identity as &dyn age::Identity))
        }
        (Secret::Identities(identities), false) => {
            decryptor.decrypt(identities.iter().map(|identity| identity as &dyn age::Identity))
        }
        (Secret::Passphrase(_), false) => return Err(KeyringError::NeedsIdentity),
        (Secret::Identities(_), true) => return Err(KeyringError::NeedsPassphrase),
    }
    .map_err(why_not)?;
    let mut content = Zeroizing::new(Vec::with_capacity(room_for(sealed.len())));
    let read = reader.by_ref().take(LARGEST_KEYRING as u64).read_to_end(&mut content);
    read.map_err(|error| why_not(error.into()))?;
    Ok(content)
}

/// The content is never longer than what seals it, so the buffer never grows and leaves no copies behind.
fn room_for(sealed: usize) -> usize {
    sealed.min(LARGEST_KEYRING) + 64
}

fn why_not(error: age::DecryptError) -> KeyringError {
    use age::DecryptError as E;
    match error {
        E::NoMatchingKeys | E::KeyDecryptionFailed | E::DecryptionFailed => KeyringError::WrongSecret,
        E::ExcessiveWork { required, .. } => KeyringError::TooMuchWork {
            required,
            most: MOST_WORK,
        },
        E::InvalidMac => KeyringError::DamagedFile("its header was changed".to_owned()),
        E::InvalidHeader | E::UnknownFormat => KeyringError::DamagedFile("it is not an age file".to_owned()),
        other => KeyringError::DamagedFile(other.to_string()),
    }
}
