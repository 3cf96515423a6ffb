//! Signing with one tree of one-time keys, on the host.
//!
//! **Each leaf may sign one message, ever**: whoever has two signatures by one leaf can forge a third. This module does
//! not keep count; whoever calls it must, before it signs (RFC 8554, 9.2).
//!
//! One-time keys are derived from a seed as RFC 8554, appendix A, says. The randomizer of a signature is derived in the
//! same way under the number 0xFFFD, so that a leaf that signs the same message again gives the same signature; the
//! standard's own test case 2 is made like that, as a test shows.

use super::ots::{digit, step};
use super::tree::{inner_value, leaf_value};
use super::{HASH, ID, OtsKind, PUBLIC_KEY, Place, TreeKind};
use alloc::vec;
use alloc::vec::Vec;
use core::fmt;
use zeroize::Zeroize;

/// One-time keys in a branch: the part of a tree that is computed at a time. The smallest tree is one branch.
pub const BRANCH: u32 = 32;
/// Number of a derived value in place of a chain's: the randomizer.
const RANDOMIZER: u16 = 0xfffd;
/// Number of a step: a value derived from the seed (RFC 8554, appendix A).
const DERIVED: u8 = 0xff;

/// Nodes of one height, from left to right.
type Row = Vec<[u8; HASH]>;

/// The secret half of a tree.
#[derive(Clone)]
pub struct SecretTree {
    tree: TreeKind,
    ots: OtsKind,
    id: [u8; ID],
    seed: [u8; HASH],
}

/// The roots of a tree's branches, from left to right: nothing secret, and slow to compute.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Branches(Vec<[u8; HASH]>);

impl SecretTree {
    /// The tree with this identifier (16 random bytes) and seed (32 random bytes), both for this tree alone.
    pub const fn new(tree: TreeKind, ots: OtsKind, id: [u8; ID], seed: &[u8; HASH]) -> Self {
        Self {
            tree,
            ots,
            id,
            seed: *seed,
        }
    }

    /// How large it is.
    pub const fn tree(&self) -> TreeKind {
        self.tree
    }

    /// How its one-time keys sign.
    pub const fn ots(&self) -> OtsKind {
        self.ots
    }

    /// Its identifier (RFC 8554, 5.3: I).
    pub const fn id(&self) -> &[u8; ID] {
        &self.id
    }

    /// Its seed.
    pub const fn seed(&self) -> &[u8; HASH] {
        &self.seed
    }

    /// Number of branches.
    pub const fn branch_count(&self) -> u32 {
        self.tree.leaves() / BRANCH
    }

    /// The root of a branch, counted from 0 on the left. Branches do not depend on one another: compute them on as many
    /// cores as there are.
    pub fn branch(&self, index: u32) -> [u8; HASH] {
        top(&self.rows_of_branch(index))
    }

    /// The public key (RFC 8554, 6.1), with one level.
    pub fn public_key(&self, branches: &Branches) -> [u8; PUBLIC_KEY] {
        let root = top(&self.rows_above(branches));
        let mut key = [0; PUBLIC_KEY];
        let bytes = [1_u32, self.tree as u32, self.ots as u32].map(u32::to_be_bytes);
        let bytes = bytes.iter().flatten().chain(&self.id).chain(&root);
        key.iter_mut().zip(bytes).for_each(|(place, byte)| *place = *byte);
        key
    }

    /// Signs with a leaf, which must never have signed anything else (RFC 8554, 6.2, with one level).
    ///
    /// A leaf beyond the tree gives a signature that never holds.
    pub fn sign(&self, branches: &Branches, leaf: u32, message: &[u8]) -> Vec<u8> {
        let mut signature = vec![0; 4];
        signature.extend(self.tree_signature(branches, leaf, message));
        signature
    }

