//! The identity that a judge lends a port: a bench build of a port holds no keys, and trusts nobody until it is told to.

use crate::line::digits;
use ed25519_dalek::{Signer, SigningKey};
use packstaff_envelope::encode::{Draft, EncodeError, encode_checked, iv};
use packstaff_envelope::{Anchor, Kid, UnitKey};

/// Vendor identifier of the bench.
pub const VENDOR: [u8; 16] = *b"bench of a judge";
/// Class identifier of the board under test.
pub const BOARD: [u8; 16] = *b"board under test";
/// Class identifier of another board of the same product.
pub const OTHER_BOARD: [u8; 16] = *b"some other board";
/// Vendor identifier of another maker.
pub const OTHER_VENDOR: [u8; 16] = *b"some other maker";
/// Ending of update files' names.
pub const EXTENSION: [u8; 3] = *b"UPD";

/// RFC 8032, 7.1, TEST 1: a secret key that everybody knows. It signs for benches alone.
const SECRET: [u8; 32] = [
    0x9d, 0x61, 0xb1, 0x9d, 0xef, 0xfd, 0x5a, 0x60, 0xba, 0x84, 0x4a, 0xf4, 0x92, 0xec, 0x2c, 0xc4, 0x44, 0x49, 0xc5,
    0x69, 0x7b, 0x32, 0x69, 0x19, 0x70, 0x3b, 0xac, 0x03, 0x1c, 0xae, 0x7f, 0x60,
];

fn kid(name: &[u8]) -> Kid {
    Kid::new(name).unwrap_or_else(|| unreachable!("a name of one byte"))
}

/// The key that the port trusts for the time of the test.
pub fn anchor() -> Anchor {
    Anchor::ed25519(kid(b"s"), SigningKey::from_bytes(&SECRET).verifying_key().to_bytes())
}

/// The key that it reads with.
pub fn unit_key() -> UnitKey {
    UnitKey {
        kid: kid(b"u"),
        key: [0x42; 32],
    }
}

/// The words that lend it.
pub fn words() -> String {
    let words = [
        digits(&VENDOR),
        digits(&BOARD),
        digits(&OTHER_BOARD),
        digits(anchor().key.as_bytes()),
        digits(&unit_key().key),
    ];
    format!("unit {}", words.join(" "))
}

/// What an update file of the bench is made from.
#[derive(Clone, Debug)]
pub struct Update {
    /// The version.
    pub version: [u32; 2],
    /// The issue.
    pub issue: u64,
    /// Whose it is.
    pub vendor: [u8; 16],
    /// For which board.
    pub class: [u8; 16],
    /// The image.
    pub image: Vec<u8>,
}

impl Update {
    /// An update for the board under test, whose image has `len` bytes that are different for each version.
    pub fn new(version: [u32; 2], issue: u64, len: u32) -> Self {
        let seed = version[0]
            .wrapping_mul(31)
            .wrapping_add(version[1])
            .wrapping_mul(0x9e37_79b9);
        let image = (0..len)
            .map(|at| (at.wrapping_add(seed).wrapping_mul(0x85eb_ca6b) >> 24) as u8)
            .collect();
        Self {
            version,
            issue,
            vendor: VENDOR,
            class: BOARD,
            image,
        }
    }

    /// The file.
    ///
    /// # Errors
    /// As [`encode_checked`].
    pub fn file(&self) -> Result<Vec<u8>, EncodeError> {
        let draft = Draft {
            sequence: self.issue,
            version: &self.version,
            vendor: self.vendor,
            class: self.class,
            image: &self.image,
            text: &[],
            recipients: &[unit_key()],
            // The same file every time: nothing in it is secret.
            content_key: [0x5c; 32],
            iv: iv([self.version[1] as u8; 12]),
        };
        let signing = SigningKey::from_bytes(&SECRET);
        encode_checked(&draft, &anchor(), |bytes| signing.sign(bytes).to_bytes())
    }
}
