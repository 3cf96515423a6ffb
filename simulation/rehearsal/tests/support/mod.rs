//! A bench for tests: one maker, one board, and the means to make update files and sticks for it.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part of it

pub mod case;
pub mod mutant;

use ed25519_dalek::{Signer, SigningKey};
use packstaff_envelope::encode::{Draft, encode, iv};
use packstaff_envelope::{Anchor, HeaderReader, Kid, Manifest, UnitKey};
use packstaff_installer::{Region, SectorRun};
use packstaff_rehearsal::claims::ReleasedImage;
use packstaff_rehearsal::power_up::{Ending, Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_stick::{StickImage, StickSpec};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{FlashLayout, SumKey};
use packstaff_unit::part::SecondProgram;
use packstaff_unit::world::World;
use std::sync::Arc;

pub const VENDOR: [u8; 16] = [0x11; 16];
pub const BOARD_C: [u8; 16] = [0xc0; 16];
pub const BOARD_D: [u8; 16] = [0xd0; 16];
pub const SETTINGS: &[u8] = b"settings and calibration of one unit";

/// RFC 8032, 7.1, TEST 1: a key that everybody knows.
pub fn signing_key() -> SigningKey {
    SigningKey::from_bytes(&hex_literal::hex!(
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"
    ))
}

pub fn anchor() -> Anchor {
    Anchor::ed25519(Kid::new(b"maker").unwrap(), signing_key().verifying_key().to_bytes())
}

pub fn generation(name: &str, fill: u8) -> UnitKey {
    UnitKey {
        kid: Kid::new(name.as_bytes()).unwrap(),
        key: [fill; 32],
    }
}

/// Which kind of flash a test unit has.
#[derive(Clone, Copy, Debug)]
pub enum Flashes {
    /// Small pages, 8-byte granules with check bits.
    Pages,
    /// Sectors of different sizes, 4-byte granules.
    Mixed,
    /// As few cells as an install can do with: five pages of 128 bytes.
    Tiny,
}

pub fn blueprint(flashes: Flashes) -> Blueprint {
    let run = |count, size| SectorRun { count, size };
    let (runs, granule, ecc, second) = match flashes {
        Flashes::Tiny => (vec![run(5, 128)], 8, false, SecondProgram::Zeros),
        Flashes::Pages => (vec![run(10, 1024)], 8, true, SecondProgram::Zeros),
        Flashes::Mixed => (
            vec![run(4, 1024), run(1, 2048), run(1, 4096)],
            4,
            false,
            SecondProgram::Clears,
        ),
    };
    let region = |base, size| Region { base, size };
    let page = if matches!(flashes, Flashes::Tiny) { 128 } else { 1024 };
    Blueprint {
        vendor: VENDOR,
        class: BOARD_C,
        siblings: vec![BOARD_D],
        anchors: vec![anchor()],
        key: generation("g2", 0x22),
        extension: *b"UPD",
        layout: Arc::new(FlashLayout::new(0x0800_0000, runs, granule, 0xff, ecc, second)),
        installer: region(0x0800_0000, page),
        floors: [region(0x0800_0000 + page, page), region(0x0800_0000 + 2 * page, page)],
        slots: packstaff_installer::Layout::Single,
        slot: match flashes {
            Flashes::Pages => region(0x0800_0c00, 7 * 1024),
            Flashes::Mixed => region(0x0800_1000, 6 * 1024),
            Flashes::Tiny => region(0x0800_0180, 256),
        },
    }
}

/// What an update file is made from, with the usual values filled in.
#[derive(Clone)]
pub struct Update {
    pub version: Vec<u32>,
    pub sequence: u64,
    pub vendor: [u8; 16],
    pub class: [u8; 16],
    pub image: Vec<u8>,
    pub recipients: Vec<UnitKey>,
    pub signer: SigningKey,
}

impl Update {
    pub fn new(version: &[u32], fill: u8) -> Self {
        let image = (0..1500_u32)
            .map(|at| (at.wrapping_mul(31) >> 3) as u8 ^ fill)
            .collect();
        Self {
            version: version.to_vec(),
            sequence: 1,
            vendor: VENDOR,
            class: BOARD_C,
            image,
            recipients: vec![generation("g1", 0x11), generation("g2", 0x22)],
            signer: signing_key(),
        }
    }

    pub fn file(&self) -> Vec<u8> {
        let draft = Draft {
            sequence: self.sequence,
            version: &self.version,
            vendor: self.vendor,
            class: self.class,
            image: &self.image,
            text: &[],
            recipients: &self.recipients,
            content_key: [0x5c; 32],
            iv: iv([self.image[0]; 12]),
        };
        encode(&draft, b"maker", |bytes| self.signer.sign(bytes).to_bytes()).unwrap()
    }

    pub fn release(&self) -> ReleasedImage {
        ReleasedImage {
            image_size: self.image.len() as u32,
            image_digest: packstaff_envelope::sha256(&self.image),
        }
    }
}

pub fn manifest(file: &[u8]) -> Manifest {
    let mut reader = HeaderReader::new(file.len() as u32);
    reader.feed(file).unwrap();
    reader.verify(&[anchor()]).unwrap()
}

pub fn stick(files: &[(&str, &[u8])]) -> StickImage {
    let stamp = packstaff_fat::Calendar {
        year: 2026,
        month: 11,
        day: 25,
        hour: 12,
        minute: 0,
        second: 0,
    };
    let usual = StickSpec {
        kind: packstaff_fat::Kind::Fat16,
        size: 16 << 20,
        cluster: None,
        ..StickSpec::usual(7, stamp)
    };
    let spec = files
        .iter()
        .fold(usual, |spec, (name, contents)| spec.with_file(*name, *contents));
    packstaff_stick::build(&spec).unwrap()
}

/// A unit that runs `update`, installed by its own installer from a stick.
pub fn unit_with(blueprint: &Blueprint, update: &Update) -> World {
    let mut world = blueprint.new_unit(SETTINGS.to_vec(), SumKey::fixed()).unwrap();
    let file = update.file();
    world.stick = Some(insert(stick(&[("KC4.UPD", &file)])));
    let seen = power_up(blueprint, &mut world, Owner::wants(&manifest(&file)), |_, _| {});
    assert!(matches!(seen.ending, Ending::Started { .. }), "{:?}", seen.ending);
    world
}
