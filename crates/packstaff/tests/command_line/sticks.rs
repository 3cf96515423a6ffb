//! The verbs `stick` and `rehearse`, on what the ledger has.

use crate::support::{FAILED, Folder, HOLDS, tool, verdicts};

#[test]
fn the_stick_of_a_recorded_version_needs_no_key() {
    let folder = Folder::small();
    folder.release("1.8", &[]).ended(HOLDS);
    std::fs::remove_file(folder.path("keys/keyring.age")).unwrap();
    let said = folder
        .run(&["stick", ".", "--version", "1.8", "--out", "stick.img"])
        .ended(HOLDS)
        .stdout;
    assert!(said.contains("wrote stick.img"), "{said}");
    let drive = format!("{}@@1M", folder.path("stick.img").display());
    let listing = tool("mtools", "mdir", |mdir| mdir.args(["-b", "-i", &drive, "::"]));
    assert_eq!(
        listing.lines().collect::<Vec<_>>(),
        ["::/KC4C-1-8.UPD", "::/README.TXT"]
    );
    tool("mtools", "mcopy", |mcopy| {
        mcopy.args(["-i", &drive, "::KC4C-1-8.UPD"]).arg(folder.path("copy"))
    });
    assert!(folder.bytes("copy") == folder.bytes("ledger/1.8/KC4C-1-8.UPD"));
}

#[test]
fn there_is_no_stick_of_what_was_never_released() {
    let folder = Folder::small();
    let before = folder.tree();
    folder
        .run(&["stick", ".", "--version", "2.1", "--out", "stick.img"])
        .ended(FAILED)
        .complains("the ledger has no release of 2.1");
    folder
        .open(&["rehearse", ".", "--version", "2.1"])
        .ended(FAILED)
        .complains("no release of 2.1");
    assert_eq!(folder.tree(), before);
}

#[test]
fn a_stick_image_takes_the_place_of_ordinary_files_only() {
    let folder = Folder::small();
    folder.release("1.8", &[]).ended(HOLDS);
    let stick = |out: &str| folder.run(&["stick", ".", "--version", "1.8", "--out", out]);
    stick("notes").ended(FAILED).complains("is no ordinary file");
    // Root could even put a file in the place of a device.
    stick("/dev/null").ended(FAILED).complains("is no ordinary file");
    folder.write("old.img", "old");
    stick("old.img").ended(HOLDS);
    assert!(folder.path("old.img").metadata().unwrap().len() > 1 << 20);
}

#[test]
fn a_recorded_version_is_rehearsed_again() {
    let folder = Folder::small();
    folder.release("1.8", &[]).ended(HOLDS);
    folder.release("2.1", &[]).ended(HOLDS);
    let before = folder.tree();
    let report = folder
        .open(&["rehearse", ".", "--version", "2.1", "--json"])
        .ended(HOLDS)
        .json();
    for id in ["from-new", "from-1.8", "worlds", "claim-arrives", "claim-settings-kept"] {
        assert_eq!(verdicts(&report, "Rehearsal", id), ["pass"], "{id}");
    }
    assert_eq!(folder.tree(), before);
}
