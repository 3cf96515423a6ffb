//! SHA-256 (FIPS 180-4) as plain data, so that a half-finished digest can be copied, compared and hashed.
//!
//! The compression function is the `sha2` crate's, on a unit that of [`crate::compact`]; padding and buffering are here.

#[cfg(not(target_os = "none"))]
use sha2::block_api::compress256;
use subtle::ConstantTimeEq;

#[cfg(target_os = "none")]
fn compress256(state: &mut [u32; 8], blocks: &[[u8; BLOCK]]) {
    for block in blocks {
        match cfg!(feature = "quick-digest") {
            true => crate::compact::sha2::compress256_written_out(state, block),
            false => crate::compact::sha2::compress256(state, block),
        }
    }
}

/// Bytes of a block.
const BLOCK: usize = 64;
/// Bytes of the message length at the end of the padding.
const LENGTH: usize = 8;

/// A running SHA-256 digest.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Sha256 {
    state: [u32; 8],
    block: [u8; BLOCK],
    /// Bytes taken so far; the last `taken % 64` of them wait in `block`, whose other bytes are zero.
    taken: u64,
}

/// The digest of `bytes`.
pub fn sha256(bytes: &[u8]) -> [u8; 32] {
    let mut digest = Sha256::new();
    digest.update(bytes);
    digest.finish()
}

impl Sha256 {
    /// A digest of nothing yet.
    pub const fn new() -> Self {
        // FIPS 180-4, 5.3.3.
        let state = [
            0x6a09_e667,
            0xbb67_ae85,
            0x3c6e_f372,
            0xa54f_f53a,
            0x510e_527f,
            0x9b05_688c,
            0x1f83_d9ab,
            0x5be0_cd19,
        ];
        Self {
            state,
            block: [0; BLOCK],
            taken: 0,
        }
    }

    /// Takes in more of the message. At most 2^61 bytes in all, as the standard says; beyond that the length wraps.
    pub fn update(&mut self, bytes: &[u8]) {
        let waiting = self.waiting();
        self.taken = self.taken.wrapping_add(bytes.len() as u64);
        let room = self.block.get_mut(waiting..).unwrap_or_default();
        let Some((head, rest)) = bytes.split_at_checked(room.len()) else {
            copy(room, bytes);
            return;
        };
        let rest = if waiting == 0 {
            bytes
        } else {
            copy(room, head);
            compress256(&mut self.state, &[self.block]);
            rest
        };
        let (blocks, tail) = rest.as_chunks::<BLOCK>();
        compress256(&mut self.state, blocks);
        self.block = [0; BLOCK];
        copy(&mut self.block, tail);
    }

    /// The digest of all that was taken in.
    pub fn finish(mut self) -> [u8; 32] {
        let waiting = self.waiting();
        let bits = self.taken.wrapping_mul(8).to_be_bytes();
        if let Some(mark) = self.block.get_mut(waiting) {
            *mark = 0x80;
        }
        if waiting >= BLOCK - LENGTH {
            compress256(&mut self.state, &[self.block]);
            self.block = [0; BLOCK];
        }
        if let Some(length) = self.block.last_chunk_mut::<LENGTH>() {
            *length = bits;
        }
        compress256(&mut self.state, &[self.block]);
        digest_of(self.state)
    }

    const fn waiting(&self) -> usize {
        (self.taken % BLOCK as u64) as usize
    }
}

impl Default for Sha256 {
    fn default() -> Self {
        Self::new()
    }
}

/// The digest of a message of 55 bytes, the longest that one block holds together with its padding.
#[cfg(feature = "hss-lms")]
pub(crate) fn sha256_of_one_block(block: &[u8; BLOCK]) -> [u8; 32] {
    let Sha256 { mut state, .. } = Sha256::new();
    compress256(&mut state, &[*block]);
    digest_of(state)
}

/// Makes a message of 55 bytes, at the start of `block`, a whole block: FIPS 180-4, 5.1.1.
#[cfg(feature = "hss-lms")]
pub(crate) fn pad_one_block(block: &mut [u8; BLOCK]) {
    let bits = 55_u64.wrapping_mul(8).to_be_bytes();
    copy(block.get_mut(55..).unwrap_or_default(), &[0x80]);
    copy(block.get_mut(BLOCK - LENGTH..).unwrap_or_default(), &bits);
}

fn digest_of(state: [u32; 8]) -> [u8; 32] {
    let mut out = [0; 32];
    let (words, _) = out.as_chunks_mut::<4>();
    for (word, value) in words.iter_mut().zip(state) {
        *word = value.to_be_bytes();
    }
    out
}

/// Whether two digests are the same, in a time that does not depend on where they differ.
pub fn same_digest(one: &[u8; 32], other: &[u8; 32]) -> bool {
    one.ct_eq(other).into()
}

/// Copies without a length check that could fail: as many bytes as the shorter of the two has. Four at a time, since a unit
/// copies each byte of a payload.
pub fn copy(to: &mut [u8], from: &[u8]) {
    let len = to.len().min(from.len());
    let (Some(to), Some(from)) = (to.get_mut(..len), from.get(..len)) else {
        return;
    };
    let ((to, to_rest), (from, from_rest)) = (to.as_chunks_mut::<4>(), from.as_chunks::<4>());
    to.iter_mut().zip(from).for_each(|(to, from)| *to = *from);
    to_rest.iter_mut().zip(from_rest).for_each(|(to, from)| *to = *from);
}

#[cfg(test)]
mod tests {
    use super::*;
    use hex_literal::hex;
    use proptest::prelude::*;

    /// NIST's "SHA-256 examples" for FIPS 180-4, and SHA256ShortMsg.rsp of its SHA test vectors for the empty message
    /// (values from memory; also checked against the `sha2` crate's digest below).
    #[test]
    fn nist_examples() {
        let empty = hex!("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
        let abc = hex!("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        let two_blocks = hex!("248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
        let million = hex!("cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
        assert_eq!(sha256(b""), empty);
        assert_eq!(sha256(b"abc"), abc);
        assert_eq!(
            sha256(b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            two_blocks
        );
        let mut digest = Sha256::new();
        (0..10_000).for_each(|_| digest.update(&[b'a'; 100]));
        assert_eq!(digest.finish(), million);
    }

    proptest! {
        #[test]
        fn any_pieces_give_the_library_digest(pieces in proptest::collection::vec(proptest::collection::vec(any::<u8>(), 0..200), 0..8)) {
            use sha2::Digest;
            let whole = pieces.concat();
            let mut digest = Sha256::new();
            pieces.iter().for_each(|piece| digest.update(piece));
            prop_assert_eq!(digest.clone().finish(), <[u8; 32]>::from(sha2::Sha256::digest(&whole)));
            let mut at_once = Sha256::new();
            at_once.update(&whole);
            prop_assert_eq!(at_once, digest);
        }
    }
}
