//! The example makes a release of a copy of the demo product.

use std::fs;
use std::path::Path;
use std::process::Command;

/// The demo as it is committed, without what was released before: few installs to rehearse.
fn demo(to: &Path) {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/kc4");
    for part in ["product.toml", "notes", "keys", "settings", "firmware/built"] {
        copy(&source.join(part), &to.join(part));
    }
}

fn copy(from: &Path, to: &Path) {
    if from.is_dir() {
        fs::create_dir_all(to).unwrap();
        for entry in fs::read_dir(from).unwrap() {
            let entry = entry.unwrap();
            copy(&entry.path(), &to.join(entry.file_name()));
        }
    } else {
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::copy(from, to).unwrap();
    }
}

fn run(folder: &Path, version: &str) -> (bool, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_packstaff-example-release"));
    let arguments = [".", version, "keys/demo-identity.txt", "2026-12-01", "made"];
    let output = command.current_dir(folder).args(arguments).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.success(), text(output.stdout), text(output.stderr))
}

#[test]
fn it_shows_its_own_progress_prints_its_own_summary_and_releases() {
    let folder = tempfile::tempdir().unwrap();
    demo(folder.path());
    let (ended_well, said, shown) = run(folder.path(), "2.1");
    assert!(ended_well, "{said}{shown}");
    for line in [
        "KC-4 kiln controller, 2.1",
        "  board C: KC4C-2-1.UPD, ",
        "  board D: KC4D-2-1.UPD, ",
        "  worlds rehearsed: ",
        "  checks that need a look: 0",
        "  files written: 5",
    ] {
        assert!(
            said.lines().any(|it| it.starts_with(line)),
            "{line:?} is not in:\n{said}"
        );
    }
    assert!(
        shown.contains("... packing\n") && shown.contains("... making the stick\n"),
        "{shown}"
    );
    let report = fs::read_to_string(folder.path().join("made/report.json")).unwrap();
    assert!(
        report.contains("2.1 is released, and recorded in the ledger."),
        "{report}"
    );
    assert!(folder.path().join("ledger/2.1/release.toml").is_file());
}

#[test]
fn it_stays_short_and_needs_nothing_of_the_terminal() {
    let lines = include_str!("../src/main.rs").lines().count();
    assert!(lines < 60, "{lines} lines");
    let needs = include_str!("../Cargo.toml");
    assert!(!needs.contains("packstaff.workspace"), "{needs}");
}

#[test]
fn a_version_that_is_not_there_is_refused_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    demo(folder.path());
    let (ended_well, said, shown) = run(folder.path(), "9.9");
    assert!(!ended_well && said.is_empty(), "{said}");
    assert!(shown.contains("9.9"), "{shown}");
    assert!(!folder.path().join("ledger").exists() && !folder.path().join("made").exists());
}
