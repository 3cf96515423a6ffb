//! HSS-LMS keys: made, used up one signature at a time, and never twice.

use crate::support::{FAILED, Folder, HOLDS, MACHINE, row, verdicts};

/// The small product, whose units demand these kinds of signatures, with an HSS-LMS key of 32 signatures.
fn with_tree(g1: &str, g2: &str, digits: &str) -> Folder {
    let folder = Folder::small();
    folder.edit(
        "product.toml",
        "units = \"made before 2025\"",
        &format!("units = \"old\"\n{g1}"),
    );
    folder.edit(
        "product.toml",
        "units = \"made since 2025\"",
        &format!("units = \"new\"\n{g2}"),
    );
    let made = folder
        .open(&["keys", "add-tree", ".", "--height", "5", "--digits", digits])
        .ended(HOLDS);
    assert!(made.stdout.contains("32 of 32 signatures left"), "{}", made.stdout);
    assert!(made.stdout.contains("no count may ever go back"), "{}", made.stdout);
    folder
}

#[track_caller]
fn left(folder: &Folder, left: u32) {
    let listed = folder.open(&["keys", "list", "."]).ended(HOLDS).stdout;
    assert!(listed.contains(&format!("{left} of 32 signatures left")), "{listed}");
}

const TREE: &str = "trusts = [\"hss-lms\"]";
const BOTH: &str = "trusts = [\"ed25519\", \"hss-lms\"]";

#[test]
fn a_release_signed_with_both() {
    let folder = with_tree(TREE, BOTH, "8");
    let report = folder.release("2.1", &["--json"]).ended(HOLDS).json();
    assert_eq!(verdicts(&report, "Update file", "opens-g1"), ["pass"]);
    assert_eq!(verdicts(&report, "Update file", "opens-g2"), ["pass"]);
    let cell = &row(&report, "Update file", "one-time-keys").unwrap()[0];
    assert_eq!(cell["figure"], "31 of 32");
    left(&folder, 31);
    let record = folder.text("ledger/2.1/release.toml");
    assert!(record.contains("one_time_key = 0\n"), "{record}");

    let seen = folder.run(&["look", "ledger/2.1/KC4C-2-1.UPD"]).ended(HOLDS).stdout;
    assert!(
        seen.contains(", Ed25519") && seen.contains(", HSS-LMS, one-time key 0"),
        "{seen}"
    );

    // The same again is taken from the ledger: nothing is signed.
    folder.release("2.1", &[]).ended(HOLDS);
    left(&folder, 31);
}

#[test]
fn a_folder_that_was_put_back_does_not_sign() {
    let folder = with_tree(TREE, TREE, "4");
    // A dry run signs, so that its rehearsal is of a whole file.
    folder.release("2.0", &["--dry-run"]).ended(HOLDS);
    left(&folder, 31);
    let machine = std::fs::read_dir(folder.path(MACHINE).join("packstaff/one-time-keys")).unwrap();
    let machine = machine
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().unwrap() == "used")
        .unwrap();
    let own = folder.path("keys/keyring.age.used");
    let earlier = (std::fs::read(&own).unwrap(), std::fs::read(&machine).unwrap());
    folder.release("2.0", &[]).ended(HOLDS);
    assert!(folder.text("ledger/2.0/release.toml").contains("one_time_key = 1\n"));

    // One of the counts alone: the other knows.
    std::fs::write(&own, &earlier.0).unwrap();
    left(&folder, 30);
    // Both: the ledger knows.
    std::fs::write(&own, &earlier.0).unwrap();
    std::fs::write(&machine, &earlier.1).unwrap();
    let before = folder.tree();
    let refused = folder.release("2.1", &[]).ended(FAILED);
    refused
        .complains("the count has gone back")
        .complains("packstaff keys skip");
    assert_eq!(folder.tree(), before);
    let listed = folder.open(&["keys", "list", "."]).ended(HOLDS).stdout;
    assert!(listed.contains("cannot sign: "), "{listed}");

    folder.open(&["keys", "skip", ".", "--by", "4"]).ended(HOLDS);
    left(&folder, 26);
    // Another machine, or one that was set up anew.
    std::fs::remove_file(&machine).unwrap();
    folder
        .release("2.1", &[])
        .ended(FAILED)
        .complains("this machine has not signed");
    folder.open(&["keys", "skip", ".", "--by", "0"]).ended(HOLDS);
    // The number of signatures left is warned about, and then there are none.
    folder.open(&["keys", "skip", ".", "--by", "23"]).ended(HOLDS);
    let report = folder.release("2.1", &["--json"]).ended(HOLDS).json();
    assert_eq!(verdicts(&report, "Update file", "one-time-keys"), ["warn"]);
    folder.open(&["keys", "skip", ".", "--by", "2"]).ended(HOLDS);
    folder
        .release("1.8", &[])
        .ended(FAILED)
        .complains("has 0 of 32 signatures left");
}

#[test]
fn keys_and_room_must_be_there() {
    let folder = Folder::small();
    folder.edit(
        "product.toml",
        "units = \"made before 2025\"",
        &format!("units = \"old\"\n{TREE}"),
    );
    folder.release("2.1", &[]).ended(FAILED).complains("has no HSS-LMS key");
    folder
        .open(&["keys", "export", ".", "--kind", "hss-lms"])
        .ended(FAILED)
        .complains("packstaff keys add-tree");

    // Units that were built for Ed25519 alone have room for a small second signature, and not for a large one.
    let folder = with_tree("", TREE, "4");
    folder.release("2.1", &[]).ended(FAILED).complains("more than the 2048");
    folder.edit("product.toml", "units = \"old\"", "units = \"old\"\nheader_room = 3328");
    folder.release("2.1", &[]).ended(HOLDS);
    let exported = folder
        .open(&["keys", "export", ".", "--kind", "hss-lms"])
        .ended(HOLDS)
        .stdout;
    let digits: Vec<_> = exported.lines().filter(|line| !line.starts_with('#')).collect();
    assert_eq!(digits.len(), 2);
    assert!(
        digits[0].len() == 120 && digits[1] == format!("a3010503382d20583c{}", digits[0]),
        "{exported}"
    );
    folder
        .open(&["keys", "add-tree", "."])
        .ended(FAILED)
        .complains("is never replaced");
}
