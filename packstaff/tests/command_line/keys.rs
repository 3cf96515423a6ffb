//! Keys: made, listed, added, retired, exported, backed up; and never shown.

use crate::support::{FAILED, Folder, HOLDS, Run, finish, tool};
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::process::Stdio;

const PASSPHRASE: &str = "six dull kilns in one yard";

/// The small product without a keyring, served for the one generation that a new keyring has.
fn without_keyring() -> Folder {
    let folder = Folder::small();
    std::fs::remove_file(folder.path("keys/keyring.age")).unwrap();
    folder.edit("product.toml", "serve = [\"g1\", \"g2\"]", "serve = [\"g2\"]");
    folder
}

fn with_variable(folder: &Folder, arguments: &[&str], passphrase: &str) -> Run {
    let mut command = folder.command(&[arguments, &["--passphrase-env", "KILN_PASSPHRASE"]].concat());
    finish(command.env("KILN_PASSPHRASE", passphrase).output().unwrap())
}

/// Standard input is a descriptor like any other.
fn with_descriptor(folder: &Folder, arguments: &[&str], passphrase: &str) -> Run {
    let mut command = folder.command(&[arguments, &["--passphrase-fd", "0"]].concat());
    command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let mut input = child.stdin.take().unwrap();
    writeln!(input, "{passphrase}").unwrap();
    drop(input);
    finish(child.wait_with_output().unwrap())
}

/// Whether only its owner can read a file.
fn is_private(folder: &Folder, name: &str) -> bool {
    folder.path(name).metadata().unwrap().permissions().mode() & 0o777 == 0o600
}

#[test]
fn a_passphrase_comes_by_variable_or_descriptor() {
    let folder = without_keyring();
    let made = with_variable(&folder, &["keys", "create", "."], PASSPHRASE).ended(HOLDS);
    assert!(made.stdout.contains("generation   g2"), "{}", made.stdout);
    assert!(is_private(&folder, "keys/keyring.age"));
    let listed = with_descriptor(&folder, &["keys", "list", "."], PASSPHRASE).ended(HOLDS);
    assert!(
        made.stdout.contains(&listed.stdout),
        "{}\n{}",
        made.stdout,
        listed.stdout
    );

    let before = folder.tree();
    with_descriptor(&folder, &["keys", "list", "."], "seven dull kilns")
        .ended(FAILED)
        .complains("stays closed");
    with_variable(&folder, &["keys", "list", "."], "")
        .ended(FAILED)
        .complains("is empty");
    folder
        .run(&["keys", "list", ".", "--passphrase-env", "NOT_SET_ANYWHERE"])
        .ended(FAILED)
        .complains("NOT_SET_ANYWHERE is not set");
    with_variable(&folder, &["keys", "create", "."], PASSPHRASE)
        .ended(FAILED)
        .complains("A keyring is never overwritten");
    assert_eq!(folder.tree(), before);
}

#[test]
fn a_short_passphrase_makes_no_keyring() {
    let folder = without_keyring();
    let before = folder.tree();
    with_variable(&folder, &["keys", "create", "."], "short")
        .ended(FAILED)
        .complains("too short");
    assert_eq!(folder.tree(), before);
}

#[test]
fn generations_come_and_go() {
    let folder = Folder::small();
    let added = folder.open(&["keys", "add", ".", "g3"]).ended(HOLDS);
    assert!(added.stdout.contains("generation   g3"), "{}", added.stdout);
    folder.open(&["keys", "add", ".", "g3"]).ended(FAILED).complains("g3");
    let retired = folder.open(&["keys", "retire", ".", "g1"]).ended(HOLDS);
    assert!(retired.stdout.contains("retired"), "{}", retired.stdout);
    assert!(is_private(&folder, "keys/keyring.age"));
    folder
        .open(&["keys", "retire", ".", "g9"])
        .ended(FAILED)
        .complains("g9");

    // The product file serves g1 still: that would make files for units that are given up.
    let before = folder.tree();
    folder.release("2.1", &[]).ended(FAILED).complains("g1");
    assert_eq!(folder.tree(), before);

    folder.edit("product.toml", "serve = [\"g1\", \"g2\"]", "serve = [\"g2\", \"g3\"]");
    let units = "\n[[generation]]\nid = \"g3\"\nunits = \"made since 2026\"\n";
    folder.write("product.toml", folder.text("product.toml") + units);
    folder.release("2.1", &[]).ended(HOLDS);
    let seen = folder.run(&["look", "out/2.1/KC4C-2-1.UPD"]).ended(HOLDS).stdout;
    assert!(
        seen.contains("g2") && seen.contains("g3") && !seen.contains(" g1"),
        "{seen}"
    );
}

