//! HSS-LMS: signatures that rest on SHA-256 alone (RFC 8554), and so stand against a quantum computer too.
//!
//! The parameter sets are those of RFC 8554 with SHA-256: trees of height 5 to 25 ([`TreeKind`]), digits of 1, 2, 4 or 8
//! bits ([`OtsKind`]). Signatures of up to [`LEVELS_MAX`] levels are checked.
//!
//! Checking reads the signature once from its first byte to its last, keeps about 300 bytes beside it, and does a bounded
//! number of compressions: at most 34 · 255 + 30 a level with digits of 8 bits, half of that on average.

mod ots;
#[cfg(feature = "alloc")]
pub mod sign;
mod tree;

pub use ots::OtsKind;
pub use tree::TreeKind;

use ots::Place;
use tree::TreeKey;

/// Most levels of trees that are checked. RFC 8554, 6, allows eight; each costs a unit more than a kilobyte of memory.
pub const LEVELS_MAX: u32 = 2;
/// Bytes of a digest, a node and a chain's element: n and m of RFC 8554.
pub const HASH: usize = 32;
/// Bytes of a tree's identifier (RFC 8554, 5.3: I).
pub const ID: usize = 16;
/// Bytes of an LMS public key (RFC 8554, 5.3): two types, the identifier, the root.
const TREE_KEY: usize = 8 + ID + HASH;
/// Bytes of an HSS public key (RFC 8554, 6.1): the number of levels, and the key of the topmost tree.
pub const PUBLIC_KEY: usize = 4 + TREE_KEY;

/// Whether the signature over the message holds under an HSS public key (RFC 8554, 6.3).
///
/// `false` also for keys and signatures that are not well-formed, of other parameter sets, or of more than
/// [`LEVELS_MAX`] levels.
pub fn holds(key: &[u8; PUBLIC_KEY], message: &[u8], signature: &[u8]) -> bool {
    check(key, message, signature).is_some()
}

/// `Some` if the signature holds.
fn check(key: &[u8; PUBLIC_KEY], message: &[u8], signature: &[u8]) -> Option<()> {
    let mut key = Reader(key);
    let levels = key.number()?;
    if !(1..=LEVELS_MAX).contains(&levels) {
        return None;
    }
    let mut tree = TreeKey::read(key.take(TREE_KEY)?)?;
    let mut signature = Reader(signature);
    let signed_keys = signature.number()?;
    if signed_keys.checked_add(1) != Some(levels) {
        return None;
    }
    for _ in 0..signed_keys {
        let own = signature.take(tree.signature_len())?;
        let next = signature.take(TREE_KEY)?;
        tree.check(next, own)?;
        tree = TreeKey::read(next)?;
    }
    tree.check(message, signature.rest())
}

/// The number of the one-time key in a signature of one level, as it is stated: for people and for records.
///
/// `None` for signatures of more levels, whose one-time keys have no number of their own.
#[cfg(feature = "alloc")]
pub fn stated_leaf(signature: &[u8]) -> Option<u32> {
    let mut signature = Reader(signature);
    match signature.number()? {
        0 => signature.number(),
        _ => None,
    }
}

/// Bytes that are taken from the front.
struct Reader<'a>(&'a [u8]);

impl<'a> Reader<'a> {
    fn take(&mut self, len: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(len)?;
        self.0 = rest;
        Some(taken)
    }

    /// A number of 32 bits (RFC 8554, 3.1.1: u32str).
    fn number(&mut self) -> Option<u32> {
        let (bytes, rest) = self.0.split_first_chunk::<4>()?;
        self.0 = rest;
        Some(u32::from_be_bytes(*bytes))
    }

    fn array<const N: usize>(&mut self) -> Option<&'a [u8; N]> {
        let (bytes, rest) = self.0.split_first_chunk::<N>()?;
        self.0 = rest;
        Some(bytes)
    }

    const fn rest(&self) -> &'a [u8] {
        self.0
    }
}
