//! The ledger on disk.

mod common;

use common::tool_output;
use packstaff_product::ledger::{Appended, BoardRecord, Difference, RECORD_FILE, RecordError, ReleaseKind};
use packstaff_product::{Date, Ledger, LedgerError, Numbers, PASSING, Record, Scheme, Uuid};
use proptest::prelude::*;
use std::fs;
use std::path::Path;

/// SHA-256 by a tool that is not ours.
fn sha256sum(content: &[u8]) -> [u8; 32] {
    let printed = tool_output("sha256sum", "coreutils", &["-"], content);
    let mut digest = [0; 32];
    hex::decode_to_slice(&printed[..64], &mut digest).unwrap();
    digest
}

fn record(version: &str, issue: u64, files: &[(&str, &str, &[u8])]) -> Record {
    let boards = files.iter().map(|(revision, file, content)| BoardRecord {
        revision: (*revision).to_owned(),
        class: Uuid::from_u128(0x2ed6_657d_e927_568b_95e1_2665_a8ae_a6a2),
        file: (*file).to_owned(),
        file_size: content.len() as u64,
        file_sha256: sha256sum(content),
        image_size: 3,
        image_sha256: [0x11; 32],
        manifest_sha256: [0x22; 32],
        signer: "21fe 31df a154 a261".to_owned(),
        tree: None,
        generations: vec!["g2".to_owned(), "g1".to_owned()],
    });
    Record {
        version: version.to_owned(),
        numbers: Scheme::Dotted
            .read(version)
            .map_or(Numbers::new(&[0]).unwrap(), |version| version.numbers()),
        issue,
        date: Date::new(2026, 1, 5).unwrap(),
        kind: ReleaseKind::Fix,
        notes: vec![
            "The lid switch is read twice.".to_owned(),
            "It says \"open\" at 100 %.".to_owned(),
        ],
        settings: None,
        boards: boards.collect(),
    }
}

const TWO: &[(&str, &str, &[u8])] = &[("D", "KC4D21.UPD", b"for D"), ("C", "KC4C21.UPD", b"for C")];

fn files<'f>(list: &[(&'f str, &'f str, &'f [u8])]) -> Vec<(&'f str, &'f [u8])> {
    list.iter().map(|(_, file, content)| (*file, *content)).collect()
}

fn names_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn a_release_is_written_as_text_that_shows_well_in_version_control() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(&folder.path().join("ledger")).unwrap();
    assert_eq!(
        ledger.append(&record("2.1", 1, TWO), &files(TWO)).unwrap(),
        Appended::Added
    );
    let release = folder.path().join("ledger/2.1");
    assert_eq!(names_in(&release), ["KC4C21.UPD", "KC4D21.UPD", "release.toml"]);
    let text = fs::read_to_string(release.join(RECORD_FILE)).unwrap();
    let expected = format!(
        r#"# A release, as it went out. Written by packstaff; do not change it.
format = 1
version = "2.1"
numbers = [2, 1]
issue = 1
date = 2026-01-05
kind = "fix"
notes = [
    "The lid switch is read twice.",
    "It says \"open\" at 100 %.",
]

[[board]]
revision = "C"
class = "2ed6657d-e927-568b-95e1-2665a8aea6a2"
file = "KC4C21.UPD"
file_size = 5
file_sha256 = "{c}"
image_size = 3
image_sha256 = "{image}"
manifest_sha256 = "{manifest}"
signer = "21fe 31df a154 a261"
generations = ["g1", "g2"]

[[board]]
revision = "D"
class = "2ed6657d-e927-568b-95e1-2665a8aea6a2"
file = "KC4D21.UPD"
file_size = 5
file_sha256 = "{d}"
image_size = 3
image_sha256 = "{image}"
manifest_sha256 = "{manifest}"
signer = "21fe 31df a154 a261"
generations = ["g1", "g2"]
"#,
        c = hex::encode(sha256sum(b"for C")),
        d = hex::encode(sha256sum(b"for D")),
        image = "11".repeat(32),
        manifest = "22".repeat(32),
    );
    assert_eq!(text, expected);
}

