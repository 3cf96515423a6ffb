//! The count of one-time keys that are used up, which must never go back.
//!
//! A one-time key that signs two messages lets anybody forge a third (RFC 8554, 9.2). So a key is counted as used **before**
//! it signs, and the count is on the disk before it is given out: under a lock that every process here waits for, both files
//! below are written anew, flushed, renamed over the old ones, and their folders flushed. Whatever is cut or killed in
//! between costs at most a number that nobody uses.
//!
//! The count is kept in three places, and the highest counts:
//!
//! - beside the keyring, in the product folder;
//! - on this machine, outside of the product folder: an older copy of the product folder does not bring it back;
//! - in the ledger, which says which one-time key signed each file: what went out was signed.
//!
//! Where they disagree so that a key might be used twice, nothing is signed: the ledger knows a key that no count has, or
//! one of the counts is not there.

use super::TreeKey;
use crate::product_file::FORMAT;
use crate::whole_file::{Access, FileError, read_bounded, write_whole};
use packstaff_document::DocumentError;
use packstaff_document::{Notes, Section, parse};
use std::ffi::OsString;
use std::fs::{File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use thiserror::Error;

const KEYS: &[&str] = &["format", "key", "next"];
/// Bytes of a count's file that are read at most.
const LARGEST: usize = 4096;

/// A one-time key that nobody else has been given, and nobody will be.
#[derive(Debug, PartialEq, Eq)]
pub struct OneTimeKey(u32);

impl OneTimeKey {
    /// Its number in the tree, from 0.
    pub const fn number(&self) -> u32 {
        self.0
    }
}

/// The steps of handing out a one-time key, in their order: for tests that end the process at each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReserveStep {
    /// Nothing has been done.
    Begun,
    /// Other processes have to wait.
    Locked,
    /// The counts are read, and the next number is known.
    Read,
    /// The count beside the keyring is on the disk.
    WrittenBesideKeyring,
    /// The count of this machine is on the disk.
    WrittenOnMachine,
}

/// Why no one-time key is given out.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum OneTimeError {
    /// The system refuses.
    #[error(transparent)]
    File(#[from] FileError),
    /// A count cannot be read.
    #[error("{error}\nNothing was signed. If the count is lost, run `packstaff keys skip`")]
    Document {
        /// What is wrong with it.
        error: Box<DocumentError>,
    },
    /// The count beside the keyring is not there.
    #[error(
        "{} is not there: it says which one-time keys are used up. Nothing was signed. If this keyring was restored or copied, run `packstaff keys skip` with a number that is safely more than the signatures made since", .0.display()
    )]
    CountMissing(PathBuf),
    /// This machine has never signed with this key.
    #[error(
        "this machine has not signed with the HSS-LMS key {key} before, so this product folder may be an older copy. Nothing was signed. If no other machine signs any more, run `packstaff keys skip` with a number that is safely more than the signatures that this copy may not know of"
    )]
    OtherMachine {
        /// The key's fingerprint.
        key: String,
    },
    /// The count is another key's.
    #[error("{} counts the one-time keys of {found}, and the keyring has {expected}. Nothing was signed. Put the right files together again", path.display())]
    OtherKey {
        /// The count's file.
        path: PathBuf,
        /// The key that it is for.
        found: String,
        /// The keyring's.
        expected: String,
    },
    /// The ledger knows more than the counts.
    #[error(
        "the ledger has a file signed with one-time key {recorded}, and the count says that {next} is the next one: the count has gone back. Nothing was signed. Run `packstaff keys skip` with a number that is safely more than the signatures made since"
    )]
    Behind {
        /// The highest one-time key in the ledger.
        recorded: u32,
        /// The next one by the counts.
        next: u32,
    },
    /// All are used up.
    #[error(
        "the HSS-LMS key has {left} of {capacity} signatures left, and {wanted} are needed. Units that trust it alone can get no more updates after them"
    )]
    Exhausted {
        /// Signatures that are left.
        left: u32,
        /// Signatures that it had in all.
        capacity: u32,
        /// Signatures needed.
        wanted: u32,
    },
}

/// The count of one key's one-time keys.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OneTimeCount {
    own: PathBuf,
    machine: PathBuf,
    key: String,
    capacity: u32,
}

impl OneTimeCount {
    pub(super) fn of(keyring: &Path, machine: &Path, key: &TreeKey) -> Self {
        Self {
            own: beside(keyring, ".used"),
            machine: machine.join(format!("{}.used", hex::encode(key.kid()))),
            key: key.listing().fingerprint,
            capacity: key.capacity(),
        }
    }

    /// Signatures that are left, if one could be made now. `recorded` is the highest one-time key in the ledger.
    ///
    /// # Errors
    /// Whatever would keep [`OneTimeCount::reserve`] from giving one out, except that all are used up.
    pub fn left(&self, recorded: Option<u32>) -> Result<u32, OneTimeError> {
        Ok(self.capacity.saturating_sub(self.next(recorded)?))
    }

