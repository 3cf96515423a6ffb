//! The keys that a unit knows: whom it trusts, and what it reads with.

use core::fmt;
use core::hash::{Hash, Hasher};
use subtle::ConstantTimeEq;
use zeroize::Zeroize;

/// Longest key identifier, in bytes.
pub const KID_MAX: usize = 16;

/// A key identifier (RFC 9052, 3.1): 1 to 16 bytes. A hint for finding a key, no proof of anything.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Kid {
    bytes: [u8; KID_MAX],
    len: u8,
}

impl Kid {
    /// The identifier with these bytes; `None` unless there are 1 to 16.
    pub const fn new(bytes: &[u8]) -> Option<Self> {
        if bytes.is_empty() || bytes.len() > KID_MAX {
            return None;
        }
        let mut kid = Self {
            bytes: [0; KID_MAX],
            len: bytes.len() as u8,
        };
        let (mut from, mut to) = (bytes, kid.bytes.as_mut_slice());
        while let (Some((byte, rest)), Some((place, places))) = (from.split_first(), to.split_first_mut()) {
            *place = *byte;
            (from, to) = (rest, places);
        }
        Some(kid)
    }

    /// The identifier's bytes.
    pub fn as_bytes(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.len)).unwrap_or(&self.bytes)
    }
}

impl fmt::Debug for Kid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Kid({self})")
    }
}

/// As text where all bytes are printable ASCII other than a space, otherwise as hexadecimal digits.
impl fmt::Display for Kid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match core::str::from_utf8(self.as_bytes()) {
            Ok(text) if text.bytes().all(|byte| byte.is_ascii_graphic()) => f.write_str(text),
            _ => self.as_bytes().iter().try_for_each(|byte| write!(f, "{byte:02x}")),
        }
    }
}

/// A signing key that a unit trusts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Anchor {
    /// The identifier that signature blocks name it by.
    pub kid: Kid,
    /// The public key.
    pub key: PublicKey,
}

/// A public key for signatures. A unit has the kinds that it was built for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PublicKey {
    /// An Ed25519 key (RFC 8032, 5.1.5).
    #[cfg(feature = "ed25519")]
    Ed25519([u8; 32]),
    /// An HSS-LMS key (RFC 8554, 6.1; RFC 8778, 4).
    #[cfg(feature = "hss-lms")]
    HssLms([u8; crate::hss::PUBLIC_KEY]),
}

impl Anchor {
    /// Trust in an Ed25519 key (RFC 8032, 5.1.5).
    #[cfg(feature = "ed25519")]
    pub const fn ed25519(kid: Kid, key: [u8; 32]) -> Self {
        let key = PublicKey::Ed25519(key);
        Self { kid, key }
    }

    /// Trust in an HSS-LMS key (RFC 8554, 6.1), of up to [`crate::hss::LEVELS_MAX`] levels.
    #[cfg(feature = "hss-lms")]
    pub const fn hss_lms(kid: Kid, key: [u8; crate::hss::PUBLIC_KEY]) -> Self {
        let key = PublicKey::HssLms(key);
        Self { kid, key }
    }
}

/// The key of a unit's generation: it unwraps content keys (A256KW) and can sign nothing.
#[derive(Clone)]
pub struct UnitKey {
    /// The identifier that recipients name it by.
    pub kid: Kid,
    /// The 256-bit key-encryption key.
    pub key: [u8; 32],
}

/// The key of one payload.
#[derive(Clone)]
pub struct ContentKey(pub(crate) [u8; 32]);

impl ContentKey {
    /// A content key from its bytes.
    pub const fn new(key: [u8; 32]) -> Self {
        Self(key)
    }
}

impl PartialEq for UnitKey {
    fn eq(&self, other: &Self) -> bool {
        self.kid == other.kid && bool::from(self.key.ct_eq(&other.key))
    }
}

impl PartialEq for ContentKey {
    fn eq(&self, other: &Self) -> bool {
        self.0.ct_eq(&other.0).into()
    }
}

impl Eq for UnitKey {}
impl Eq for ContentKey {}

impl Hash for UnitKey {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.kid.hash(state);
        self.key.hash(state);
    }
}

impl Hash for ContentKey {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.0.hash(state);
    }
}

impl fmt::Debug for UnitKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "UnitKey({}, secret)", self.kid)
    }
}

impl fmt::Debug for ContentKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("ContentKey(secret)")
    }
}

impl Drop for UnitKey {
    fn drop(&mut self) {
        self.key.zeroize();
    }
}

impl Drop for ContentKey {
    fn drop(&mut self) {
        self.0.zeroize();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kid_keeps_its_bytes_and_its_bounds() {
        assert_eq!(Kid::new(b"gen1").unwrap().as_bytes(), b"gen1");
        assert_eq!(Kid::new(&[7; 16]).unwrap().as_bytes(), [7; 16]);
        assert_ne!(Kid::new(&[0]), Kid::new(&[0, 0]));
        assert_eq!(Kid::new(&[]), None);
        assert_eq!(Kid::new(&[0; 17]), None);
    }

    #[test]
    fn kid_is_shown_as_text_or_as_digits() {
        assert_eq!(Kid::new(b"gen1").unwrap().to_string(), "gen1");
        assert_eq!(Kid::new(&[0x1b, 0x41]).unwrap().to_string(), "1b41");
    }

    #[test]
    fn secrets_are_not_shown() {
        let key = UnitKey {
            kid: Kid::new(b"g1").unwrap(),
            key: [0xab; 32],
        };
        assert_eq!(
            format!("{key:?} {:?}", ContentKey::new([0xab; 32])),
            "UnitKey(g1, secret) ContentKey(secret)"
        );
    }
}