/// Python's TOML reader as a second opinion on what we write.
#[test]
fn python_reads_the_same_record() {
    let mut strange = record("2.1", 1, TWO);
    strange.notes = vec![
        "tab\tquote\"back\\slash \u{7f} \u{1} ä 窯".to_owned(),
        String::new(),
        "'''".to_owned(),
    ];
    let text = strange.to_text().unwrap();
    let script = "import sys, tomllib\n\
                  record = tomllib.loads(sys.stdin.buffer.read().decode())\n\
                  print(record['date'], record['numbers'], [board['revision'] for board in record['board']])\n\
                  print(repr(record['notes']))";
    let printed = String::from_utf8(tool_output(
        "python3",
        "python3",
        &["-X", "utf8", "-c", script],
        text.as_bytes(),
    ))
    .unwrap();
    assert_eq!(
        printed,
        "2026-01-05 [2, 1] ['C', 'D']\n['tab\\tquote\"back\\\\slash \\x7f \\x01 ä 窯', '', \"'''\"]\n"
    );
}

#[test]
fn the_same_again_changes_nothing_and_another_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    ledger.append(&record("2.1", 1, TWO), &files(TWO)).unwrap();
    assert_eq!(
        ledger.append(&record("2.1", 1, TWO), &files(TWO)).unwrap(),
        Appended::AlreadyThere
    );
    let mut other = record("2.1", 1, TWO);
    other.date = Date::new(2026, 1, 6).unwrap();
    other.boards[0].signer = "0000 0000 0000 0000".to_owned();
    other.boards.pop();
    let refused = ledger.append(&other, &files(&TWO[..1])).unwrap_err().to_string();
    let place = folder.path().join("2.1");
    assert_eq!(
        refused,
        format!(
            "version 2.1 of issue 1 is in the ledger already, in {}, and differs in: the date, board D, board C (only in \
             the old one). What went out is never changed: give the new release another version number",
            place.display()
        )
    );
    assert_eq!(Ledger::open(folder.path()).unwrap().releases().len(), 1);
}

/// A second program that read the ledger before the first one wrote.
#[test]
fn two_writers_cannot_overwrite_each_other() {
    let folder = tempfile::tempdir().unwrap();
    let (mut one, mut other) = (
        Ledger::open(folder.path()).unwrap(),
        Ledger::open(folder.path()).unwrap(),
    );
    one.append(&record("2.1", 1, TWO), &files(TWO)).unwrap();
    assert_eq!(
        other.append(&record("2.1", 1, TWO), &files(TWO)).unwrap(),
        Appended::AlreadyThere
    );
    let changed: &[(&str, &str, &[u8])] = &[("C", "KC4C21.UPD", b"another")];
    let refused = other.append(&record("2.1", 1, changed), &files(changed)).unwrap_err();
    assert!(matches!(refused, LedgerError::Different { .. }), "{refused}");
    assert_eq!(names_in(folder.path()), ["2.1"], "nothing unfinished is left");
    assert_eq!(fs::read(folder.path().join("2.1/KC4C21.UPD")).unwrap(), b"for C");
}

#[test]
fn releases_are_sorted_by_their_integers_and_issues_stay_apart() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let one: &[(&str, &str, &[u8])] = &[("C", "A.UPD", b"x")];
    for (version, issue) in [("3.10", 1), ("3.9", 1), ("2.0", 1), ("3.9", 3), ("3.9", 2)] {
        ledger.append(&record(version, issue, one), &files(one)).unwrap();
    }
    let again = Ledger::open(folder.path()).unwrap();
    for ledger in [&ledger, &again] {
        let order = ledger
            .releases()
            .iter()
            .map(|release| (release.record.version.as_str(), release.record.issue));
        assert!(order.eq([("2.0", 1), ("3.9", 1), ("3.9", 2), ("3.9", 3), ("3.10", 1)]));
        assert_eq!(ledger.highest_issue(), Some(3));
        assert_eq!(
            ledger.latest_issue_of("3.9").unwrap().folder,
            folder.path().join("3.9-issue-3")
        );
    }
    assert_eq!(
        names_in(folder.path()),
        ["2.0", "3.10", "3.9", "3.9-issue-2", "3.9-issue-3"]
    );
}

