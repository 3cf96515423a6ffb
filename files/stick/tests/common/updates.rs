//! Real update files, and a kind of unit that takes some of them. All keys are invented.

#![allow(dead_code, reason = "each test program uses its own part")]

use std::fs;
use std::path::Path;
use std::sync::Arc;

use ed25519_dalek::{Signer, SigningKey};
use packstaff_envelope::{Anchor, Draft, Kid, TextEntry, TextItem, UnitKey, encode_checked};
use packstaff_installer::{Region, SectorRun};
use packstaff_stick::examine::UnitKind;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::FlashLayout;
use packstaff_unit::part::SecondProgram;

use crate::common::noise;

/// Length of the update that the scripts take, which makes it 49 clusters on their small volume, the last one not full.
pub(crate) const UPDATE: usize = 98_427;

const MAKER: [u8; 16] = [0x11; 16];
const BOARD_C: [u8; 16] = [0xCC; 16];
const BOARD_D: [u8; 16] = [0xDD; 16];

fn signer(seed: u8) -> (SigningKey, Anchor) {
    let key = SigningKey::from_bytes(&[seed; 32]);
    let anchor = Anchor::ed25519(Kid::new(b"maker-1").unwrap(), key.verifying_key().to_bytes());
    (key, anchor)
}

fn generation(name: &str, seed: u8) -> UnitKey {
    UnitKey {
        kid: Kid::new(name.as_bytes()).unwrap(),
        key: [seed; 32],
    }
}

/// What makes one file other than the next.
#[derive(Clone, Copy)]
pub(crate) struct File {
    pub(crate) vendor: [u8; 16],
    pub(crate) class: [u8; 16],
    pub(crate) sequence: u64,
    pub(crate) generation: (&'static str, u8),
    pub(crate) signer: u8,
    pub(crate) image: usize,
}

/// A file that the unit takes.
pub(crate) const GOOD: File = File {
    vendor: MAKER,
    class: BOARD_C,
    sequence: 3,
    generation: ("g2", 2),
    signer: 1,
    image: UPDATE - 836,
};

pub(crate) fn update(file: File) -> Vec<u8> {
    let (key, anchor) = signer(file.signer);
    let (name, seed) = file.generation;
    let image = noise(file.image, u64::from(file.class[0]) + file.sequence);
    let draft = Draft {
        sequence: file.sequence,
        version: &[2, 1],
        vendor: file.vendor,
        class: file.class,
        image: &image,
        text: &[TextEntry {
            language: "en".to_owned(),
            item: TextItem::UpdateDescription,
            value: "Holds a firing step back until the kiln has followed.".to_owned(),
        }],
        recipients: &[generation(name, seed)],
        content_key: [7; 32],
        iv: packstaff_envelope::encode::iv([8; 12]),
    };
    encode_checked(&draft, &anchor, |bytes| key.sign(bytes).to_bytes()).unwrap()
}

/// Writes the files that `sticks.sh` puts on sticks.
pub(crate) fn write_all(folder: &Path) {
    // The text, the keys' names and the signature are as long in all: what is left is the image.
    let overhead = update(GOOD).len() - GOOD.image;
    let good = File {
        image: UPDATE - overhead,
        ..GOOD
    };
    let all = [
        ("KC4.UPD", good),
        ("BOARD-D.UPD", File { class: BOARD_D, ..GOOD }),
        (
            "PRODUCT.UPD",
            File {
                class: [0xEE; 16],
                ..GOOD
            },
        ),
        (
            "MAKER.UPD",
            File {
                vendor: [0x22; 16],
                ..GOOD
            },
        ),
        (
            "KEYS.UPD",
            File {
                generation: ("g1", 1),
                ..GOOD
            },
        ),
        ("OLD.UPD", File { sequence: 1, ..GOOD }),
        ("LARGE.UPD", File { image: 200_000, ..GOOD }),
        ("FORGED.UPD", File { signer: 9, ..GOOD }),
    ];
    for (name, file) in all {
        let bytes = update(file);
        assert!(name != "KC4.UPD" || bytes.len() == UPDATE, "{} bytes", bytes.len());
        fs::write(folder.join(name), bytes).unwrap();
    }
}

/// A board C of generation g2 that has had issue 2.
pub(crate) fn unit_kind() -> UnitKind {
    let run = |count, size| SectorRun { count, size };
    let layout = FlashLayout::new(0x0800_0000, vec![run(128, 1024)], 8, 0xFF, true, SecondProgram::Zeros);
    let region = |base, size| Region { base, size };
    UnitKind {
        name: "board C, generation g2".to_owned(),
        board: "board C".to_owned(),
        blueprint: Blueprint {
            vendor: MAKER,
            class: BOARD_C,
            siblings: vec![BOARD_D],
            anchors: vec![signer(1).1],
            key: generation("g2", 2),
            extension: *b"UPD",
            layout: Arc::new(layout),
            installer: region(0x0800_0000, 1024),
            floors: [region(0x0800_0400, 1024), region(0x0800_0800, 1024)],
            slots: packstaff_installer::Layout::Single,
            slot: region(0x0800_0C00, 125 * 1024),
        },
        floor: 2,
    }
}