    /// Counts a one-time key as used, on the disk, and then gives it out. `recorded` is the highest one in the ledger.
    ///
    /// # Errors
    /// See [`OneTimeError`]: nothing was given out.
    pub fn reserve(&self, recorded: Option<u32>) -> Result<OneTimeKey, OneTimeError> {
        self.reserve_watched(recorded, &mut |_| ())
    }

    /// Like [`OneTimeCount::reserve`], telling each step as it is reached.
    ///
    /// # Errors
    /// See [`OneTimeError`]: nothing was given out.
    pub fn reserve_watched(
        &self,
        recorded: Option<u32>,
        watch: &mut dyn FnMut(ReserveStep),
    ) -> Result<OneTimeKey, OneTimeError> {
        watch(ReserveStep::Begun);
        let _locks = self.lock()?;
        watch(ReserveStep::Locked);
        let number = self.next(recorded)?;
        if number >= self.capacity {
            return Err(OneTimeError::Exhausted {
                left: 0,
                capacity: self.capacity,
                wanted: 1,
            });
        }
        watch(ReserveStep::Read);
        let next = number.saturating_add(1);
        self.write(&self.own, next)?;
        watch(ReserveStep::WrittenBesideKeyring);
        self.write(&self.machine, next)?;
        watch(ReserveStep::WrittenOnMachine);
        Ok(OneTimeKey(number))
    }

    /// Counts `by` one-time keys more than are known of as used, and makes this machine one that signs. Gives the next
    /// number.
    ///
    /// # Errors
    /// The system refuses, or a count is not one of this key.
    pub fn skip(&self, recorded: Option<u32>, by: u32) -> Result<u32, OneTimeError> {
        let _locks = self.lock()?;
        let own = self.read(&self.own)?;
        let machine = self.read(&self.machine)?;
        let after_recorded = recorded.map(|number| number.saturating_add(1));
        let known = own.max(machine).max(after_recorded).unwrap_or(0);
        let next = known.saturating_add(by).min(self.capacity);
        self.write(&self.own, next)?;
        self.write(&self.machine, next)?;
        Ok(next)
    }

    /// The counts of a new key.
    pub(super) fn begin(&self) -> Result<(), OneTimeError> {
        let _locks = self.lock()?;
        self.write(&self.own, 0)?;
        self.write(&self.machine, 0)
    }

    fn next(&self, recorded: Option<u32>) -> Result<u32, OneTimeError> {
        let own = self.read(&self.own)?;
        let own = own.ok_or_else(|| OneTimeError::CountMissing(self.own.clone()))?;
        let machine = self.read(&self.machine)?;
        let machine = machine.ok_or_else(|| OneTimeError::OtherMachine { key: self.key.clone() })?;
        let next = own.max(machine);
        match recorded {
            Some(recorded) if recorded >= next => Err(OneTimeError::Behind { recorded, next }),
            _ => Ok(next),
        }
    }

    fn read(&self, path: &Path) -> Result<Option<u32>, OneTimeError> {
        let bytes = match read_bounded(path, LARGEST) {
            Err(refused) if refused.error.kind() == io::ErrorKind::NotFound => return Ok(None),
            bytes => bytes?,
        };
        let text = String::from_utf8_lossy(&bytes);
        let notes = Notes::new(&text);
        let count = parse(&notes).and_then(|root| {
            let root = Section::root(&notes, &root, KEYS);
            root.value("format").and_then(|entry| entry.format(FORMAT))?;
            let next = root.value("next")?.integer_u32(0..=u32::MAX)?;
            Some((root.value("key")?.text()?, next))
        });
        let name = path.display().to_string();
        let (found, next) = notes
            .finish(&name, count)
            .map_err(|error| OneTimeError::Document { error: Box::new(error) })?;
        if found != self.key {
            return Err(OneTimeError::OtherKey {
                path: path.to_owned(),
                found,
                expected: self.key.clone(),
            });
        }
        Ok(Some(next))
    }

    fn write(&self, path: &Path, next: u32) -> Result<(), OneTimeError> {
        let text = format!(
            "# One-time keys below `next` are used up. This must never go back: keep it out of back-ups and version control.\n\
             format = {FORMAT}\nkey = \"{}\"\nnext = {next}\n",
            self.key
        );
        Ok(write_whole(path, text.as_bytes(), Access::Private)?)
    }

    /// Waits until no other process counts, on this machine or, where the file system keeps locks between machines, on
    /// another.
    fn lock(&self) -> Result<[File; 2], OneTimeError> {
        if let Some(folder) = self.machine.parent() {
            std::fs::create_dir_all(folder).map_err(FileError::wrap("create", folder))?;
        }
        Ok([
            lock(&beside(&self.own, ".lock"))?,
            lock(&beside(&self.machine, ".lock"))?,
        ])
    }
}

/// Takes a lock that ends with the file's handle, also when the process is killed. The file stays: if it were removed, two
/// processes could hold locks on two files of that name.
fn lock(path: &Path) -> Result<File, FileError> {
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let file = options.open(path).map_err(FileError::wrap("open", path))?;
    file.lock().map_err(FileError::wrap("lock", path))?;
    Ok(file)
}

/// The same name with something behind it.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(ending);
    PathBuf::from(name)
}
