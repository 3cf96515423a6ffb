//! The two uses of AES-256: counter mode for the payload, key wrap for its key.
//!
//! On a unit by the small code of [`crate::compact`], elsewhere by the libraries.

use crate::keys::{ContentKey, UnitKey};
#[cfg(not(target_os = "none"))]
use aes_kw::{KwAes256, cipher::KeyInit};
#[cfg(not(target_os = "none"))]
use zeroize::Zeroize;

/// Bytes of a wrapped 256-bit key (RFC 3394: the key and 8 bytes of check value).
pub const WRAPPED_LEN: usize = 40;

/// Decrypts the payload at any byte offset.
///
/// Keystream block `i` is AES(key, (iv + i) mod 2^128) (RFC 9459, 4). Encryption and decryption are the same.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct PayloadCipher {
    key: ContentKey,
    iv: [u8; 16],
}

impl PayloadCipher {
    /// A cipher for one payload.
    pub fn new(key: &ContentKey, iv: &[u8; 16]) -> Self {
        Self {
            key: key.clone(),
            iv: *iv,
        }
    }

    /// Decrypts `bytes`, which lie `offset` bytes from the payload's start.
    ///
    /// The key schedule is made anew in each call, which costs about as much as one block: give it a sector or a
    /// chunk at a time, not single bytes.
    pub fn apply(&self, offset: u32, bytes: &mut [u8]) {
        #[cfg(target_os = "none")]
        crate::compact::aes256::apply_counter_mode(&self.key.0, &self.iv, offset, bytes);
        #[cfg(not(target_os = "none"))]
        apply_counter_mode(&self.key, &self.iv, offset, bytes);
    }
}

#[cfg(not(target_os = "none"))]
fn apply_counter_mode(key: &ContentKey, iv: &[u8; 16], offset: u32, bytes: &mut [u8]) {
    use ctr::cipher::{KeyIvInit, StreamCipher, StreamCipherSeek};
    let mut keystream = ctr::Ctr128BE::<aes::Aes256>::new(&key.0.into(), &(*iv).into());
    let done = keystream
        .try_seek(u64::from(offset))
        .and_then(|()| keystream.try_apply_keystream(bytes));
    if done.is_err() {
        // Cannot happen below 2^128 blocks. Zeros are refused by every digest check that follows.
        bytes.fill(0);
    }
}

/// Unwraps a content key (RFC 3394). `None` if the built-in check value does not hold.
#[cfg(target_os = "none")]
pub fn unwrap_key(key: &UnitKey, wrapped: &[u8; WRAPPED_LEN]) -> Option<ContentKey> {
    crate::compact::aes256::unwrap(&key.key, wrapped).map(ContentKey)
}

/// Unwraps a content key (RFC 3394). `None` if the built-in check value does not hold.
#[cfg(not(target_os = "none"))]
pub fn unwrap_key(key: &UnitKey, wrapped: &[u8; WRAPPED_LEN]) -> Option<ContentKey> {
    let mut content = [0; 32];
    let unwrapped = KwAes256::new(&key.key.into()).unwrap_key(wrapped, &mut content).is_ok();
    let result = unwrapped.then(|| ContentKey(content));
    content.zeroize();
    result
}

/// Wraps a content key for a generation of units (RFC 3394).
#[cfg(feature = "alloc")]
pub fn wrap_key(key: &UnitKey, content: &ContentKey) -> Option<[u8; WRAPPED_LEN]> {
    let mut wrapped = [0; WRAPPED_LEN];
    KwAes256::new(&key.key.into()).wrap_key(&content.0, &mut wrapped).ok()?;
    Some(wrapped)
}
