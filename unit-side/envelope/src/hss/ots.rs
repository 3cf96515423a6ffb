//! LM-OTS, the one-time signature (RFC 8554, 4): hash chains, one for each digit of a digest and of its checksum.

use super::{HASH, ID, Reader};
use crate::sha256::{Sha256, copy, pad_one_block, sha256_of_one_block};

/// Marks the digest of one-time public keys (RFC 8554, 7.1: D_PBLC).
const D_PUBLIC: [u8; 2] = [0x80, 0x80];
/// Marks the digest of messages (RFC 8554, 7.1: D_MESG).
const D_MESSAGE: [u8; 2] = [0x81, 0x81];
/// Bytes of a digest and of its checksum, which give the digits.
const CODED: usize = HASH + 2;

/// An LM-OTS parameter set with SHA-256 and digests of 32 bytes (RFC 8554, 4.1, table 1).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum OtsKind {
    /// Digits of 1 bit: LMOTS_SHA256_N32_W1.
    W1 = 1,
    /// Digits of 2 bits: LMOTS_SHA256_N32_W2.
    W2 = 2,
    /// Digits of 4 bits: LMOTS_SHA256_N32_W4.
    W4 = 3,
    /// Digits of 8 bits: LMOTS_SHA256_N32_W8.
    W8 = 4,
}

impl OtsKind {
    /// All of them, the largest signatures first.
    pub const ALL: [Self; 4] = [Self::W1, Self::W2, Self::W4, Self::W8];

    /// The kind with this number of RFC 8554's registry (8).
    pub const fn from_type(number: u32) -> Option<Self> {
        match number {
            1 => Some(Self::W1),
            2 => Some(Self::W2),
            3 => Some(Self::W4),
            4 => Some(Self::W8),
            _ => None,
        }
    }

    /// Bits of a digit (w): 1, 2, 4 or 8.
    pub const fn bits(self) -> u32 {
        1_u32.wrapping_shl((self as u32).wrapping_sub(1))
    }

    /// Number of chains: digits of a digest and of its checksum (p).
    pub const fn chains(self) -> usize {
        match self {
            Self::W1 => 265,
            Self::W2 => 133,
            Self::W4 => 67,
            Self::W8 => 34,
        }
    }

    /// Digits of a digest, without its checksum.
    const fn digits(self) -> u32 {
        512_u32.wrapping_shr(self as u32)
    }

    /// How far the checksum is shifted to the left (ls), where it is.
    const fn shift(self) -> u32 {
        8_u32.wrapping_sub(self.bits())
    }

    /// The greatest digit, which is also the number of steps of a whole chain.
    pub(super) const fn last(self) -> u8 {
        0xff_u8.wrapping_shr(self.shift())
    }

    /// Bytes of a signature: type, randomizer, one element of each chain (RFC 8554, 4.5).
    pub(super) const fn signature_len(self) -> usize {
        HASH.wrapping_mul(self.chains().wrapping_add(1)).wrapping_add(4)
    }
}

/// A one-time key's place: which tree, which leaf.
#[derive(Clone, Copy)]
pub(super) struct Place<'a> {
    pub(super) id: &'a [u8; ID],
    pub(super) leaf: u32,
}