#[test]
fn every_difference_between_records_and_files_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    ledger.append(&record("2.0", 1, TWO), &files(TWO)).unwrap();
    ledger.append(&record("2.1", 1, TWO), &files(TWO)).unwrap();
    assert_eq!(ledger.differences(Scheme::Dotted).unwrap(), []);
    let (old, new) = (folder.path().join("2.0"), folder.path().join("2.1"));
    fs::write(old.join("KC4C21.UPD"), b"f0r C").unwrap();
    fs::write(old.join("KC4D21.UPD"), b"for D and more").unwrap();
    fs::remove_file(new.join("KC4C21.UPD")).unwrap();
    fs::write(new.join("notes.txt"), b"").unwrap();
    let found = ledger.differences(Scheme::Dotted).unwrap();
    let changed = Difference::Content {
        path: old.join("KC4C21.UPD"),
        found: hex::encode(sha256sum(b"f0r C")),
        recorded: hex::encode(sha256sum(b"for C")),
    };
    let longer = Difference::Size {
        path: old.join("KC4D21.UPD"),
        found: 14,
        recorded: 5,
    };
    let missing = Difference::Missing(new.join("KC4C21.UPD"));
    assert_eq!(
        found,
        [changed, longer, missing, Difference::Surplus(new.join("notes.txt"))]
    );
    let release = ledger.find("2.1", 1).unwrap();
    assert_eq!(
        release.update_file(release.record.board("D").unwrap()).unwrap(),
        b"for D"
    );
    release.update_file(release.record.board("C").unwrap()).unwrap_err();
    // Under another scheme the recorded integers are not what the text gives.
    let decimal = ledger.differences(Scheme::Decimal { places: 2 }).unwrap();
    let last = decimal.last().unwrap().to_string();
    assert!(
        last.ends_with("has the integers [2, 1] where the product's scheme gives [2, 10]"),
        "{last}"
    );
}

#[test]
fn what_a_cut_leaves_behind_is_not_a_release() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    ledger.append(&record("2.0", 1, TWO), &files(TWO)).unwrap();
    // A cut after the files and before the record, one in the middle of the record, and one before the rename.
    for (name, record_text) in [("a", None), ("b", Some("format = 1\nvers")), ("c", Some("format = 2"))] {
        let unfinished = folder.path().join(format!("{PASSING}{name}"));
        fs::create_dir(&unfinished).unwrap();
        fs::write(unfinished.join("KC4C21.UPD"), b"half").unwrap();
        if let Some(text) = record_text {
            fs::write(unfinished.join(RECORD_FILE), text).unwrap();
        }
    }
    let mut ledger = Ledger::open(folder.path()).unwrap();
    assert_eq!(ledger.releases().len(), 1);
    assert_eq!(ledger.differences(Scheme::Dotted).unwrap(), []);
    ledger.append(&record("2.1", 1, TWO), &files(TWO)).unwrap();
    assert_eq!(Ledger::open(folder.path()).unwrap().releases().len(), 2);
}

#[test]
fn what_cannot_be_archived_is_refused_before_anything_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let ledger_folder = folder.path().join("ledger");
    let mut ledger = Ledger::open(&ledger_folder).unwrap();
    let one: &[(&str, &str, &[u8])] = &[("C", "A.UPD", b"x")];
    let mut refuse = |record: &Record, files: &[(&str, &[u8])]| ledger.append(record, files).unwrap_err().to_string();
    let sound = record("2.1", 1, one);
    let handed = |what: &str| {
        format!("the update file A.UPD handed to the ledger is not the one that its record describes: {what}")
    };
    assert_eq!(refuse(&sound, &[]), handed("it must be handed over exactly once"));
    assert_eq!(refuse(&sound, &[("A.UPD", b"xy")]), handed("the size differs"));
    assert_eq!(refuse(&sound, &[("A.UPD", b"y")]), handed("the SHA-256 differs"));
    assert!(refuse(&sound, &[("A.UPD", b"x"), ("B.UPD", b"x")]).contains("the record does not list it"));
    assert_eq!(
        refuse(&record("../2.1", 1, one), &files(one)),
        "\"../2.1\" is not a version: a version has digits and points only"
    );
    let out_of_the_folder: &[(&str, &str, &[u8])] = &[("C", "../A.UPD", b"x")];
    assert_eq!(
        refuse(&record("2.1", 1, out_of_the_folder), &files(out_of_the_folder)),
        RecordError::FileName {
            name: "../A.UPD".to_owned()
        }
        .to_string()
    );
    let same_name: &[(&str, &str, &[u8])] = &[("C", "A.UPD", b"x"), ("D", "a.upd", b"y")];
    assert_eq!(
        refuse(&record("2.1", 1, same_name), &files(same_name)),
        "the release of 2.1 has the file name \"a.upd\" twice"
    );
    assert_eq!(
        refuse(&record("2.1", 1, &[]), &[]),
        "the release of 2.1 has no update file for any board"
    );
    assert!(!ledger_folder.exists());
}

