//! The example loader in C, compiled for this machine and linked with the static library, installs real update files from real
//! stick images, and leaves the same bytes in its flash as the simulation of the installer in Rust. Its refusals have the same
//! codes. The compiler's address and undefined-behaviour sanitizers look on.

use ed25519_dalek::{Signer, SigningKey};
use packstaff_envelope::encode::{Draft, encode, iv};
use packstaff_envelope::{Anchor, HeaderReader, Kid, UnitKey};
use packstaff_installer::{Layout as Slots, Region};
use packstaff_rehearsal::power_up::{Ending, Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_stick::{StickImage, StickSpec};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{Change, Flash, FlashLayout, SumKey, runs_of};
use packstaff_unit::part::PartsTable;
use packstaff_unit::world::{Settings, World};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use tempfile::TempDir;

const SIZE: u32 = 512 << 10;
/// Where the example's factory writes who a unit is.
const FACTORY: usize = 0x7e00;
/// A version that no file has: the owner declines.
const NOTHING: &str = "9 9";
const BOARD: [u8; 16] = [0x51; 16];
const OTHER_BOARD: [u8; 16] = [0xd0; 16];

/// RFC 8032, 7.1, TEST 1: a key that everybody knows.
fn signing() -> SigningKey {
    let secret = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60";
    let bytes: Vec<u8> = (0..32)
        .map(|at| u8::from_str_radix(&secret[2 * at..2 * at + 2], 16).unwrap())
        .collect();
    SigningKey::from_bytes(bytes.as_slice().try_into().unwrap())
}

fn blueprint() -> Blueprint {
    let part = PartsTable::built_in().part("stm32f405-512k").unwrap();
    let region = |base, size| Region { base, size };
    Blueprint {
        vendor: [0x4b; 16],
        class: BOARD,
        siblings: vec![OTHER_BOARD],
        anchors: vec![Anchor::ed25519(
            Kid::new(b"maker").unwrap(),
            signing().verifying_key().to_bytes(),
        )],
        key: UnitKey {
            kid: Kid::new(b"g2").unwrap(),
            key: [0x22; 32],
        },
        extension: *b"UPD",
        layout: Arc::new(FlashLayout::new(0, runs_of(part), 4, 0xff, false, part.second_program)),
        installer: region(0, 0x8000),
        floors: [region(0x8000, 0x4000), region(0xc000, 0x4000)],
        slots: Slots::Single,
        slot: region(0x1_0000, 0x7_0000),
    }
}

/// A new unit's flash: erased, but for what the factory writes.
fn new_flash(blueprint: &Blueprint) -> Vec<u8> {
    let named = |kid: &Kid, key: &[u8]| {
        let mut place = vec![kid.as_bytes().len() as u8];
        place.extend(kid.as_bytes());
        place.resize(17, 0);
        place.extend(key);
        place
    };
    let mut siblings = blueprint.siblings.concat();
    siblings.resize(64, 0);
    let parts = [
        b"PKU1".to_vec(),
        blueprint.vendor.to_vec(),
        blueprint.class.to_vec(),
        b"UPD\x01".to_vec(),
        siblings,
        named(&blueprint.anchors[0].kid, blueprint.anchors[0].key.as_bytes()),
        named(&blueprint.key.kid, &blueprint.key.key),
    ];
    let block = parts.concat();
    let mut flash = vec![0xff; SIZE as usize];
    flash[FACTORY..FACTORY + block.len()].copy_from_slice(&block);
    flash
}

fn update(version: &[u32], issue: u64, class: [u8; 16]) -> Vec<u8> {
    let image: Vec<u8> = (0..70_001_u32)
        .map(|at| (at.wrapping_mul(0x9e37_79b1) >> 21) as u8 ^ version[1] as u8)
        .collect();
    let blueprint = blueprint();
    let draft = Draft {
        sequence: issue,
        version,
        vendor: blueprint.vendor,
        class,
        image: &image,
        text: &[],
        recipients: std::slice::from_ref(&blueprint.key),
        content_key: [0x5c; 32],
        iv: iv([0x17; 12]),
    };
    encode(&draft, b"maker", |bytes| signing().sign(bytes).to_bytes()).unwrap()
}

fn stick(file: &[u8]) -> StickImage {
    let stamp = packstaff_fat::Calendar {
        year: 2026,
        month: 1,
        day: 2,
        hour: 3,
        minute: 4,
        second: 6,
    };
    let spec = StickSpec {
        size: 40 << 20,
        ..StickSpec::usual(0x4b43_3451, stamp)
    };
    let spec = StickSpec {
        kind: packstaff_fat::Kind::Fat16,
        cluster: None,
        ..spec
    };
    packstaff_stick::build(&spec.with_file("KC4.UPD", file)).unwrap()
}

/// The example's program, built for this machine.
fn program(folder: &Path) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let arguments = ["rustc", "--quiet", "--package", "packstaff-c-interface", "--lib"];
    let built = Command::new(env!("CARGO"))
        .args(arguments)
        .args(["--crate-type", "staticlib", "--message-format", "json"])
        .current_dir(&root)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&built.stdout);
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    let library = said
        .split('"')
        .rfind(|word| word.ends_with("/libpackstaff_c_interface.a"))
        .expect("cargo names the library");
    let made = Command::new("make")
        .args(["--silent", "-C"])
        .arg(root.join("ports/c-example"))
        .arg("host")
        .arg("HOST_FLAGS=-fsanitize=address,undefined -fno-sanitize-recover=all")
        .arg(format!("LIBRARY={library}"))
        .arg(format!("OUT={}", folder.display()))
        .output()
        .unwrap_or_else(|error| panic!("cannot run make: {error}; this test needs the Debian packages make and gcc"));
    assert!(
        made.status.success(),
        "{}\nthis test needs the Debian packages make, gcc and libc6-dev",
        String::from_utf8_lossy(&made.stderr)
    );
    folder.join("loader-host")
}

