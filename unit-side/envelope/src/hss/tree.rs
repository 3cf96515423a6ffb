//! LMS: a tree of one-time keys under one root (RFC 8554, 5).

use super::ots::node_digest;
use super::{HASH, ID, OtsKind, Place, Reader};
use crate::sha256::same_digest;

/// Marks the digest of a leaf (RFC 8554, 7.1: D_LEAF).
pub(super) const D_LEAF: [u8; 2] = [0x82, 0x82];
/// Marks the digest of an inner node (RFC 8554, 7.1: D_INTR).
pub(super) const D_INNER: [u8; 2] = [0x83, 0x83];

/// An LMS parameter set with SHA-256 and nodes of 32 bytes (RFC 8554, 5.1, table 2).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum TreeKind {
    /// 32 one-time keys: LMS_SHA256_M32_H5.
    H5 = 5,
    /// 1024 one-time keys: LMS_SHA256_M32_H10.
    H10 = 6,
    /// 32 768 one-time keys: LMS_SHA256_M32_H15.
    H15 = 7,
    /// 1 048 576 one-time keys: LMS_SHA256_M32_H20.
    H20 = 8,
    /// 33 554 432 one-time keys: LMS_SHA256_M32_H25.
    H25 = 9,
}

impl TreeKind {
    /// All of them, the smallest first.
    pub const ALL: [Self; 5] = [Self::H5, Self::H10, Self::H15, Self::H20, Self::H25];

    /// The kind with this number of RFC 8554's registry (8).
    pub const fn from_type(number: u32) -> Option<Self> {
        match number {
            5 => Some(Self::H5),
            6 => Some(Self::H10),
            7 => Some(Self::H15),
            8 => Some(Self::H20),
            9 => Some(Self::H25),
            _ => None,
        }
    }

    /// Levels between a leaf and the root (h): 5, 10, 15, 20 or 25.
    pub const fn height(self) -> u32 {
        (self as u32).wrapping_sub(4).wrapping_mul(5)
    }

    /// Number of one-time keys: 2^h.
    pub const fn leaves(self) -> u32 {
        1_u32.wrapping_shl(self.height())
    }

    const fn path_len(self) -> usize {
        HASH.wrapping_mul(self.height() as usize)
    }
}

/// A tree's public key (RFC 8554, 5.3).
pub(super) struct TreeKey<'a> {
    tree: TreeKind,
    ots: OtsKind,
    id: &'a [u8; ID],
    root: &'a [u8; HASH],
}

impl<'a> TreeKey<'a> {
    pub(super) fn read(bytes: &'a [u8]) -> Option<Self> {
        let mut bytes = Reader(bytes);
        let tree = TreeKind::from_type(bytes.number()?)?;
        let ots = OtsKind::from_type(bytes.number()?)?;
        let (id, root) = (bytes.array()?, bytes.array()?);
        bytes.rest().is_empty().then_some(Self { tree, ots, id, root })
    }

    /// Bytes of a signature by this key (RFC 8554, 5.4): leaf, one-time signature, type, path.
    pub(super) const fn signature_len(&self) -> usize {
        let path = self.tree.path_len();
        self.ots.signature_len().wrapping_add(path).wrapping_add(8)
    }

    /// `Some` if the signature over the message holds (RFC 8554, 5.4.2, algorithm 6).
    pub(super) fn check(&self, message: &[u8], signature: &[u8]) -> Option<()> {
        let mut signature = Reader(signature);
        let leaf = signature.number()?;
        let one_time = signature.take(self.ots.signature_len())?;
        if TreeKind::from_type(signature.number()?)? != self.tree || leaf >= self.tree.leaves() {
            return None;
        }
        let (path, rest) = signature.rest().as_chunks::<HASH>();
        if path.len() != self.tree.height() as usize || !rest.is_empty() {
            return None;
        }
        let place = Place { id: self.id, leaf };
        let key = place.candidate(self.ots, message, one_time)?;
        let mut node = self.tree.leaves().wrapping_add(leaf);
        let mut value = leaf_value(self.id, node, &key);
        for sibling in path {
            let right = node & 1 == 1;
            node >>= 1;
            value = match right {
                true => inner_value(self.id, node, sibling, &value),
                false => inner_value(self.id, node, &value, sibling),
            };
        }
        same_digest(&value, self.root).then_some(())
    }
}

/// A leaf's value (RFC 8554, 5.3).
pub(super) fn leaf_value(id: &[u8; ID], node: u32, key: &[u8; HASH]) -> [u8; HASH] {
    let mut digest = node_digest(id, node, D_LEAF);
    digest.update(key);
    digest.finish()
}

/// An inner node's value, from those of the two nodes below it (RFC 8554, 5.3).
pub(super) fn inner_value(id: &[u8; ID], node: u32, left: &[u8; HASH], right: &[u8; HASH]) -> [u8; HASH] {
    let mut digest = node_digest(id, node, D_INNER);
    digest.update(left);
    digest.update(right);
    digest.finish()
}
