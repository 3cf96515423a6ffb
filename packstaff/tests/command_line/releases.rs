//! Releasing: again, dry, elsewhere, at the same time as somebody else.

use crate::support::{FAILED, Folder, HOLDS, digest, finish};
use std::process::Stdio;

#[test]
fn releasing_again_gives_the_same_bytes_and_leaves_the_ledger_alone() {
    let folder = Folder::small();
    let first = folder.release("2.1", &[]).ended(HOLDS);
    assert!(
        first.stdout.contains("2.1 is released, and recorded"),
        "{}",
        first.stdout
    );
    let update = folder.bytes("out/2.1/KC4C-2-1.UPD");
    let (stick, sheet) = (
        digest(&folder.path("out/2.1/stick.img")),
        folder.text("out/2.1/sheet.html"),
    );
    let record = folder.text("ledger/2.1/release.toml");

    // Another day: what was recorded keeps its own.
    let mut again = folder.command(&[
        "release",
        ".",
        "--version",
        "2.1",
        "--identity",
        "keys/demo-identity.txt",
    ]);
    let second = finish(again.env("SOURCE_DATE_EPOCH", "4000000000").output().unwrap()).ended(HOLDS);
    assert!(
        second.stdout.contains("recorded in the ledger already"),
        "{}",
        second.stdout
    );
    assert!(folder.bytes("out/2.1/KC4C-2-1.UPD") == update);
    assert_eq!(digest(&folder.path("out/2.1/stick.img")), stick);
    assert_eq!(folder.text("out/2.1/sheet.html"), sheet);
    assert_eq!(folder.text("ledger/2.1/release.toml"), record);
}

#[test]
fn a_dry_run_checks_everything_and_changes_nothing() {
    let folder = Folder::small();
    let before = folder.tree();
    let report = folder.release("2.1", &["--dry-run", "--json"]).ended(HOLDS).json();
    assert_eq!(report["verdict"], "pass");
    assert_eq!(report["written"], serde_json::json!([]));
    assert!(
        report["conclusion"]
            .as_str()
            .unwrap()
            .contains("nothing was recorded or written")
    );
    assert_eq!(folder.tree(), before);
}

#[test]
fn a_release_can_go_to_another_folder() {
    let folder = Folder::small();
    folder.release("2.1", &["--out", "elsewhere/deep/2.1"]).ended(HOLDS);
    assert!(folder.path("elsewhere/deep/2.1/stick.img").is_file());
    assert!(!folder.path("out").exists());
    let looked = folder.run(&["look", "elsewhere/deep/2.1/KC4C-2-1.UPD"]).ended(HOLDS);
    assert!(
        looked.stdout.contains("agrees with itself             yes"),
        "{}",
        looked.stdout
    );
}

#[test]
fn the_date_comes_from_source_date_epoch_where_it_is_set() {
    let folder = Folder::small();
    let arguments = [
        "release",
        ".",
        "--version",
        "2.1",
        "--identity",
        "keys/demo-identity.txt",
    ];
    // `date -u -d @1764028800 +%F` of GNU coreutils says 2025-11-25.
    let mut command = folder.command(&arguments);
    finish(command.env("SOURCE_DATE_EPOCH", "1764028800").output().unwrap()).ended(HOLDS);
    let record = folder.text("ledger/2.1/release.toml");
    assert!(record.contains("date = 2025-11-25"), "{record}");
    assert!(folder.text("out/2.1/sheet.html").contains("2025"));
}

#[test]
fn a_source_date_epoch_that_is_no_number_stops_the_release() {
    let folder = Folder::small();
    let before = folder.tree();
    for wrong in ["yesterday", "-5", "", "99999999999999"] {
        let mut command = folder.command(&[
            "release",
            ".",
            "--version",
            "2.1",
            "--identity",
            "keys/demo-identity.txt",
        ]);
        finish(command.env("SOURCE_DATE_EPOCH", wrong).output().unwrap())
            .ended(FAILED)
            .complains("SOURCE_DATE_EPOCH");
    }
    assert_eq!(folder.tree(), before);
}

/// Each packs with keys of its own, so their files differ; the ledger must end with one of them, whole.
#[test]
fn two_releases_of_one_version_at_the_same_time_leave_one_whole_record() {
    let folder = Folder::small();
    let start = || {
        let mut command = folder.command(&[
            "release",
            ".",
            "--version",
            "2.1",
            "--identity",
            "keys/demo-identity.txt",
        ]);
        command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
    };
    let runs = [start(), start()].map(|child| finish(child.wait_with_output().unwrap()));
    let codes = [runs[0].code, runs[1].code];
    assert!(codes.contains(&HOLDS), "{}\n{}", runs[0].stderr, runs[1].stderr);
    assert!(codes.iter().all(|code| [HOLDS, FAILED].contains(code)), "{codes:?}");
    folder.release("2.1", &[]).ended(HOLDS);
    assert_eq!(
        folder.bytes("ledger/2.1/KC4C-2-1.UPD"),
        folder.bytes("out/2.1/KC4C-2-1.UPD")
    );
}