impl Place<'_> {
    /// A digest that begins with this place.
    pub(super) fn digest(&self, mark: [u8; 2]) -> Sha256 {
        node_digest(self.id, self.leaf, mark)
    }

    /// A chain of this place: `value` is its element number `from`; gives element number `to`.
    pub(super) fn walk(&self, chain: u16, from: u8, to: u8, value: [u8; HASH]) -> [u8; HASH] {
        let mut block = self.block(chain);
        (from..to).fold(value, |value, number| step(&mut block, number, &value))
    }

    /// What is digested in each step of a chain (RFC 8554, 4.3): I || u32str(q) || u16str(i) || u8str(j) || tmp. Those are
    /// 55 bytes, so that a step is one compression.
    pub(super) fn block(&self, chain: u16) -> [u8; 64] {
        let mut block = [0; 64];
        let start = self.id.iter().copied().chain(self.leaf.to_be_bytes());
        let start = start.chain(chain.to_be_bytes());
        block.iter_mut().zip(start).for_each(|(place, byte)| *place = byte);
        pad_one_block(&mut block);
        block
    }

    /// The digest of a message as it is signed: Q of RFC 8554, 4.5, with its checksum (4.4).
    pub(super) fn coded(&self, kind: OtsKind, randomizer: &[u8; HASH], message: &[u8]) -> [u8; CODED] {
        let mut digest = self.digest(D_MESSAGE);
        digest.update(randomizer);
        digest.update(message);
        let digest = digest.finish();
        let mut coded = [0; CODED];
        copy(&mut coded, &digest);
        let mut sum = 0_u16;
        for index in 0..kind.digits() {
            sum = sum.wrapping_add(u16::from(kind.last().wrapping_sub(digit(kind, &coded, index))));
        }
        let sum = sum.wrapping_shl(kind.shift());
        copy(coded.get_mut(HASH..).unwrap_or_default(), &sum.to_be_bytes());
        coded
    }

    /// The digest of all chains' last elements: K of RFC 8554, 4.3 and 4.6.
    pub(super) fn public_key(&self, ends: impl Iterator<Item = [u8; HASH]>) -> [u8; HASH] {
        let mut digest = self.digest(D_PUBLIC);
        ends.for_each(|end| digest.update(&end));
        digest.finish()
    }

    /// The one-time public key under which a signature over the message would hold (RFC 8554, 4.6, algorithm 4b).
    ///
    /// `None` if the signature does not have the form of `kind`.
    pub(super) fn candidate(&self, kind: OtsKind, message: &[u8], signature: &[u8]) -> Option<[u8; HASH]> {
        let mut signature = Reader(signature);
        if OtsKind::from_type(signature.number()?)? != kind {
            return None;
        }
        let coded = self.coded(kind, signature.array()?, message);
        let (elements, rest) = signature.rest().as_chunks::<HASH>();
        if elements.len() != kind.chains() || !rest.is_empty() {
            return None;
        }
        let ends = elements.iter().zip(0_u16..).map(|(element, chain)| {
            let from = digit(kind, &coded, chain.into());
            self.walk(chain, from, kind.last(), *element)
        });
        Some(self.public_key(ends))
    }
}

/// One step in the block of a chain.
pub(super) fn step(block: &mut [u8; 64], number: u8, value: &[u8; HASH]) -> [u8; HASH] {
    copy(block.get_mut(22..23).unwrap_or_default(), &[number]);
    copy(block.get_mut(23..55).unwrap_or_default(), value);
    sha256_of_one_block(block)
}

/// A digest over an identifier, the number of a node or leaf, and a mark (RFC 8554, 3.1.1 and 5.3).
pub(super) fn node_digest(id: &[u8; ID], number: u32, mark: [u8; 2]) -> Sha256 {
    let mut digest = Sha256::new();
    digest.update(id);
    digest.update(&number.to_be_bytes());
    digest.update(&mark);
    digest
}

/// A digit, counted from the first byte's upper bits (RFC 8554, 3.1.3: coef).
pub(super) fn digit(kind: OtsKind, coded: &[u8; CODED], index: u32) -> u8 {
    let bit = index.wrapping_mul(kind.bits());
    let byte = coded.get(bit.wrapping_shr(3) as usize).copied().unwrap_or_default();
    byte.wrapping_shr(kind.shift().wrapping_sub(bit & 7)) & kind.last()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 8554, 3.1.3: the examples of coef for the string 0x1234 (values from memory).
    #[test]
    fn the_standards_examples_of_digits() {
        let mut coded = [0; CODED];
        copy(&mut coded, &[0x12, 0x34]);
        let digit = |kind, index| digit(kind, &coded, index);
        assert_eq!(digit(OtsKind::W1, 7), 0);
        assert_eq!(digit(OtsKind::W4, 0), 1);
    }

    /// RFC 8554, appendix B: p and ls follow from n and w.
    #[test]
    fn the_parameters_follow_from_the_formulas() {
        for kind in OtsKind::ALL {
            let bits = kind.bits();
            let of_digest = (8 * HASH as u32).div_ceil(bits);
            let greatest_sum = u32::from(kind.last()) * of_digest;
            let of_sum = (greatest_sum.ilog2() / bits) + 1;
            assert_eq!(kind.chains() as u32, of_digest + of_sum);
            assert_eq!(kind.shift(), 16 - of_sum * bits);
            assert_eq!(u32::from(kind.last()), (1 << bits) - 1);
        }
    }
}
