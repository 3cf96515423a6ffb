//! `look`, on every kind of file that goes in or comes out, and on hostile ones.

use crate::support::{FAILED, Folder, HOLDS};
use packstaff_fat::{Calendar, Kind};
use packstaff_stick::StickSpec;
use std::fs;
use std::path::PathBuf;

/// What `look` calls the file.
fn kind(folder: &Folder, name: &str) -> String {
    let seen = folder.run(&["look", "--json", name]).ended(HOLDS).json();
    seen["kind"].as_str().unwrap().to_owned()
}

#[test]
fn every_kind_of_file_is_known() {
    let folder = Folder::small();
    folder.release("2.1", &[]).ended(HOLDS);
    for (name, expected) in [
        ("product.toml", "A product file"),
        ("notes/2.1.toml", "The notes of a release"),
        ("keys/keyring.age", "A file sealed with age: a keyring, perhaps"),
        ("keys/demo-identity.txt", "An age identity: a secret key"),
        ("keys/signing-public.pem", "A public key in PEM form"),
        ("firmware/built/2.1/kc4-c.elf", "A build (ELF)"),
        ("firmware/built/2.1/kc4-c.hex", "A build (Intel HEX)"),
        ("firmware/built/2.1/kc4-c.srec", "A build (S-record)"),
        (
            "firmware/built/2.1/kc4-c.bin",
            "Nothing that this program knows; a raw binary, perhaps",
        ),
        ("ledger/2.1/release.toml", "A record of the ledger"),
        ("ledger/2.1/KC4C-2-1.UPD", "An update file (a SUIT envelope)"),
        ("out/2.1/report.json", "A release's report"),
        (
            "out/2.1/sheet.html",
            "A web page; a release's sheet, perhaps: open it in a browser",
        ),
        ("out/2.1/stick.img", "A stick image"),
    ] {
        assert_eq!(kind(&folder, name), expected, "{name}");
    }
    let several = folder
        .run(&["look", "product.toml", "out/2.1/stick.img"])
        .ended(HOLDS)
        .stdout;
    assert!(
        several.contains("KC4C-2-1.UPD: An update file (a SUIT envelope), version 2.1"),
        "{several}"
    );
}

/// The SHA-256 that is shown is the one that coreutils computes.
#[test]
fn digests_agree_with_coreutils() {
    let folder = Folder::small();
    let name = "firmware/built/2.1/kc4-c.bin";
    let theirs = crate::support::tool("coreutils", "sha256sum", |sum| sum.arg(folder.path(name)));
    let seen = folder.run(&["look", name]).ended(HOLDS).stdout;
    assert!(
        seen.contains(theirs.split_whitespace().next().unwrap()),
        "{seen}{theirs}"
    );
}

#[test]
fn a_damaged_update_file_is_told_from_a_sound_one() {
    let folder = Folder::demo();
    let sound = folder.bytes("ledger/2.0/KC4C-2-0.UPD");
    let mut damaged = sound.clone();
    *damaged.last_mut().unwrap() ^= 0x40;
    folder.write("payload.upd", &damaged);
    folder.write("cut.upd", &sound[..sound.len() / 2]);
    let seen = folder.run(&["look", "payload.upd"]).ended(HOLDS).stdout;
    assert!(seen.contains("NO: it is damaged"), "{seen}");
    assert_eq!(kind(&folder, "cut.upd"), "An update file, damaged");
}

/// Halves and flipped bytes of everything: always an answer, never a panic.
#[test]
fn damaged_files_of_every_kind_are_described() {
    let folder = Folder::demo();
    let names = [
        "product.toml",
        "notes/2.1.toml",
        "keys/keyring.age",
        "keys/signing-public.pem",
        "firmware/built/2.1/kc4-c.elf",
        "firmware/built/2.1/kc4-c.hex",
        "firmware/built/2.1/kc4-c.srec",
        "ledger/2.0/release.toml",
        "ledger/2.0/KC4C-2-0.UPD",
    ];
    let mut made = vec!["look".to_owned(), "--json".to_owned()];
    for (number, name) in names.into_iter().enumerate() {
        let sound = folder.bytes(name);
        for (kind, content) in [
            ("half", sound[..sound.len() / 2].to_vec()),
            ("byte", sound[..1].to_vec()),
            ("flipped", flipped(&sound, 97)),
            ("noisy", flipped(&sound, 5)),
            ("long", [sound.as_slice(), &[0xff; 600]].concat()),
        ] {
            let file = format!("{number}-{kind}");
            folder.write(&file, content);
            made.push(file);
        }
    }
    let arguments: Vec<&str> = made.iter().map(String::as_str).collect();
    let run = folder.run(&arguments).ended(HOLDS);
    let seen = serde_json::Deserializer::from_str(&run.stdout).into_iter::<serde_json::Value>();
    assert_eq!(
        seen.filter(|it| it.as_ref().unwrap()["kind"].is_string()).count(),
        made.len() - 2
    );
}

