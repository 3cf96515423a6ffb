//! Update files as a maker signs them.

use ed25519_dalek::{Signer, SigningKey};
use packstaff_envelope::encode::iv;
use packstaff_envelope::{Draft, Kid, UnitKey, encode};

pub const VENDOR: [u8; 16] = [0x11; 16];
pub const BOARD: [u8; 16] = [0xc0; 16];

/// RFC 8032, 7.1, TEST 1: a key that everybody knows.
const MAKER: [u8; 32] = [
    0x9d, 0x61, 0xb1, 0x9d, 0xef, 0xfd, 0x5a, 0x60, 0xba, 0x84, 0x4a, 0xf4, 0x92, 0xec, 0x2c, 0xc4, 0x44, 0x49, 0xc5,
    0x69, 0x7b, 0x32, 0x69, 0x19, 0x70, 0x3b, 0xac, 0x03, 0x1c, 0xae, 0x7f, 0x60,
];

pub fn verifying_key() -> [u8; 32] {
    SigningKey::from_bytes(&MAKER).verifying_key().to_bytes()
}

/// The key of a generation of units.
pub fn generation(number: u8) -> UnitKey {
    UnitKey {
        kid: Kid::new(&[b'g', b'0' + number]).unwrap(),
        key: [number; 32],
    }
}

#[derive(Clone)]
pub struct Update {
    pub version: Vec<u32>,
    pub issue: u64,
    pub vendor: [u8; 16],
    pub class: [u8; 16],
    pub image: Vec<u8>,
    pub generations: Vec<u8>,
    /// Who signs it, and under which name.
    pub signer: ([u8; 32], &'static [u8]),
}

impl Update {
    /// An image of so many bytes, of issue 1.
    pub fn new(version: &[u32], size: usize) -> Self {
        let mark = version.iter().fold(7, |mark: u32, number| mark * 31 + number);
        let byte = |at: usize| ((at as u32).wrapping_mul(0x9e37_79b9) >> 24) as u8 ^ mark as u8;
        Self {
            version: version.to_vec(),
            issue: 1,
            vendor: VENDOR,
            class: BOARD,
            image: (0..size).map(byte).collect(),
            generations: vec![1, 2],
            signer: (MAKER, b"maker"),
        }
    }

    pub fn of_issue(mut self, issue: u64) -> Self {
        self.issue = issue;
        self
    }

    pub fn file(&self) -> Vec<u8> {
        let recipients: Vec<_> = self.generations.iter().map(|number| generation(*number)).collect();
        let draft = Draft {
            sequence: self.issue,
            version: &self.version,
            vendor: self.vendor,
            class: self.class,
            image: &self.image,
            text: &[],
            recipients: &recipients,
            content_key: [0x5c; 32],
            iv: iv([self.image[0]; 12]),
        };
        let (key, name) = self.signer;
        let key = SigningKey::from_bytes(&key);
        encode(&draft, name, |bytes| key.sign(bytes).to_bytes()).unwrap()
    }
}
