//! Maps from sums: what is a sum already need not be hashed once more.

use std::collections::{HashMap, HashSet};
use std::hash::{BuildHasherDefault, Hasher};

pub(crate) type SumMap<T> = HashMap<u128, T, BuildHasherDefault<SumHasher>>;
pub(crate) type SumSet = HashSet<u128, BuildHasherDefault<SumHasher>>;

/// Folds a sum into 64 bits. The multiplier (2^64 divided by the golden ratio, Knuth's multiplicative hashing) spreads sums that are
/// small numbers.
#[derive(Clone, Copy, Default)]
pub(crate) struct SumHasher(u64);

const SPREAD: u64 = 0x9e37_79b9_7f4a_7c15;

impl Hasher for SumHasher {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.write_u128(u128::from(*byte));
        }
    }

    fn write_u128(&mut self, sum: u128) {
        let folded = (sum as u64) ^ ((sum >> 64) as u64);
        self.0 = (self.0 ^ folded).wrapping_mul(SPREAD).rotate_left(32);
    }
}
