//! The HSS-LMS signing key: a tree of one-time keys (RFC 8554).

use super::one_time::OneTimeKey;
use super::{FINGERPRINT_BYTES, KeyringError, fill_randomly, random_key, signer_fingerprint, signer_kid};
use crate::whole_file::{Access, read_bounded, write_whole};
use packstaff_document::Date;
use packstaff_document::{Entry, Section};
use packstaff_envelope::hss::PUBLIC_KEY;
use packstaff_envelope::hss::sign::{Branches, SecretTree};
use std::fmt::Write;
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use zeroize::Zeroizing;

pub use packstaff_envelope::hss::{OtsKind, TreeKind};

/// The trees that a key can be made with. One of height 25 would take hours to make, and no maker signs that often.
const TREES: &[(&str, TreeKind)] = &[
    ("LMS_SHA256_M32_H5", TreeKind::H5),
    ("LMS_SHA256_M32_H10", TreeKind::H10),
    ("LMS_SHA256_M32_H15", TreeKind::H15),
    ("LMS_SHA256_M32_H20", TreeKind::H20),
];
/// The widths of digits whose signatures fit a unit's memory.
const WIDTHS: &[(&str, OtsKind)] = &[
    ("LMOTS_SHA256_N32_W4", OtsKind::W4),
    ("LMOTS_SHA256_N32_W8", OtsKind::W8),
];
const ALGORITHM: &str = "HSS-LMS";

/// An HSS-LMS key. Only [`OneTimeKey`]s sign with it, and those come from a count that never goes back.
#[derive(Clone, PartialEq, Eq)]
pub struct TreeKey {
    created: Date,
    secret: SecretTree,
    public: [u8; PUBLIC_KEY],
}

/// What may be shown of an HSS-LMS key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TreeKeyListing {
    /// Its fingerprint.
    pub fingerprint: String,
    /// The day it was made.
    pub created: Date,
    /// How many signatures it can make in all.
    pub capacity: u32,
    /// Its tree, by its name in RFC 8554.
    pub tree: &'static str,
    /// Its one-time keys, by their name in RFC 8554.
    pub one_time: &'static str,
}

impl TreeKey {
    pub(super) const KEYS: &[&str] = &[
        "algorithm",
        "created",
        "tree",
        "one_time",
        "identifier",
        "seed",
        "public",
    ];

    /// A new key, and the roots of its branches.
    pub(super) fn generate(
        tree: TreeKind,
        ots: OtsKind,
        created: Date,
        progress: &(dyn Fn(u32, u32) + Sync),
    ) -> Result<(Self, Branches), KeyringError> {
        let mut id = [0; 16];
        fill_randomly(&mut id)?;
        let secret = SecretTree::new(tree, ots, id, &*random_key()?);
        let branches = compute_branches(&secret, progress)?;
        let public = secret.public_key(&branches);
        Ok((
            Self {
                created,
                secret,
                public,
            },
            branches,
        ))
    }

    /// What may be shown.
    pub fn listing(&self) -> TreeKeyListing {
        TreeKeyListing {
            fingerprint: signer_fingerprint(&self.public),
            created: self.created,
            capacity: self.capacity(),
            tree: word(TREES, self.secret.tree()),
            one_time: word(WIDTHS, self.secret.ots()),
        }
    }

    /// The public key, 60 bytes (RFC 8554, 6.1): what units trust.
    pub const fn public_key(&self) -> &[u8; PUBLIC_KEY] {
        &self.public
    }

    /// Its identifier in update files.
    pub fn kid(&self) -> [u8; FINGERPRINT_BYTES] {
        signer_kid(&self.public)
    }

    /// How many signatures it can make in all.
    pub const fn capacity(&self) -> u32 {
        self.secret.tree().leaves()
    }

    /// The public key as a COSE_Key (RFC 8778, 4): `{1: 5, 3: -46, -1: public key}`.
    pub fn cose_key(&self) -> Vec<u8> {
        let head = [0xa3, 0x01, 0x05, 0x03, 0x38, 0x2d, 0x20, 0x58, PUBLIC_KEY as u8];
        [&head, self.public.as_slice()].concat()
    }

    /// Signs a message, and uses the one-time key up. `branches` are those of [`TreeKey::branches`].
    pub fn sign(&self, branches: &Branches, key: OneTimeKey, message: &[u8]) -> Vec<u8> {
        self.secret.sign(branches, key.number(), message)
    }

    /// The roots of the tree's branches, which signing needs: from the file beside the keyring, or computed anew and kept
    /// there. Nothing in them is secret, and they are compared with the public key.
    ///
    /// # Errors
    /// They give another public key than the keyring has, which must not be signed with; or they cannot be written.
    pub fn branches(&self, keyring: &Path, progress: &(dyn Fn(u32, u32) + Sync)) -> Result<Branches, KeyringError> {
        if let Some(kept) = self.kept_branches(keyring) {
            return Ok(kept);
        }
        let branches = compute_branches(&self.secret, progress)?;
        if self.secret.public_key(&branches) != self.public {
            return Err(KeyringError::DamagedContent {
                line: 1,
                what: "public".to_owned(),
            });
        }
        self.keep_branches(keyring, &branches)?;
        Ok(branches)
    }

