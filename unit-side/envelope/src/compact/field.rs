//! Integers modulo p = 2^255 - 19 (RFC 7748, 4.1), in eight words of 32 bits. Between operations a value may be anything below
//! 2^256; only its bytes are the least. Time depends on the values: nothing secret is ever computed with here.

/// Words of an element.
const WORDS: usize = 8;
/// 2^256 modulo p.
const FOLD: u32 = 38;

/// An element.
#[derive(Clone, Copy)]
pub(super) struct Field([u32; WORDS]);

/// What [`Field::power`] raises to: exponents of a run of one bits, but for the lowest eight.
pub(super) struct Exponent {
    bits: u8,
    low: u8,
}

/// p - 2: for inverses.
pub(super) const INVERSE: Exponent = Exponent { bits: 255, low: 0xeb };
/// (p - 5) / 8: for square roots (RFC 8032, 5.1.3).
pub(super) const ROOT: Exponent = Exponent { bits: 252, low: 0xfd };

/// Adds word × more to row; what goes beyond it. Written out: half of a verification's time is spent here.
#[inline(never)]
fn add_row(word: u32, more: &[u32; WORDS], row: &mut [u32; WORDS]) -> u32 {
    let mut carry = 0;
    let mut add = |place: &mut u32, more: u32| {
        // At most (2^32 - 1)^2 + 2 (2^32 - 1) = 2^64 - 1.
        let sum = u64::from(word)
            .wrapping_mul(u64::from(more))
            .wrapping_add(u64::from(*place))
            .wrapping_add(u64::from(carry));
        *place = sum as u32;
        carry = (sum >> 32) as u32;
    };
    let [a, b, c, d, e, f, g, h] = row;
    let [i, j, k, l, m, n, o, p] = more;
    add(a, *i);
    add(b, *j);
    add(c, *k);
    add(d, *l);
    add(e, *m);
    add(f, *n);
    add(g, *o);
    add(h, *p);
    carry
}

impl Field {
    pub(super) const ZERO: Self = Self([0; WORDS]);
    pub(super) const ONE: Self = Self([1, 0, 0, 0, 0, 0, 0, 0]);

    /// From words, the lowest first.
    pub(super) const fn new(words: [u32; WORDS]) -> Self {
        Self(words)
    }

    /// From 32 bytes, the lowest first; the highest bit does not count.
    pub(super) fn from_bytes(bytes: &[u8; 32]) -> Self {
        let mut words = super::scalar::words(bytes);
        if let Some(top) = words.last_mut() {
            *top &= 0x7fff_ffff;
        }
        Self(words)
    }

    /// Takes in what went beyond 256 bits, or was borrowed from there.
    fn fold(mut self, over: i64) -> Self {
        let mut over = over;
        // The first round can go beyond once more, by one; after it the value is so near to an end that the second cannot. So
        // there are two at most.
        while over != 0 {
            let mut carry = over * i64::from(FOLD);
            for word in &mut self.0 {
                carry += i64::from(*word);
                *word = carry as u32;
                carry >>= 32;
            }
            over = carry;
        }
        self
    }

    /// self + sign × other, for a sign of 1 or -1.
    #[inline(never)]
    fn combine(mut self, other: &Self, sign: i64) -> Self {
        let mut carry = 0;
        for (word, more) in self.0.iter_mut().zip(&other.0) {
            carry += i64::from(*word) + sign * i64::from(*more);
            *word = carry as u32;
            carry >>= 32;
        }
        self.fold(carry)
    }

    pub(super) fn add(self, other: &Self) -> Self {
        self.combine(other, 1)
    }

    pub(super) fn sub(self, other: &Self) -> Self {
        self.combine(other, -1)
    }

    #[inline(never)]
    pub(super) fn mul(self, other: &Self) -> Self {
        let mut product = [0_u32; 2 * WORDS];
        let mut places = product.as_mut_slice();
        for word in &self.0 {
            let Some((row, above)) = places.split_first_chunk_mut::<WORDS>() else {
                break;
            };
            let carry = add_row(*word, &other.0, row);
            if let Some(top) = above.first_mut() {
                *top = carry;
            }
            places = places.split_first_mut().map_or(&mut [], |(_, higher)| higher);
        }
        let mut out = Self::ZERO;
        let (low, high) = product.split_at(WORDS);
        if let (Some(low), Some(high)) = (low.first_chunk(), high.first_chunk()) {
            out.0 = *low;
            let carry = add_row(FOLD, high, &mut out.0);
            out = out.fold(i64::from(carry));
        }
        out
    }

    pub(super) fn square(self) -> Self {
        self.mul(&self)
    }

    #[inline(never)]
    pub(super) fn power(self, exponent: &Exponent) -> Self {
        let mut out = Self::ONE;
        for bit in (0..exponent.bits).rev() {
            out = out.square();
            if bit >= 8 || (exponent.low >> bit) & 1 == 1 {
                out = out.mul(&self);
            }
        }
        out
    }

    /// The least value's bytes, the lowest first.
    pub(super) fn to_bytes(self) -> [u8; 32] {
        let mut least = self;
        // Adding 19 for the bit at 255, three times: twice the value comes below 2^255, and the third takes p away, if it is
        // still there, by adding 19 and leaving the bit out.
        for round in 0..3 {
            let top = least.0.last().copied().unwrap_or_default() >> 31;
            let mut words = least;
            if let Some(top) = words.0.last_mut() {
                *top &= 0x7fff_ffff;
            }
            let mut carry = match round {
                2 => 19,
                _ => i64::from(top) * 19,
            };
            for word in &mut words.0 {
                carry += i64::from(*word);
                *word = carry as u32;
                carry >>= 32;
            }
            let over = words.0.last().copied().unwrap_or_default() >> 31 == 1;
            if round < 2 || over {
                least = words;
            }
        }
        if let Some(top) = least.0.last_mut() {
            *top &= 0x7fff_ffff;
        }
        let mut out = [0; 32];
        for (place, word) in out.as_chunks_mut::<4>().0.iter_mut().zip(&least.0) {
            *place = word.to_le_bytes();
        }
        out
    }

    pub(super) fn is(self, other: &Self) -> bool {
        self.to_bytes() == other.to_bytes()
    }

    pub(super) fn is_zero(self) -> bool {
        self.is(&Self::ZERO)
    }

    /// The sign of an encoded point: the lowest bit of the least value.
    pub(super) fn is_odd(self) -> bool {
        self.to_bytes().first().is_some_and(|byte| byte & 1 == 1)
    }
}