    /// An LMS signature (RFC 8554, 5.4.1).
    fn tree_signature(&self, branches: &Branches, leaf: u32, message: &[u8]) -> Vec<u8> {
        let mut out = Vec::with_capacity(self.ots.signature_len() + 8 + HASH * self.tree.height() as usize);
        out.extend(leaf.to_be_bytes());
        self.one_time_signature(leaf, message, &mut out);
        out.extend((self.tree as u32).to_be_bytes());
        self.path(branches, leaf).for_each(|sibling| out.extend(sibling));
        out
    }

    /// RFC 8554, 4.5, algorithm 3.
    fn one_time_signature(&self, leaf: u32, message: &[u8], out: &mut Vec<u8>) {
        let place = Place { id: &self.id, leaf };
        let randomizer = self.derived(&place, RANDOMIZER);
        out.extend((self.ots as u32).to_be_bytes());
        out.extend(randomizer);
        let coded = place.coded(self.ots, &randomizer, message);
        for chain in 0..self.ots.chains() as u16 {
            let digit = digit(self.ots, &coded, chain.into());
            let mut start = self.derived(&place, chain);
            out.extend(place.walk(chain, 0, digit, start));
            start.zeroize();
        }
    }

    /// The nodes beside the way from a leaf to the root.
    fn path(&self, branches: &Branches, leaf: u32) -> impl Iterator<Item = [u8; HASH]> {
        let (branch, in_branch) = (leaf / BRANCH, leaf % BRANCH);
        let below = siblings(self.rows_of_branch(branch), in_branch);
        below.chain(siblings(self.rows_above(branches), branch))
    }

    fn rows_of_branch(&self, index: u32) -> Vec<Row> {
        let first = index.wrapping_mul(BRANCH);
        let leaves = (0..BRANCH).map(|leaf| self.leaf(first.wrapping_add(leaf))).collect();
        self.rows(leaves, self.tree.leaves().wrapping_add(first))
    }

    fn rows_above(&self, branches: &Branches) -> Vec<Row> {
        self.rows(branches.0.clone(), self.branch_count())
    }

    /// The rows from this one, whose first node has the number `first`, up to the one node above them all.
    fn rows(&self, lowest: Row, first: u32) -> Vec<Row> {
        let mut rows = vec![lowest];
        let mut first = first;
        while let Some(row) = rows.last().filter(|row| row.len() > 1) {
            first /= 2;
            let (pairs, _) = row.as_chunks::<2>();
            let above = pairs.iter().zip(first..);
            let above = above.map(|([left, right], number)| inner_value(&self.id, number, left, right));
            rows.push(above.collect());
        }
        rows
    }

    fn leaf(&self, leaf: u32) -> [u8; HASH] {
        let place = Place { id: &self.id, leaf };
        let ends = (0..self.ots.chains() as u16).map(|chain| {
            let mut start = self.derived(&place, chain);
            let end = place.walk(chain, 0, self.ots.last(), start);
            start.zeroize();
            end
        });
        let key = place.public_key(ends);
        leaf_value(&self.id, self.tree.leaves().wrapping_add(leaf), &key)
    }

    /// A secret value of a one-time key (RFC 8554, appendix A): H(I || u32str(q) || u16str(i) || u8str(0xff) || SEED).
    fn derived(&self, place: &Place<'_>, number: u16) -> [u8; HASH] {
        let mut block = place.block(number);
        let value = step(&mut block, DERIVED, &self.seed);
        block.zeroize();
        value
    }
}

impl Branches {
    /// These roots, computed by [`SecretTree::branch`]; `None` unless there are as many as the tree has branches.
    pub fn of(tree: &SecretTree, roots: Vec<[u8; HASH]>) -> Option<Self> {
        (roots.len() == tree.branch_count() as usize).then_some(Self(roots))
    }

    /// The roots.
    pub fn roots(&self) -> &[[u8; HASH]] {
        &self.0
    }
}

fn top(rows: &[Row]) -> [u8; HASH] {
    rows.last().and_then(|row| row.first()).copied().unwrap_or_default()
}