#[test]
fn the_public_key_is_exported_as_openssl_reads_it() {
    let folder = Folder::small();
    let printed = folder.open(&["keys", "export", "."]).ended(HOLDS).stdout;
    assert_eq!(printed, folder.text("keys/signing-public.pem"));
    folder
        .open(&["keys", "export", ".", "--out", "public.pem"])
        .ended(HOLDS);
    assert_eq!(folder.text("public.pem"), printed);
    folder
        .open(&["keys", "export", ".", "--out", "public.pem"])
        .ended(FAILED)
        .complains("public.pem");
    let seen = tool("openssl", "openssl", |openssl| {
        openssl
            .args(["pkey", "-pubin", "-noout", "-text", "-in"])
            .arg(folder.path("public.pem"))
    });
    assert!(seen.contains("ED25519 Public-Key"), "{seen}");
}

#[test]
fn a_back_up_opens_and_is_private() {
    let folder = Folder::small();
    folder.open(&["keys", "back-up", ".", "--to", "copy.age"]).ended(HOLDS);
    assert!(folder.bytes("copy.age") == folder.bytes("keys/keyring.age"));
    assert!(is_private(&folder, "copy.age"));
    folder
        .open(&["keys", "back-up", ".", "--to", "copy.age"])
        .ended(FAILED)
        .complains("copy.age");
    folder
        .open(&["keys", "back-up", ".", "--to", "nowhere/copy.age"])
        .ended(FAILED)
        .complains("nowhere");
}

/// Everything secret in a keyring, in every form in which it could slip out. The `age` tool opens it.
fn secrets(folder: &Folder) -> Vec<String> {
    let plain = tool("age", "age", |age| {
        age.args(["--decrypt", "-i"])
            .arg(folder.path("keys/demo-identity.txt"))
            .arg(folder.path("keys/keyring.age"))
    });
    let mut secrets = Vec::new();
    for line in plain.lines() {
        if let Some(key) = line.strip_prefix("key = \"").and_then(|rest| rest.strip_suffix('"')) {
            secrets.push(key.to_owned());
            secrets.push(key.to_uppercase());
            let bytes = hex::decode(key).unwrap();
            let list = bytes.iter().map(u8::to_string).collect::<Vec<_>>().join(", ");
            secrets.push(list);
        }
        // The private half of the signing key: 48 bytes in base64 (RFC 8410, 7).
        if line.starts_with("MC4CAQAwBQYDK2Vw") {
            secrets.push(line.to_owned());
            secrets.push(line["MC4CAQAwBQYDK2VwBCIEI".len()..].to_owned());
        }
    }
    secrets.extend(
        folder
            .text("keys/demo-identity.txt")
            .lines()
            .filter(|line| line.starts_with("AGE-"))
            .map(str::to_owned),
    );
    assert!(
        secrets.len() > 2 * 3 + 2,
        "the keyring has two generations and a signing key"
    );
    secrets
}

#[test]
fn no_secret_is_ever_shown_or_written_outside_the_keyring() {
    let folder = Folder::small();
    folder.open(&["keys", "add", ".", "g3"]).ended(HOLDS);
    let secrets = secrets(&folder);
    let mut said = String::new();
    for run in [
        folder.open(&["keys", "list", "."]),
        folder.open(&["keys", "export", "."]),
        folder.open(&["keys", "add", ".", "g4"]),
        folder.open(&["keys", "back-up", ".", "--to", "copy.age"]),
        folder.release("2.1", &["--json"]),
        folder.open(&["rehearse", ".", "--version", "2.1", "--json"]),
        folder.run(&[
            "look",
            "keys/demo-identity.txt",
            "keys/keyring.age",
            "out/2.1/KC4C-2-1.UPD",
        ]),
        folder.run(&[
            "look",
            "--json",
            "keys/demo-identity.txt",
            "ledger/2.1/release.toml",
            "out/2.1/stick.img",
        ]),
    ] {
        let run = run.ended(HOLDS);
        said.push_str(&run.stdout);
        said.push_str(&run.stderr);
    }
    for name in ["ledger/2.1/release.toml", "out/2.1/report.json", "out/2.1/sheet.html"] {
        said.push_str(&folder.text(name));
    }
    for secret in secrets {
        assert!(!said.contains(&secret), "a secret slipped out");
    }
}
