//! Integers modulo L, the order of the base point (RFC 8032, 5.1), in eight words of 32 bits, the lowest first.

/// L = 2^252 + 27742317777372353535851937790883648493.
const ORDER: [u32; 8] = [0x5cf5_d3ed, 0x5812_631a, 0xa2f7_9cd6, 0x14de_f9de, 0, 0, 0, 0x1000_0000];

/// Words from bytes.
pub(super) fn words(bytes: &[u8; 32]) -> [u32; 8] {
    let mut out = [0; 8];
    for (place, bytes) in out.iter_mut().zip(bytes.as_chunks::<4>().0) {
        *place = u32::from_le_bytes(*bytes);
    }
    out
}

/// Takes L away once, where there is at least that much.
fn less_order(words: [u32; 8]) -> Option<[u32; 8]> {
    let mut less = words;
    let mut borrow = 0_i64;
    for (place, order) in less.iter_mut().zip(&ORDER) {
        borrow += i64::from(*place) - i64::from(*order);
        *place = borrow as u32;
        borrow >>= 32;
    }
    (borrow == 0).then_some(less)
}

/// Whether the bytes are a number below L, as the second half of a signature must be (RFC 8032, 5.1.7, 1).
pub(super) fn is_least(words: &[u32; 8]) -> bool {
    less_order(*words).is_none()
}

/// 64 bytes modulo L, a bit at a time: half a thousand short rounds are little beside the curve.
pub(super) fn reduce(bytes: &[u8; 64]) -> [u32; 8] {
    let mut out = [0; 8];
    for byte in bytes.iter().rev() {
        for bit in (0..8).rev() {
            let mut carry = u32::from((byte >> bit) & 1);
            for place in &mut out {
                let doubled = (u64::from(*place) << 1) | u64::from(carry);
                *place = doubled as u32;
                carry = (doubled >> 32) as u32;
            }
            out = less_order(out).unwrap_or(out);
        }
    }
    out
}

/// Bit number `at`.
pub(super) fn bit(words: &[u32; 8], at: usize) -> bool {
    words.get(at / 32).is_some_and(|word| (word >> (at % 32)) & 1 == 1)
}
