//! Ed25519 signatures (RFC 8032, 5.1.7), verified as strictly as the library does.

use super::curve::Point;
use super::scalar;
use super::sha2::compress512;

const BLOCK: usize = 128;

/// FIPS 180-4, 5.3.5.
const START: [u64; 8] = [
    0x6a09_e667_f3bc_c908,
    0xbb67_ae85_84ca_a73b,
    0x3c6e_f372_fe94_f82b,
    0xa54f_f53a_5f1d_36f1,
    0x510e_527f_ade6_82d1,
    0x9b05_688c_2b3e_6c1f,
    0x1f83_d9ab_fb41_bd6b,
    0x5be0_cd19_137e_2179,
];

/// SHA-512 (FIPS 180-4) over pieces, of less than 2^61 bytes in all.
fn sha512(pieces: [&[u8]; 3]) -> [u8; 64] {
    let mut state = START;
    let mut block = [0; BLOCK];
    let mut taken = 0_usize;
    let len = pieces
        .iter()
        .fold(0_u64, |len, piece| len.wrapping_add(piece.len() as u64));
    let length = len.wrapping_mul(8).to_be_bytes();
    // The mark, zeros, and the length in the last 16 bytes of a block, of which eight are zeros here.
    let used = (len % BLOCK as u64) as usize;
    let zeros = (BLOCK * 2 - 1 - 16).wrapping_sub(used) % BLOCK + 8;
    let mut take = |byte: u8| {
        if let Some(place) = block.get_mut(taken) {
            *place = byte;
        }
        taken = taken.wrapping_add(1);
        if taken == BLOCK {
            compress512(&mut state, &block);
            taken = 0;
        }
    };
    for piece in &pieces {
        piece.iter().for_each(|byte| take(*byte));
    }
    take(0x80);
    for _ in 0..zeros {
        take(0);
    }
    length.iter().for_each(|byte| take(*byte));
    let mut out = [0; 64];
    for (place, word) in out.as_chunks_mut::<8>().0.iter_mut().zip(&state) {
        *place = word.to_be_bytes();
    }
    out
}

/// Whether a signature holds, and neither the key nor the signature's point is of small order.
pub fn holds(key: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> bool {
    let Some((r, s)) = signature.split_first_chunk::<32>() else {
        return false;
    };
    let Some(s) = s.first_chunk::<32>().map(scalar::words) else {
        return false;
    };
    let Some(point) = Point::decode(key) else {
        return false;
    };
    if !scalar::is_least(&s) || point.is_of_small_order() {
        return false;
    }
    let k = scalar::reduce(&sha512([r, key, message]));
    let found = Point::base().sum_of_products(&s, &point.negate(), &k);
    // Encoding afresh also refuses an encoding that is not the least one.
    !found.is_of_small_order() && found.encode() == *r
}
