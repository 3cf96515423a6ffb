//! What several test files share: vector files, keys for tests, a sample draft, and signing.
#![allow(dead_code, unreachable_pub, reason = "each test file uses its own part of this")]

pub mod forge;

use ed25519_dalek::{Signer, SigningKey};
use packstaff_envelope::{Anchor, Draft, Kid, TextEntry, TextItem, UnitKey, encode};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Fields of a vector file: `name = hex digits`.
pub struct Vector(BTreeMap<String, String>);

impl Vector {
    pub fn read(name: &str) -> Self {
        let path = vectors_dir().join(name);
        let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let fields = text
            .lines()
            .filter(|line| !line.starts_with('#'))
            .filter_map(|line| line.split_once(" = "));
        Self(fields.map(|(key, value)| (key.into(), value.trim().into())).collect())
    }

    pub fn bytes(&self, field: &str) -> Vec<u8> {
        let digits = self.0.get(field).unwrap_or_else(|| panic!("no field `{field}`"));
        hex::decode(digits).unwrap()
    }

    pub fn array<const N: usize>(&self, field: &str) -> [u8; N] {
        self.bytes(field).try_into().unwrap()
    }
}

pub fn vectors_dir() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/vectors")
}

/// The secret key of RFC 8032, 7.1, TEST 1: known to everybody, for tests only.
pub fn signer() -> SigningKey {
    SigningKey::from_bytes(&hex_literal::hex!(
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"
    ))
}

pub const SIGNER_KID: &[u8] = b"maker-1";

pub fn anchor() -> Anchor {
    Anchor::ed25519(Kid::new(SIGNER_KID).unwrap(), signer_key())
}

pub fn signer_key() -> [u8; 32] {
    signer().verifying_key().to_bytes()
}

pub fn sign(message: &[u8]) -> [u8; 64] {
    signer().sign(message).to_bytes()
}

pub fn unit_key(name: &str, byte: u8) -> UnitKey {
    UnitKey {
        kid: Kid::new(name.as_bytes()).unwrap(),
        key: [byte; 32],
    }
}

/// Two generations of unit keys.
pub fn generations() -> Vec<UnitKey> {
    vec![unit_key("g1", 0x11), unit_key("g2", 0x22)]
}

pub fn text() -> Vec<TextEntry> {
    let entry = |item, value: &str| TextEntry {
        language: "en".into(),
        item,
        value: value.into(),
    };
    vec![
        entry(TextItem::UpdateDescription, "Slower ramps below 200 degrees"),
        entry(TextItem::ModelName, "KC-4"),
        entry(TextItem::ComponentVersion, "2.1"),
    ]
}

pub fn draft<'a>(image: &'a [u8], recipients: &'a [UnitKey], text: &'a [TextEntry]) -> Draft<'a> {
    Draft {
        sequence: 7,
        version: &[2, 1],
        vendor: [0xaa; 16],
        class: [0xbb; 16],
        image,
        text,
        recipients,
        content_key: core::array::from_fn(|index| 0x40 + index as u8),
        iv: packstaff_envelope::encode::iv([0xf0; 12]),
    }
}

/// A small valid file.
pub fn sample_file() -> Vec<u8> {
    encode(
        &draft(b"a small image, but one of two blocks", &generations(), &text()),
        SIGNER_KID,
        sign,
    )
    .unwrap()
}