fn flipped(sound: &[u8], every: usize) -> Vec<u8> {
    let flip = |(index, byte): (usize, &u8)| if index % every == every / 2 { byte ^ 0x55 } else { *byte };
    sound.iter().enumerate().map(flip).collect()
}

#[test]
fn what_cannot_be_read_is_said() {
    let folder = Folder::small();
    folder
        .run(&["look", "no-such-file"])
        .ended(FAILED)
        .complains("no-such-file cannot be read");
    folder
        .run(&["look", "notes"])
        .ended(FAILED)
        .complains("notes cannot be read");
    folder.run(&["look"]).ended(FAILED).complains("FILES");
    folder.write("empty", "");
    assert_eq!(
        kind(&folder, "empty"),
        "Nothing that this program knows; a raw binary, perhaps"
    );
}

#[test]
fn files_without_an_end_and_files_of_holes_are_not_read_whole() {
    let folder = Folder::small();
    let holes = fs::File::create(folder.path("holes")).unwrap();
    holes.set_len(1 << 40).unwrap();
    for name in ["/dev/zero", "/dev/urandom", "holes"] {
        assert_eq!(
            kind(&folder, name),
            "Not a file of ours, and too large to look into",
            "{name}"
        );
    }
}

#[test]
fn control_characters_from_outside_do_not_reach_the_terminal() {
    let folder = Folder::small();
    let escape = "\x1b]0;gotcha\x07\u{202e}";
    let report = serde_json::json!({ "heading": escape, "sections": [], "verdict": escape, "conclusion": escape });
    folder.write("report.json", report.to_string());
    folder.write("notes.toml", r#"changes = ["\u001b[2Jgone"]"#);
    let run = folder.run(&["look", "report.json", "notes.toml"]).ended(HOLDS);
    assert!(run.stdout.contains("A release's report") && run.stdout.contains("The notes of a release"));
    assert!(
        run.stdout
            .chars()
            .all(|c| c == '\n' || !c.is_control() && c != '\u{202e}'),
        "{:?}",
        run.stdout
    );
}

fn crafted(folder: &Folder, name: &str, change: impl FnOnce(&mut Vec<u8>)) -> PathBuf {
    let stamp = Calendar {
        year: 2026,
        month: 1,
        day: 1,
        hour: 12,
        minute: 0,
        second: 0,
    };
    let spec = StickSpec {
        kind: Kind::Fat16,
        size: 32 << 20,
        partitioned: false,
        ..StickSpec::usual(1, stamp)
    };
    let spec = spec.with_file("BIG.BIN", vec![0xd8; 15 << 20]);
    let path = folder.path(name);
    packstaff_stick::build(&spec).unwrap().write_to(&path).unwrap();
    let mut image = fs::read(&path).unwrap();
    change(&mut image);
    fs::write(&path, image).unwrap();
    path
}

/// 400 names for one file of 15 MiB would be 6 GB to read.
#[test]
fn a_stick_that_lists_the_same_blocks_many_times_is_not_read_for_ever() {
    let folder = Folder::small();
    crafted(&folder, "stick.img", |image| {
        let entry = image.windows(11).position(|name| name == b"BIG     BIN").unwrap();
        let pattern: [u8; 32] = image[entry..entry + 32].try_into().unwrap();
        for number in 1..400 {
            let at = entry + 32 * number;
            image[at..at + 32].copy_from_slice(&pattern);
            image[at..at + 8].copy_from_slice(format!("BIG{number:<5}").as_bytes());
        }
    });
    let began = std::time::Instant::now();
    let seen = folder.run(&["look", "stick.img"]).ended(HOLDS).stdout;
    assert!(
        seen.contains("Only files of 65536.0 KiB together were looked into"),
        "{seen}"
    );
    assert!(seen.contains("BIG399.BIN"), "{seen}");
    assert!(began.elapsed().as_secs() < 20, "{:?}", began.elapsed());
}

#[test]
fn a_stick_that_a_unit_cannot_read_is_called_that() {
    let folder = Folder::small();
    crafted(&folder, "stick.img", |image| image[13] = 3); // 3 sectors in a cluster: not a power of two
    assert_eq!(kind(&folder, "stick.img"), "A stick image that a unit cannot read");
}
