//! The keyring on disk: made, opened, changed and backed up.

use super::sealing::{LARGEST_KEYRING, Seal, open, seal};
use super::unlock::{Purpose, Secret, Unlock};
use super::{Keyring, KeyringError, OneTimeCount, OtsKind, TreeKey, TreeKind, plain};
use crate::whole_file::{Access, read_bounded, write_new, write_whole};
use packstaff_document::Date;
use std::io;
use std::path::{Path, PathBuf};

/// A keyring and the file it came from. Every change is on the disk when its call returns.
pub struct KeyringFile {
    path: PathBuf,
    keyring: Keyring,
    secret: Secret,
    seal: Seal,
    /// The file as it was read or written last, to notice somebody else's change.
    on_disk: Vec<u8>,
}

/// What a new keyring is made with.
#[derive(Clone, Debug)]
pub struct NewKeyring {
    /// Today.
    pub date: Date,
    /// Identifier of the first generation of unit keys.
    pub first_generation: String,
    /// More age recipients (`age1...`) that shall be able to open it, such as an identity kept with the back-up. A
    /// keyring with a passphrase can have none: an age file has a passphrase or recipients.
    pub also_for: Vec<String>,
    /// Cost of trying a passphrase, as a power of two (scrypt's N); `None` takes about a second on this machine, which
    /// is what a keyring should have.
    pub scrypt_work: Option<u8>,
}

impl KeyringFile {
    /// Makes new keys and seals them for who unlocks: with the passphrase, or for the identities' recipients.
    ///
    /// # Errors
    /// There is such a file already, the secret cannot be had, or the system refuses. No file is left then.
    pub fn create(path: &Path, new: &NewKeyring, unlock: &mut Unlock) -> Result<Self, KeyringError> {
        if path.symlink_metadata().is_ok() {
            return Err(KeyringError::Exists(path.to_owned()));
        }
        let secret = unlock.fetch(Purpose::Create)?;
        let mut keyring = Keyring::generate(&new.first_generation, new.date)?;
        if let Secret::Identities(identities) = &secret {
            keyring.recipients = identities.iter().map(age::x25519::Identity::to_public).collect();
        }
        for text in &new.also_for {
            let recipient = text.parse().map_err(|_| KeyringError::NotARecipient(text.clone()))?;
            if !keyring.recipients.contains(&recipient) {
                keyring.recipients.push(recipient);
            }
        }
        if matches!(secret, Secret::Passphrase(_)) && !keyring.recipients.is_empty() {
            return Err(KeyringError::Seal(
                "an age file has either a passphrase or recipients. Use an identity instead of the passphrase"
                    .to_owned(),
            ));
        }
        let seal_for = seal_for(&secret, &keyring, new.scrypt_work);
        let on_disk = sealed_and_tried(path, &keyring, &secret, &seal_for)?;
        write_new(path, &on_disk, Access::Private).map_err(|refused| match refused.error.kind() {
            io::ErrorKind::AlreadyExists => KeyringError::Exists(path.to_owned()),
            _ => refused.into(),
        })?;
        Ok(Self {
            path: path.to_owned(),
            keyring,
            secret,
            seal: seal_for,
            on_disk,
        })
    }

    /// Opens a keyring, armored or binary.
    ///
    /// # Errors
    /// The file cannot be read, the secret does not open it, or its content is not a keyring's.
    pub fn open(path: &Path, unlock: &mut Unlock) -> Result<Self, KeyringError> {
        let on_disk = read_bounded(path, LARGEST_KEYRING)?;
        let secret = unlock.fetch(Purpose::Open)?;
        let mut keyring = plain::read(&open(&on_disk, &secret)?)?;
        match &secret {
            // Whoever opens it must still be able to after the next change, also if the file was sealed anew by hand.
            Secret::Identities(identities) => {
                let missing = identities.iter().map(age::x25519::Identity::to_public);
                let missing: Vec<_> = missing.filter(|own| !keyring.recipients.contains(own)).collect();
                if missing.len() == identities.len() {
                    keyring.recipients.extend(missing);
                }
            }
            Secret::Passphrase(_) => keyring.recipients.clear(),
        }
        let seal = seal_for(&secret, &keyring, None);
        Ok(Self {
            path: path.to_owned(),
            keyring,
            secret,
            seal,
            on_disk,
        })
    }

    /// The keys.
    pub const fn keyring(&self) -> &Keyring {
        &self.keyring
    }

    /// Where the file is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Makes the key of another generation of units.
    ///
    /// # Errors
    /// The identifier will not do or is taken, or the file cannot be replaced; nothing has changed then.
    pub fn add_generation(&mut self, id: &str, date: Date) -> Result<(), KeyringError> {
        self.change(|keyring| keyring.add_generation(id, date))
    }