#[test]
fn a_damaged_or_misplaced_record_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    ledger.append(&record("2.1", 1, TWO), &files(TWO)).unwrap();
    let path = folder.path().join("2.1").join(RECORD_FILE);
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replace("kind = \"fix\"", "kind = \"fx\"")).unwrap();
    let refused = Ledger::open(folder.path()).unwrap_err().to_string();
    assert!(
        refused.ends_with(":7:8: `kind` is \"fx\", which is not one of feature, fix, security. Did you mean \"fix\"?"),
        "{refused}"
    );
    fs::write(&path, &text).unwrap();
    fs::rename(folder.path().join("2.1"), folder.path().join("2.2")).unwrap();
    let refused = Ledger::open(folder.path()).unwrap_err();
    assert!(matches!(refused, LedgerError::WrongFolder { .. }), "{refused}");
    fs::rename(folder.path().join("2.2"), folder.path().join("2.1")).unwrap();
    fs::create_dir(folder.path().join("2.1-issue-1")).unwrap();
    fs::write(folder.path().join("2.1-issue-1").join(RECORD_FILE), &text).unwrap();
    let refused = Ledger::open(folder.path()).unwrap_err();
    assert!(matches!(refused, LedgerError::Twice { .. }), "{refused}");
}

proptest! {
    /// What is written reads back the same, whatever the notes hold.
    #[test]
    fn records_read_back(notes in prop::collection::vec("\\PC{0,30}|[\u{0}-\u{1f}\u{7f}-\u{9f}\"'\\\\]{0,8}", 0..4), issue in 1_u64..=u64::from(u32::MAX), numbers in prop::collection::vec(any::<u32>(), 1..=3), digest: [u8; 32]) {
        let version = numbers.iter().map(ToString::to_string).collect::<Vec<_>>().join(".");
        let board = |revision: &str| BoardRecord {
            revision: revision.to_owned(),
            class: Uuid::from_u128(u128::from(issue)),
            file: format!("{revision}.UPD"),
            file_size: issue.min(60_000_000),
            file_sha256: digest,
            image_size: 1,
            image_sha256: digest,
            manifest_sha256: digest,
            signer: "a".to_owned(),
            tree: None,
            generations: vec!["g1".to_owned()],
        };
        let record = Record {
            version,
            numbers: Numbers::new(&numbers).unwrap(),
            issue,
            date: Date::new(2026, 1, 5).unwrap(),
            kind: ReleaseKind::Security,
            notes,
            settings: None,
            boards: vec![board("C"), board("D")],
        };
        prop_assert_eq!(Record::from_text("again", &record.to_text().unwrap()).unwrap(), record);
    }
}

#[test]
fn a_layout_is_kept_with_its_release() {
    use packstaff_product::ledger::SettingsRecord;
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let (update, layout) = (b"update".as_slice(), b"format = 1\n".as_slice());
    let before = record("2.1", 1, &[("C", "KC4C-2.1.UPD", update)]);
    let mut described = before.clone();
    described.settings = Some(SettingsRecord {
        file: "settings.toml".to_owned(),
        file_size: layout.len() as u64,
        file_sha256: sha256sum(layout),
    });
    let refused = ledger.append(&described, &[("KC4C-2.1.UPD", update)]).unwrap_err();
    assert!(refused.to_string().contains("settings.toml"), "{refused}");
    let files = [("KC4C-2.1.UPD", update), ("settings.toml", layout)];
    assert_eq!(ledger.append(&described, &files).unwrap(), Appended::Added);
    let again = Ledger::open(folder.path()).unwrap();
    let release = again.find("2.1", 1).unwrap();
    assert_eq!(release.settings_file().unwrap().as_deref(), Some(layout));
    assert!(again.differences(Scheme::Dotted).unwrap().is_empty());
    let path = folder.path().join("2.1/settings.toml");
    std::fs::write(&path, "format = 2\n").unwrap();
    assert!(release.settings_file().is_err());
    assert_eq!(again.differences(Scheme::Dotted).unwrap().len(), 1);
}

#[test]
fn a_release_from_before_layouts_were_kept_stays_what_it_is() {
    use packstaff_product::ledger::SettingsRecord;
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let update = b"update".as_slice();
    let before = record("2.0", 1, &[("C", "KC4C-2.0.UPD", update)]);
    ledger.append(&before, &[("KC4C-2.0.UPD", update)]).unwrap();
    let mut described = before;
    described.settings = Some(SettingsRecord {
        file: "settings.toml".to_owned(),
        file_size: 1,
        file_sha256: sha256sum(b"x"),
    });
    let files = [("KC4C-2.0.UPD", update), ("settings.toml", b"x".as_slice())];
    assert_eq!(ledger.append(&described, &files).unwrap(), Appended::AlreadyThere);
}