/// What the program said in one power-up.
fn power_c(program: &Path, folder: &Path) -> String {
    let ran = Command::new(program).current_dir(folder).output().unwrap();
    let said = String::from_utf8(ran.stderr).unwrap();
    assert!(ran.status.success(), "{said}");
    said
}

fn flash_of(blueprint: &Blueprint, bytes: &[u8]) -> Flash {
    let mut flash = Flash::erased(blueprint.layout.clone(), SumKey::fixed());
    let words = bytes.chunks(4).zip((0..).step_by(4));
    for (word, address) in words.filter(|(word, _)| *word != [0xff; 4]) {
        let data = word.to_vec();
        flash.apply(&Change::Program { address, data }).unwrap();
    }
    flash
}

/// The bench: a folder for the program, and the same unit in the simulation.
struct Bench {
    blueprint: Blueprint,
    program: PathBuf,
    folder: TempDir,
    flash: Vec<u8>,
}

impl Bench {
    /// Powers both with a stick that holds `file`, and an owner who wants version `pick`.
    fn powered(&mut self, file: &[u8], pick: &str, expected: &[&str]) {
        let image = stick(file);
        let here = self.folder.path();
        std::fs::write(here.join("flash.bin"), &self.flash).unwrap();
        std::fs::write(here.join("bench.txt"), format!("pick {pick}\n")).unwrap();
        image.write_to(here.join("stick.img")).unwrap();
        let said = power_c(&self.program, here);
        let left = std::fs::read(here.join("flash.bin")).unwrap();

        let mut world = World {
            flash: flash_of(&self.blueprint, &self.flash),
            settings: Settings::new(Vec::new()),
            stick: Some(insert(image)),
        };
        let mut header = HeaderReader::new(file.len() as u32);
        let wanted = header.feed(file).and_then(|_| header.verify(&self.blueprint.anchors));
        let owner = match wanted {
            Ok(manifest) if pick != NOTHING => Owner::wants(&manifest),
            _ => Owner::Declines,
        };
        let seen = power_up(&self.blueprint, &mut world, owner, |_, _| {});

        assert!(
            left == world.flash.bytes(0, SIZE).unwrap(),
            "flash differs after {pick}; it said:\n{said}"
        );
        for line in expected {
            assert!(said.lines().any(|said| said == *line), "not said: {line}\n{said}");
        }
        for reason in &seen.told {
            assert!(
                said.contains(&format!("display: not used {}\n", reason.code())),
                "{said}"
            );
        }
        match seen.ending {
            Ending::Started { address } => assert!(said.contains(&format!("image at {address:08x}")), "{said}"),
            Ending::Waiting(reason) => assert!(said.contains(&format!("waiting {}\n", reason.code())), "{said}"),
            other => panic!("{other:?}"),
        }
        self.flash = left;
    }
}

#[test]
fn the_same_update_leaves_the_same_bytes() {
    let built = TempDir::new().unwrap();
    let blueprint = blueprint();
    blueprint.check().unwrap();
    let mut bench = Bench {
        flash: new_flash(&blueprint),
        program: program(built.path()),
        folder: TempDir::new().unwrap(),
        blueprint,
    };
    let first = update(&[2, 0], 1, BOARD);
    let second = update(&[2, 1], 2, BOARD);
    let mut damaged = second.clone();
    let end = damaged.len();
    damaged[end - 30_000] ^= 4;
    bench.powered(&damaged, "2 1", &["display: 2.1 first ?", "display: waiting F20"]);
    bench.powered(&first, "2 0", &["display: 2.0 first ?", "image at 00010000"]);
    bench.powered(&second, NOTHING, &["display: 2.1 newer ?", "image at 00010000"]);
    bench.powered(&update(&[2, 2], 2, OTHER_BOARD), "2 2", &["display: not used N3"]);
    bench.powered(&damaged, "2 1", &["display: not used F20", "image at 00010000"]);
    bench.powered(&second, "2 1", &["display: 2.1 newer ?", "image at 00010000"]);
    bench.powered(&first, "2 0", &["display: not used N4", "image at 00010000"]);
    bench.powered(&update(&[1, 8], 2, BOARD), "1 8", &["display: 1.8 older ?"]);
    bench.powered(b"not an update", "1 8", &["display: not used F1"]);
}
