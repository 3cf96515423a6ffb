//! The unit under proof: board Q of the demo, as the factory made it, here and in the emulator.

use ed25519_dalek::{Signer, SigningKey};
use packstaff_envelope::encode::{Draft, encode_checked, iv};
use packstaff_envelope::{Anchor, Kid, UnitKey};
use packstaff_installer::{Region, SectorRun};
use packstaff_stick::{StickImage, StickSpec};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{Change, Flash, FlashLayout, SumKey, runs_of};
use packstaff_unit::part::PartsTable;

/// Bytes of flash.
pub(crate) const SIZE: u32 = 512 << 10;
/// Where the installer's own sectors end.
pub(crate) const INSTALLER_END: usize = 0x8000;
/// Where the factory writes who a unit is; the table is in `ports/qemu-mps2/src/factory.rs`.
const FACTORY: usize = 0x7E00;

const VENDOR: [u8; 16] = [0x4b; 16];
const BOARD_Q: [u8; 16] = [0x51; 16];
/// The product's other board.
pub(crate) const BOARD_D: [u8; 16] = [0xd0; 16];
/// RFC 8032, 7.1, TEST 1: a secret key that everybody knows.
const SECRET: [u8; 32] = [
    0x9d, 0x61, 0xb1, 0x9d, 0xef, 0xfd, 0x5a, 0x60, 0xba, 0x84, 0x4a, 0xf4, 0x92, 0xec, 0x2c, 0xc4, 0x44, 0x49, 0xc5,
    0x69, 0x7b, 0x32, 0x69, 0x19, 0x70, 0x3b, 0xac, 0x03, 0x1c, 0xae, 0x7f, 0x60,
];

fn kid(name: &str) -> Kid {
    Kid::new(name.as_bytes()).unwrap_or_else(|| unreachable!("names of 1 to 16 bytes"))
}

fn key() -> UnitKey {
    UnitKey {
        kid: kid("g2"),
        key: [0x22; 32],
    }
}

/// The part whose rules and sectors the emulated board has, at address 0.
pub(crate) const PART: &str = "stm32f405-512k";

/// Board Q, as the simulation has it.
pub(crate) fn blueprint() -> Result<Blueprint, String> {
    let part = PartsTable::built_in().part(PART).map_err(|error| error.to_string())?;
    let runs: Vec<SectorRun> = runs_of(part);
    let region = |base, size| Region { base, size };
    let blueprint = Blueprint {
        vendor: VENDOR,
        class: BOARD_Q,
        siblings: vec![BOARD_D],
        anchors: vec![Anchor::ed25519(
            kid("maker"),
            SigningKey::from_bytes(&SECRET).verifying_key().to_bytes(),
        )],
        key: key(),
        extension: *b"UPD",
        layout: std::sync::Arc::new(FlashLayout::new(0, runs, 4, 0xff, false, part.second_program)),
        installer: region(0, 0x8000),
        floors: [region(0x8000, 0x4000), region(0xC000, 0x4000)],
        slots: packstaff_installer::Layout::Single,
        slot: region(0x1_0000, 0x7_0000),
    };
    blueprint.check().map_err(|error| error.to_string())?;
    Ok(blueprint)
}

/// The flash of a new unit, as bytes: erased, but for what the factory writes.
pub(crate) fn new_flash() -> Result<Vec<u8>, String> {
    let blueprint = blueprint()?;
    let anchor = blueprint.anchors.first().ok_or("no key is trusted")?;
    let named = |kid: Kid, key: &[u8]| {
        let mut place = vec![kid.as_bytes().len() as u8];
        place.extend(kid.as_bytes());
        place.resize(17, 0);
        place.extend(key);
        place
    };
    let mut siblings = blueprint.siblings.concat();
    siblings.resize(64, 0);
    let mut block = b"PKU1".to_vec();
    block.extend(blueprint.vendor);
    block.extend(blueprint.class);
    block.extend(blueprint.extension);
    block.push(blueprint.siblings.len() as u8);
    block.extend(siblings);
    block.extend(named(anchor.kid, anchor.key.as_bytes()));
    block.extend(named(blueprint.key.kid, &blueprint.key.key));
    let mut flash = vec![0xff; SIZE as usize];
    flash.splice(FACTORY..FACTORY + block.len(), block);
    Ok(flash)
}

/// A simulated flash that holds these bytes.
pub(crate) fn flash_of(blueprint: &Blueprint, bytes: &[u8]) -> Result<Flash, String> {
    let mut flash = Flash::erased(blueprint.layout.clone(), SumKey::fixed());
    for (index, word) in bytes.chunks(4).enumerate() {
        if word != [0xff; 4] {
            let change = Change::Program {
                address: index as u32 * 4,
                data: word.to_vec(),
            };
            flash.apply(&change).map_err(|fault| fault.to_string())?;
        }
    }
    Ok(flash)
}

/// An update file.
pub(crate) struct Update<'a> {
    pub(crate) version: &'a [u32],
    pub(crate) issue: u64,
    pub(crate) class: [u8; 16],
    pub(crate) image: &'a [u8],
}

impl<'a> Update<'a> {
    /// For board Q.
    pub(crate) const fn new(version: &'a [u32], issue: u64, image: &'a [u8]) -> Self {
        Self {
            version,
            issue,
            class: BOARD_Q,
            image,
        }
    }

    /// The file.
    pub(crate) fn file(&self) -> Result<Vec<u8>, String> {
        let draft = Draft {
            sequence: self.issue,
            version: self.version,
            vendor: VENDOR,
            class: self.class,
            image: self.image,
            text: &[],
            recipients: &[key()],
            // The same file every time; a maker takes fresh random bytes for each.
            content_key: [0x5c; 32],
            iv: iv([0x17; 12]),
        };
        let signing = SigningKey::from_bytes(&SECRET);
        let anchor = Anchor::ed25519(kid("maker"), signing.verifying_key().to_bytes());
        encode_checked(&draft, &anchor, |bytes| signing.sign(bytes).to_bytes()).map_err(|error| error.to_string())
    }
}

/// A stick with these files.
pub(crate) fn stick(files: &[(&str, &[u8])]) -> Result<StickImage, String> {
    let stamp = packstaff_fat::Calendar {
        year: 2026,
        month: 1,
        day: 2,
        hour: 3,
        minute: 4,
        second: 6,
    };
    let mut spec = StickSpec::usual(0x4b43_3451, stamp);
    for (name, contents) in files {
        spec = spec.with_file(*name, *contents);
    }
    packstaff_stick::build(&spec).map_err(|error| error.to_string())
}
