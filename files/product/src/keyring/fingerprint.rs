//! Short names for keys: enough to compare by eye, nothing that helps to guess the key.

use sha2::{Digest, Sha256};

/// Separates fingerprints of unit keys from every other use of SHA-256 over a key.
const UNIT_KEY_LABEL: &[u8] = b"packstaff unit key fingerprint 1\0";

/// Bytes of a fingerprint, and of a signer's key identifier in update files.
pub const FINGERPRINT_BYTES: usize = 8;

/// The key identifier of a signing key in update files: the first 8 bytes of the SHA-256 of its public key, which has 32
/// bytes (Ed25519) or 60 (HSS-LMS).
pub fn signer_kid(public_key: &[u8]) -> [u8; FINGERPRINT_BYTES] {
    first_bytes(Sha256::digest(public_key).into())
}

/// The fingerprint of a signing key: its key identifier, in groups of four hexadecimal digits.
pub fn signer_fingerprint(public_key: &[u8]) -> String {
    groups(signer_kid(public_key))
}

/// The fingerprint of a unit key: the first 8 bytes of SHA-256 over a fixed label and the key.
///
/// A unit key is 256 random bits, so its hash tells nobody the key.
pub(crate) fn unit_key_fingerprint(key: &[u8; 32]) -> String {
    groups(first_bytes(
        Sha256::new()
            .chain_update(UNIT_KEY_LABEL)
            .chain_update(key)
            .finalize()
            .into(),
    ))
}

fn first_bytes(digest: [u8; 32]) -> [u8; FINGERPRINT_BYTES] {
    let mut first = [0; FINGERPRINT_BYTES];
    for (to, from) in first.iter_mut().zip(digest) {
        *to = from;
    }
    first
}

fn groups(bytes: [u8; FINGERPRINT_BYTES]) -> String {
    let groups: Vec<String> = bytes.chunks(2).map(hex::encode).collect();
    groups.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The public key of RFC 8032 section 7.1, test 1; its SHA-256 by `sha256sum`.
    #[test]
    fn fingerprint_of_a_published_key() {
        let mut key = [0; 32];
        hex::decode_to_slice(
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
            &mut key,
        )
        .unwrap();
        assert_eq!(signer_fingerprint(&key), "21fe 31df a154 a261");
        assert_ne!(unit_key_fingerprint(&key), signer_fingerprint(&key));
    }
}
