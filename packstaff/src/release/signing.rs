//! Who signs a release's update files.

use crate::progress::Progress;
use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::{Bench, kid};
use packstaff_envelope::hss::sign::Branches;
use packstaff_envelope::{Algorithm, Signer};
use packstaff_product::keyring::{OneTimeCount, OneTimeError, TreeKey};
use packstaff_product::{Keyring, KeyringFile, SignatureKind};
use packstaff_words::report::{Cell, Verdict};

/// A report asks the maker to look once less than one signature in this many is left.
const FEW: u32 = 8;

/// Everything that signing needs, looked at before anything is signed.
pub(super) struct Signing<'a> {
    keyring: &'a Keyring,
    kinds: Vec<SignatureKind>,
    tree: Option<Tree<'a>>,
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
    pub(super) fn ready(bench: &Bench, keyring: &'a KeyringFile, files: usize, progress: &Progress) -> Result<Self> {
        let kinds = bench.product.keys.signatures();
        let needs_tree = files > 0 && kinds.contains(&SignatureKind::HssLms);
        let tree = needs_tree
            .then(|| Tree::ready(bench, keyring, files, progress))
            .transpose()?;
        let keyring = keyring.keyring();
        Ok(Self { keyring, kinds, tree })
    }

    /// The signers of one file. The HSS-LMS key's next one-time key is used up by this, whatever becomes of the file.
    ///
    /// # Errors
    /// No one-time key can be had.
    pub(super) fn signers(&self) -> Result<Vec<Signer<'_>>> {
        self.kinds.iter().map(|kind| self.signer(*kind)).collect()
    }

    fn signer(&self, kind: SignatureKind) -> Result<Signer<'_>> {
        match (kind, &self.tree) {
            (SignatureKind::Ed25519, _) => {
                let keyring = self.keyring;
                let sign = |bytes: &[u8]| keyring.sign(bytes).to_vec();
                Ok(Signer::new(
                    kid(&keyring.signer_kid()).told()?,
                    Algorithm::Ed25519,
                    sign,
                ))
            }
            (SignatureKind::HssLms, Some(tree)) => {
                let one_time = tree.count.reserve(tree.recorded).into_diagnostic()?;
                let sign = |bytes: &[u8]| tree.key.sign(&tree.branches, one_time, bytes);
                Ok(Signer::new(kid(&tree.key.kid()).told()?, Algorithm::HssLms, sign))
            }
            (SignatureKind::HssLms, None) => Err(miette::miette!("the HSS-LMS key was not made ready")),
        }
    }

    /// What the report says about the HSS-LMS key, if that signs.
    ///
    /// # Errors
    /// The count cannot be read.
    pub(super) fn left(&self) -> Result<Option<Cell>> {
        let Some(tree) = &self.tree else { return Ok(None) };
        let left = tree.count.left(tree.recorded).into_diagnostic()?;
        let capacity = tree.key.capacity();
        let cell = Cell::pass(format!("{left} of {capacity}"));
        if left >= capacity / FEW {
            return Ok(Some(cell));
        }
        Ok(Some(Cell {
            verdict: Verdict::Warn,
            expected: format!("{} or more", capacity / FEW),
            explanation: "Each update file that is made takes one, a dry run's too. Units that trust this key alone can get no more updates once there is none: build new units with another key in time.".to_owned(),
            ..cell
        }))
    }
}

impl<'a> Tree<'a> {
    fn ready(bench: &Bench, keyring: &'a KeyringFile, files: usize, progress: &Progress) -> Result<Self> {
        let key = keyring
            .keyring()
            .tree_key()
            .into_diagnostic()
            .wrap_err("product.toml has units that trust HSS-LMS signatures")?;
        let (count, recorded) = bench.one_time_count(keyring).told()?;
        let left = count.left(recorded).into_diagnostic()?;
        let wanted = u32::try_from(files).unwrap_or(u32::MAX);
        if left < wanted {
            let capacity = key.capacity();
            return Err(OneTimeError::Exhausted { left, capacity, wanted }).into_diagnostic();
        }
        let say = |done: u32, all: u32| progress.say(&format!("computing the HSS-LMS key's tree, {done} of {all}"));
        let branches = key.branches(keyring.path(), &say).into_diagnostic()?;
        Ok(Self {
            key,
            branches,
            count,
            recorded,
        })
    }
}
