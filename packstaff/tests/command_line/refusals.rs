//! What a release refuses, how it says so, and that nothing is left behind.

use crate::support::{FAILED, Folder, HOLDS, REFUSED, Run, verdicts};

/// Releases 2.1 of board C from another build. Nothing may be written, whatever comes of it.
fn with_build(folder: &Folder, build: &str, code: i32) -> Run {
    let before = folder.tree();
    let run = folder
        .release("2.1", &["--build", &format!("C={build}"), "--json"])
        .ended(code);
    assert_eq!(folder.tree(), before);
    run
}

#[test]
fn another_board_s_build_is_refused_by_name_of_the_check() {
    let folder = Folder::small();
    let report = with_build(&folder, "firmware/built/2.1/kc4-d.elf", REFUSED).json();
    assert_eq!(report["verdict"], "fail");
    assert_eq!(verdicts(&report, "Build", "start"), ["fail"]);
    assert_eq!(report["written"], serde_json::json!([]));
    let said = folder
        .release("2.1", &["--build", "C=firmware/built/2.1/kc4-d.elf"])
        .ended(REFUSED)
        .stdout;
    assert!(
        said.contains("NO The image begins where the slot begins, board C"),
        "{said}"
    );
    assert!(said.contains("0x0800A000") && said.contains("0x08010000"), "{said}");
    assert!(said.contains("Nothing was packed or written."), "{said}");
}

#[test]
fn a_build_that_is_too_large_is_refused_with_both_sizes() {
    let folder = Folder::small();
    let mut image = folder.bytes("firmware/built/2.1/kc4-c.bin");
    let mut state = 1_u32;
    image.resize_with(0x70000, || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    });
    folder.write("large.bin", image);
    let report = with_build(&folder, "large.bin", REFUSED).json();
    assert_eq!(verdicts(&report, "Build", "fits"), ["fail"]);
    let cell = &crate::support::row(&report, "Build", "fits").unwrap()[0];
    assert!(cell["found"].as_str().unwrap().contains("458,752"), "{cell}");
}

#[test]
fn garbage_is_refused() {
    let folder = Folder::small();
    let noise: Vec<u8> = (0..50_000_u32)
        .map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    folder.write("noise", noise);
    folder.write("empty", "");
    let mut cut = folder.bytes("firmware/built/2.1/kc4-c.elf");
    cut.truncate(1000);
    folder.write("cut.elf", cut);
    let mut hex = folder.text("firmware/built/2.1/kc4-c.hex");
    hex.insert_str(200, "00");
    folder.write("wrong.hex", hex);
    for build in ["noise", "empty", "cut.elf", "wrong.hex"] {
        let report = with_build(&folder, build, REFUSED).json();
        assert_eq!(report["verdict"], "fail", "{build}");
    }
}

#[test]
fn what_is_not_there_stops_the_work() {
    let folder = Folder::small();
    with_build(&folder, "no-such.elf", FAILED).complains("no-such.elf, cannot be read");
    let before = folder.tree();
    folder
        .release("9.9", &[])
        .ended(FAILED)
        .complains("version 9.9 is not listed in product.toml, which has 1.8, 2.0, 2.1");
    folder.release("2.x", &[]).ended(FAILED).complains("2.x");
    folder
        .release("2.1", &["--build", "X=firmware/built/2.1/kc4-c.elf"])
        .ended(FAILED)
        .complains("there is no board X in product.toml, which has C");
    let twice = ["--build", "C=one.elf", "--build", "C=two.elf"];
    folder
        .release("2.1", &twice)
        .ended(FAILED)
        .complains("two builds: one.elf and two.elf");
    folder
        .release("2.1", &["--build", "kc4-c.elf"])
        .ended(FAILED)
        .complains("BOARD=FILE");
    let elsewhere = folder.open(&["release", "notes", "--version", "2.1"]).ended(FAILED);
    elsewhere.complains("notes holds no product.toml");
    assert_eq!(folder.tree(), before);
}

#[test]
fn a_wrong_identity_opens_nothing() {
    let folder = Folder::small();
    let before = folder.tree();
    let stranger = age::x25519::Identity::generate();
    let strangers = folder.path("stranger.txt");
    std::fs::write(
        &strangers,
        age::secrecy::ExposeSecret::expose_secret(&stranger.to_string()),
    )
    .unwrap();
    let run = |identity: &str| folder.run(&["release", ".", "--version", "2.1", "--identity", identity]);
    run("stranger.txt").ended(FAILED).complains("stays closed");
    run("nowhere.txt").ended(FAILED).complains("nowhere.txt");
    run("product.toml").ended(FAILED).complains("is not an age identity");
    std::fs::remove_file(strangers).unwrap();
    assert_eq!(folder.tree(), before);
}

#[test]
fn one_version_has_one_image() {
    let folder = Folder::small();
    folder.release("2.1", &[]).ended(HOLDS);
    let report = with_build(&folder, "firmware/built/2.0/kc4-c.elf", REFUSED).json();
    assert_eq!(verdicts(&report, "Build", "recorded"), ["fail"]);
}

#[test]
fn a_damaged_archive_is_noticed_by_every_verb_that_uses_it() {
    let folder = Folder::small();
    folder.release("1.8", &[]).ended(HOLDS);
    folder.release("2.1", &[]).ended(HOLDS);
    let name = "ledger/1.8/KC4C-1-8.UPD";
    let mut file = folder.bytes(name);
    *file.last_mut().unwrap() ^= 1;
    folder.write(name, &file);
    let before = folder.tree();
    for run in [
        folder.release("2.1", &[]),
        folder.release("1.8", &[]),
        folder.open(&["rehearse", ".", "--version", "2.1"]),
        folder.run(&["stick", "make", ".", "--version", "1.8", "--out", "stick.img"]),
    ] {
        run.ended(FAILED)
            .complains("KC4C-1-8.UPD has the SHA-256")
            .complains("Take the file from your version control");
    }
    std::fs::remove_file(folder.path(name)).unwrap();
    folder
        .release("2.1", &[])
        .ended(FAILED)
        .complains("KC4C-1-8.UPD is missing");
    folder.write(name, &file);
    assert_eq!(folder.tree(), before);
}

#[test]
fn a_damaged_record_is_pointed_at() {
    let folder = Folder::small();
    folder.release("1.8", &[]).ended(HOLDS);
    folder.edit("ledger/1.8/release.toml", "issue = 1", "issue = one");
    folder
        .release("2.1", &[])
        .ended(FAILED)
        .complains("the ledger cannot be used")
        .complains("ledger/1.8/release.toml:5:");
}

#[test]
fn mistakes_in_the_product_file_are_pointed_at_all_at_once() {
    let folder = Folder::small();
    folder.edit("product.toml", "scheme = \"dotted\"", "scheme = \"doted\"");
    folder.edit("product.toml", "oldest = ", "oldst = ");
    let text = folder.text("product.toml");
    let line = |of: &str| text.lines().position(|line| line.starts_with(of)).unwrap() + 1;
    let run = folder.release("2.1", &[]).ended(FAILED);
    run.complains(&format!("product.toml:{}:", line("scheme")))
        .complains("Did you mean \"dotted\"?")
        .complains(&format!("product.toml:{}:", line("oldst")))
        .complains("Did you mean `oldest`?");
}

#[test]
fn notes_that_cannot_be_read_stop_the_release() {
    let folder = Folder::small();
    folder.write("notes/2.1.toml", "changes = [\"New\"]\nhazard = 1\n");
    folder
        .release("2.1", &[])
        .ended(FAILED)
        .complains("unknown field `hazard`")
        .complains("2.1.toml:2:1");
}
