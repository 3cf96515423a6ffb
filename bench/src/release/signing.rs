//! Who signs a release's update files.

use super::ReleaseError;
use crate::open::{Bench, kid};
use crate::progress::{Progress, Step};
use packstaff_envelope::hss::sign::Branches;
use packstaff_envelope::{Algorithm, Signer};
use packstaff_product::keyring::{OneTimeCount, OneTimeError, TreeKey};
use packstaff_product::{Keyring, KeyringFile, SignatureKind};

/// A maker should look once less than one signature in this many is left.
const FEW: u32 = 8;

/// How many files the HSS-LMS key can still sign. Each update file that is made takes one of its one-time keys, a dry run's too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SignaturesLeft {
    /// One-time keys that are not used.
    pub left: u32,
    /// One-time keys in all.
    pub capacity: u32,
}

impl SignaturesLeft {
    /// The number below which they are few: an eighth of all.
    pub const fn few(self) -> u32 {
        self.capacity / FEW
    }

    /// Whether it is time to build new units with another key.
    pub const fn are_few(self) -> bool {
        self.left < self.few()
    }
}

/// Everything that signing needs, looked at before anything is signed.
pub(super) struct Signing<'a> {
    keys: Vec<Key<'a>>,
}

enum Key<'a> {
    Ed25519(&'a Keyring),
    HssLms(Box<Tree<'a>>),
}

struct Tree<'a> {
    key: &'a TreeKey,
    branches: Branches,
    count: OneTimeCount,
    recorded: Option<u32>,
}

impl<'a> Signing<'a> {
    /// Gets ready to sign this many files, with every kind of signature that served units demand.
    ///
    /// # Errors
    /// The keyring lacks a key, or the HSS-LMS key has not enough signatures left, or its count has gone back.
    pub(super) fn ready(
        bench: &Bench,
        keyring: &'a KeyringFile,
        files: usize,
        progress: &dyn Progress,
    ) -> Result<Self, ReleaseError> {
        // No one-time key is looked for where nothing is signed.
        let kinds = bench.product.keys.signatures().into_iter().filter(|_| files > 0);
        let keys = kinds.map(|kind| match kind {
            SignatureKind::Ed25519 => Ok(Key::Ed25519(keyring.keyring())),
            SignatureKind::HssLms => Ok(Key::HssLms(Box::new(Tree::ready(bench, keyring, files, progress)?))),
        });
        Ok(Self {
            keys: keys.collect::<Result<_, ReleaseError>>()?,
        })
    }

    /// The signers of one file. The HSS-LMS key's next one-time key is used up by this, whatever becomes of the file.
    ///
    /// # Errors
    /// No one-time key can be had.
    pub(super) fn signers(&self) -> Result<Vec<Signer<'_>>, ReleaseError> {
        self.keys.iter().map(Key::signer).collect()
    }

    /// What is left of the HSS-LMS key, if that signs.
    ///
    /// # Errors
    /// The count cannot be read.
    pub(super) fn left(&self) -> Result<Option<SignaturesLeft>, ReleaseError> {
        let tree = self.keys.iter().find_map(|key| match key {
            Key::HssLms(tree) => Some(tree),
            Key::Ed25519(_) => None,
        });
        let Some(tree) = tree else { return Ok(None) };
        Ok(Some(SignaturesLeft {
            left: tree.count.left(tree.recorded)?,
            capacity: tree.key.capacity(),
        }))
    }
}

impl Key<'_> {
    fn signer(&self) -> Result<Signer<'_>, ReleaseError> {
        match self {
            Self::Ed25519(keyring) => {
                let sign = |bytes: &[u8]| keyring.sign(bytes).to_vec();
                Ok(Signer::new(kid(&keyring.signer_kid())?, Algorithm::Ed25519, sign))
            }
            Self::HssLms(tree) => {
                let one_time = tree.count.reserve(tree.recorded)?;
                let sign = |bytes: &[u8]| tree.key.sign(&tree.branches, one_time, bytes);
                Ok(Signer::new(kid(&tree.key.kid())?, Algorithm::HssLms, sign))
            }
        }
    }
}

impl<'a> Tree<'a> {
    fn ready(
        bench: &Bench,
        keyring: &'a KeyringFile,
        files: usize,
        progress: &dyn Progress,
    ) -> Result<Self, ReleaseError> {
        let key = keyring.keyring().tree_key().map_err(ReleaseError::NoTreeKey)?;
        let (count, recorded) = bench.one_time_count(keyring)?;
        let left = count.left(recorded)?;
        let wanted = u32::try_from(files).unwrap_or(u32::MAX);
        if left < wanted {
            let capacity = key.capacity();
            return Err(OneTimeError::Exhausted { left, capacity, wanted }.into());
        }
        let say = |done: u32, all: u32| progress.at(&Step::ComputingTree { done, all });
        let branches = key.branches(keyring.path(), &say).map_err(ReleaseError::Tree)?;
        Ok(Self {
            key,
            branches,
            count,
            recorded,
        })
    }
}