/// Of each row but the last, the node beside the one that leads to `index` in the lowest.
fn siblings(rows: Vec<Row>, index: u32) -> impl Iterator<Item = [u8; HASH]> {
    let rows = rows.into_iter().filter(|row| row.len() > 1).zip(0..);
    rows.map(move |(row, height)| {
        let beside = (index.wrapping_shr(height) ^ 1) as usize;
        row.get(beside).copied().unwrap_or_default()
    })
}

impl PartialEq for SecretTree {
    fn eq(&self, other: &Self) -> bool {
        let public = self.tree == other.tree && self.ots == other.ots && self.id == other.id;
        public && crate::same_digest(&self.seed, &other.seed)
    }
}

impl Eq for SecretTree {}

impl fmt::Debug for SecretTree {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SecretTree({:?}, {:?}, secret)", self.tree, self.ots)
    }
}

impl Drop for SecretTree {
    fn drop(&mut self) {
        self.seed.zeroize();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hss::holds;
    use hex_literal::hex;

    fn branches(tree: &SecretTree) -> Branches {
        Branches::of(tree, (0..tree.branch_count()).map(|index| tree.branch(index)).collect()).unwrap()
    }

    fn field(name: &str) -> Vec<u8> {
        let fields = include_str!("../../tests/vectors/rfc-8554.txt");
        let line = fields
            .lines()
            .find_map(|line| line.strip_prefix(name)?.strip_prefix(" = "));
        hex::decode(line.unwrap()).unwrap()
    }

    /// RFC 8554, appendix F, test case 2: the seeds and identifiers are from memory, and give the public keys of the test
    /// case; no others do. The signature comes out byte for byte.
    #[test]
    fn the_standards_second_signature_is_made_again() {
        let upper = SecretTree::new(
            TreeKind::H10,
            OtsKind::W4,
            hex!("d08fabd4a2091ff0a8cb4ed834e74534"),
            &hex!("558b8966c48ae9cb898b423c83443aae014a72f1b1ab5cc85cf1d892903b5439"),
        );
        let lower = SecretTree::new(
            TreeKind::H5,
            OtsKind::W8,
            hex!("215f83b7ccb9acbcd08db97b0d04dc2b"),
            &hex!("a1c4696e2608035a886100d05cd99945eb3370731884a8235e2fb3d4d71f2547"),
        );
        let (above, below) = (branches(&upper), branches(&lower));
        let mut key = upper.public_key(&above);
        key[3] = 2;
        assert_eq!(key.to_vec(), field("public_key_2"));
        let signed_key = &lower.public_key(&below)[4..];
        let signature = [
            &[0, 0, 0, 1],
            &*upper.tree_signature(&above, 3, signed_key),
            signed_key,
            &lower.tree_signature(&below, 4, &field("message_2")),
        ]
        .concat();
        assert!(signature == field("signature_2"));
    }

    #[test]
    fn every_set_signs_and_every_leaf_differs() {
        for ots in OtsKind::ALL {
            let tree = SecretTree::new(TreeKind::H5, ots, [7; 16], &[9; 32]);
            let above = branches(&tree);
            let key = tree.public_key(&above);
            let signatures: Vec<_> = [0, 1, 30, 31].map(|leaf| tree.sign(&above, leaf, b"a message")).into();
            for signature in &signatures {
                assert!(holds(&key, b"a message", signature));
                assert!(!holds(&key, b"another", signature));
            }
            assert!(signatures.windows(2).all(|pair| pair[0][8..] != pair[1][8..]));
            assert!(!holds(&key, b"a message", &tree.sign(&above, 32, b"a message")));
        }
    }

    #[test]
    fn the_seed_is_not_shown() {
        let tree = SecretTree::new(TreeKind::H5, OtsKind::W8, [7; 16], &[0xab; 32]);
        assert_eq!(format!("{tree:?}"), "SecretTree(H5, W8, secret)");
    }
}
