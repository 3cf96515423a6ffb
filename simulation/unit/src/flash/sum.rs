//! Keyed 128-bit sums over cells: comparing two worlds costs one comparison, keeping the sum costs one hash a granule.

use super::Doubt;
use siphasher::sip128::{Hasher128, SipHasher13};
use std::hash::{Hash, Hasher};

/// The key of the sums.
///
/// Each granule that is not erased adds SipHash-1-3-128(key; address, bytes) modulo 2^128. Two given different contents
/// have the same sum with a chance of about 2^-128 over the choice of the key; among n worlds, some pair has with a chance
/// of about n^2 / 2^129: for a thousand million worlds less than 10^-20. The key is drawn afresh for each search unless
/// one is given, so no content can be built to collide.
#[derive(Clone, Copy)]
pub struct SumKey {
    first: u64,
    second: u64,
}

impl SumKey {
    /// A key from 16 bytes of randomness.
    pub fn new(seed: [u8; 16]) -> Self {
        let both = u128::from_le_bytes(seed);
        Self {
            first: both as u64,
            second: (both >> 64) as u64,
        }
    }

    /// A key that is the same in every run, for tests and for what must be repeatable.
    pub const fn fixed() -> Self {
        Self {
            first: 0x0706_0504_0302_0100,
            second: 0x0f0e_0d0c_0b0a_0908,
        }
    }

    /// A hash of anything hashable under this key.
    pub fn hash(&self, value: &impl Hash) -> u128 {
        let mut hasher = SipHasher13::new_with_keys(self.first, self.second);
        value.hash(&mut hasher);
        hasher.finish128().as_u128()
    }

    pub(super) fn cells(&self, address: u32, bytes: &[u8], cell: u32, erased: u8) -> u128 {
        let mut sum = 0_u128;
        let mut at = address;
        for bytes in bytes.chunks(cell as usize) {
            if bytes.iter().any(|byte| *byte != erased) {
                sum = sum.wrapping_add(self.cell(at, bytes));
            }
            at = at.wrapping_add(cell);
        }
        sum
    }

    pub(super) fn doubt(&self, doubt: &Doubt) -> u128 {
        self.hash(doubt)
    }
}

impl SumKey {
    fn cell(&self, address: u32, bytes: &[u8]) -> u128 {
        let mut hasher = SipHasher13::new_with_keys(self.first, self.second);
        hasher.write_u32(address);
        hasher.write(bytes);
        hasher.finish128().as_u128()
    }
}

impl std::fmt::Debug for SumKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("SumKey")
    }
}