    fn kept_branches(&self, keyring: &Path) -> Option<Branches> {
        let roots = self.secret.branch_count() as usize;
        let bytes = read_bounded(&branches_path(keyring), roots.checked_mul(32)?).ok()?;
        let (roots, rest) = bytes.as_chunks::<32>();
        let branches = Branches::of(&self.secret, roots.to_vec()).filter(|_| rest.is_empty())?;
        (self.secret.public_key(&branches) == self.public).then_some(branches)
    }

    pub(super) fn keep_branches(&self, keyring: &Path, branches: &Branches) -> Result<(), KeyringError> {
        let path = branches_path(keyring);
        Ok(write_whole(&path, branches.roots().as_flattened(), Access::Shared)?)
    }

    /// The `[tree]` table of a keyring. `out` has room for it, so that the seed is not moved about.
    pub(super) fn write(&self, out: &mut String) {
        let seed = Zeroizing::new(hex::encode(self.secret.seed()));
        let listing = self.listing();
        // Writing to a String cannot fail.
        let _ = writeln!(out, "\n[tree]\nalgorithm = \"{ALGORITHM}\"\ncreated = {}", self.created);
        let _ = writeln!(out, "tree = \"{}\"\none_time = \"{}\"", listing.tree, listing.one_time);
        let _ = writeln!(out, "identifier = \"{}\"", hex::encode(self.secret.id()));
        let _ = writeln!(out, "seed = \"{}\"\npublic = \"{}\"", *seed, hex::encode(self.public));
    }

    pub(super) fn read(section: &Section<'_, '_>) -> Option<Self> {
        section.value("algorithm")?.word(&[(ALGORITHM, ())])?;
        let created = section.value("created")?.date()?;
        let tree = section.value("tree")?.word(TREES)?;
        let ots = section.value("one_time")?.word(WIDTHS)?;
        let id = digits(&section.value("identifier")?)?;
        let seed = Zeroizing::new(digits::<32>(&section.value("seed")?)?);
        let entry = section.value("public")?;
        let public: [u8; PUBLIC_KEY] = digits(&entry)?;
        let secret = SecretTree::new(tree, ots, id, &seed);
        // The root takes long to compute; it is checked when something is signed. The rest must agree at once.
        let start = [1, tree as u32, ots as u32].map(u32::to_be_bytes);
        let expected = start.as_flattened().iter().chain(&id);
        if !public.iter().take(28).eq(expected) {
            return entry.refuse("the public key of this tree", "");
        }
        Some(Self {
            created,
            secret,
            public,
        })
    }

    #[cfg(test)]
    pub(super) fn sample() -> Self {
        let date = Date::new(2026, 1, 7).unwrap();
        Self::generate(TreeKind::H5, OtsKind::W4, date, &|_, _| ()).unwrap().0
    }
}

/// Where the branches' roots are kept.
fn branches_path(keyring: &Path) -> PathBuf {
    super::one_time::beside(keyring, ".branches")
}

fn word<T: PartialEq + Copy>(words: &[(&'static str, T)], value: T) -> &'static str {
    let found = words.iter().find(|(_, other)| *other == value);
    found.map_or("", |(word, _)| word)
}

fn digits<const N: usize>(entry: &Entry<'_, '_>) -> Option<[u8; N]> {
    let mut bytes = [0; N];
    match hex::decode_to_slice(entry.raw_text()?, &mut bytes) {
        Ok(()) => Some(bytes),
        Err(_) => entry.refuse(format!("{} hexadecimal digits", 2 * N), ""),
    }
}

/// Computes all branches, on all cores.
fn compute_branches(secret: &SecretTree, progress: &(dyn Fn(u32, u32) + Sync)) -> Result<Branches, KeyringError> {
    let count = secret.branch_count();
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    let (next, done) = (AtomicU32::new(0), AtomicU32::new(0));
    let mut roots = vec![[0; 32]; count as usize];
    let parts = std::thread::scope(|scope| {
        let work = || {
            let mut own = Vec::new();
            loop {
                let index = next.fetch_add(1, Ordering::Relaxed);
                if index >= count {
                    return own;
                }
                own.push((index, secret.branch(index)));
                progress(done.fetch_add(1, Ordering::Relaxed) + 1, count);
            }
        };
        let workers: Vec<_> = (0..cores).map(|_| scope.spawn(work)).collect();
        let parts: Vec<_> = workers.into_iter().map(|worker| worker.join().ok()).collect();
        parts
    });
    let complete = parts.iter().all(Option::is_some);
    for (index, root) in parts.into_iter().flatten().flatten() {
        if let Some(place) = roots.get_mut(index as usize) {
            *place = root;
        }
    }
    let branches = Branches::of(secret, roots).filter(|_| complete);
    branches.ok_or_else(|| KeyringError::Seal("the tree could not be computed".to_owned()))
}
