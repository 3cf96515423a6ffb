//! Standard output and error: plain where nobody looks at them in a terminal, and closed without harm.

use crate::support::{FAILED, Folder, HOLDS, REFUSED, finish};
use std::process::Stdio;

#[test]
fn nothing_is_coloured_for_a_file() {
    let folder = Folder::small();
    let wrong = ["--build", "C=firmware/built/2.1/kc4-d.elf"];
    for run in [
        folder.release("2.1", &["--dry-run"]).ended(HOLDS),
        folder.release("2.1", &wrong).ended(REFUSED),
        folder.release("9.9", &[]).ended(FAILED),
        folder.run(&["--help"]).ended(HOLDS),
        folder.run(&["relaese"]).ended(FAILED),
        folder.run(&["look", "product.toml"]).ended(HOLDS),
    ] {
        assert!(
            !run.stdout.contains('\x1b') && !run.stderr.contains('\x1b'),
            "{}{}",
            run.stdout,
            run.stderr
        );
    }
}

#[test]
fn progress_is_for_terminals_alone() {
    let run = Folder::small().release("2.1", &["--dry-run"]).ended(HOLDS);
    assert_eq!(run.stderr, "");
}

/// A pipe that nobody reads any more.
fn closed() -> Stdio {
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    writer.into()
}

#[test]
fn a_reader_that_went_away_is_no_panic() {
    let folder = Folder::small();
    for arguments in [
        &["look", "product.toml"][..],
        &["look", "--json", "firmware/built/2.1/kc4-c.elf"],
        &["--help"],
        &["keys", "list", ".", "--identity", "keys/demo-identity.txt"],
        &[
            "release",
            ".",
            "--version",
            "2.1",
            "--dry-run",
            "--identity",
            "keys/demo-identity.txt",
        ],
    ] {
        let mut command = folder.command(arguments);
        let run = finish(command.stdout(closed()).stderr(Stdio::piped()).output().unwrap());
        run.ended(HOLDS);
    }
}

#[test]
fn a_complaint_that_nobody_reads_still_gives_its_exit_code() {
    let folder = Folder::small();
    for arguments in [
        &["look", "nothing-here"][..],
        &["release", ".", "--version", "9.9"],
        &["relaese"],
    ] {
        let mut command = folder.command(arguments);
        let status = command.stdout(closed()).stderr(closed()).status().unwrap();
        assert_eq!(status.code(), Some(FAILED), "{arguments:?}");
    }
}

#[test]
fn where_nobody_can_type_a_passphrase_the_other_ways_are_named() {
    let folder = Folder::small();
    // A session of its own has no terminal to ask at.
    let output = std::process::Command::new("setsid")
        .arg("--wait")
        .arg(folder.command(&[]).get_program())
        .args(["keys", "list", "."])
        .current_dir(folder.path("."))
        .stdin(Stdio::null())
        .output()
        .expect("this test needs `setsid`: install the Debian package `util-linux`");
    finish(output)
        .ended(FAILED)
        .complains("use an identity file, a variable or a descriptor");
}