    /// Makes an HSS-LMS key and the count of its one-time keys, in that order on the disk: first the count, then the key.
    /// `progress` is told how much of the work is done, out of how much.
    ///
    /// # Errors
    /// There is one already, or something cannot be written; the keyring has not changed then.
    pub fn add_tree_key(
        &mut self,
        tree: TreeKind,
        ots: OtsKind,
        date: Date,
        machine: &Path,
        progress: &(dyn Fn(u32, u32) + Sync),
    ) -> Result<(), KeyringError> {
        if let Some(there) = &self.keyring.tree {
            return Err(KeyringError::TreeKeyExists(there.listing().fingerprint));
        }
        let (key, branches) = TreeKey::generate(tree, ots, date, progress)?;
        OneTimeCount::of(&self.path, machine, &key).begin()?;
        key.keep_branches(&self.path, &branches)?;
        self.change(|keyring| {
            keyring.tree = Some(key);
            Ok(())
        })
    }

    /// The count of the HSS-LMS key's one-time keys. `machine` is a folder of this machine's own, outside of the product
    /// folder.
    ///
    /// # Errors
    /// The keyring has no such key.
    pub fn one_time_count(&self, machine: &Path) -> Result<OneTimeCount, KeyringError> {
        Ok(OneTimeCount::of(&self.path, machine, self.keyring.tree_key()?))
    }

    /// Ends a generation: no new file is made for its units. The key stays in the keyring.
    ///
    /// # Errors
    /// There is no such generation, it is the last one served, or the file cannot be replaced; nothing has changed then.
    pub fn retire_generation(&mut self, id: &str) -> Result<(), KeyringError> {
        self.change(|keyring| keyring.retire_generation(id))
    }

    fn change(&mut self, change: impl FnOnce(&mut Keyring) -> Result<(), KeyringError>) -> Result<(), KeyringError> {
        let mut changed = self.keyring.clone();
        change(&mut changed)?;
        let sealed = sealed_and_tried(&self.path, &changed, &self.secret, &self.seal)?;
        if read_bounded(&self.path, LARGEST_KEYRING)? != self.on_disk {
            return Err(KeyringError::ChangedMeanwhile(self.path.clone()));
        }
        write_whole(&self.path, &sealed, Access::Private)?;
        self.keyring = changed;
        self.on_disk = sealed;
        Ok(())
    }

    /// Copies the file to a place where nothing is yet, reads the copy back from there and opens it.
    ///
    /// # Errors
    /// Something is there already, the system refuses, or the copy does not open to the same keys.
    pub fn back_up(&self, to: &Path) -> Result<(), KeyringError> {
        let current = read_bounded(&self.path, LARGEST_KEYRING)?;
        if current != self.on_disk {
            return Err(KeyringError::ChangedMeanwhile(self.path.clone()));
        }
        write_new(to, &current, Access::Private).map_err(|refused| match refused.error.kind() {
            io::ErrorKind::AlreadyExists => KeyringError::Exists(to.to_owned()),
            _ => refused.into(),
        })?;
        let copy = read_bounded(to, LARGEST_KEYRING)?;
        let content = plain::read(&open(&copy, &self.secret)?)?;
        // The list of recipients is brought up to date when a keyring is opened; in the copy it is as it was sealed.
        let same = Keyring {
            recipients: self.keyring.recipients.clone(),
            ..content
        };
        if copy != current || !same.holds_the_same_as(&self.keyring) {
            return Err(KeyringError::DoesNotReadBack(to.to_owned()));
        }
        Ok(())
    }
}

/// Shows the path and what the keyring's own listing shows.
impl std::fmt::Debug for KeyringFile {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("KeyringFile")
            .field("path", &self.path)
            .field("keyring", &self.keyring)
            .finish_non_exhaustive()
    }
}

fn seal_for(secret: &Secret, keyring: &Keyring, work: Option<u8>) -> Seal {
    match secret {
        Secret::Passphrase(passphrase) => Seal::Passphrase {
            passphrase: passphrase.clone(),
            work,
        },
        Secret::Identities(_) => Seal::Recipients(keyring.recipients.clone()),
    }
}

/// The sealed bytes, opened once more: a keyring that does not open must never take the place of one that does.
fn sealed_and_tried(path: &Path, keyring: &Keyring, secret: &Secret, how: &Seal) -> Result<Vec<u8>, KeyringError> {
    let sealed = seal(plain::write(keyring)?.as_bytes(), how)?;
    match plain::read(&open(&sealed, secret)?) {
        Ok(again) if again.holds_the_same_as(keyring) => Ok(sealed),
        _ => Err(KeyringError::DoesNotReadBack(path.to_owned())),
    }
}
