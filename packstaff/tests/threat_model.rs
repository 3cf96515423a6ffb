//! The threat model's promises, kept honest: every threat of RFC 9124, 4.2, has its row, and every test that a row names is
//! there.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// The eighteen threats of RFC 9124, 4.2.1 to 4.2.18, by their names there.
const THREATS: [&str; 18] = [
    "IMG.EXPIRED",
    "IMG.EXPIRED.OFFLINE",
    "IMG.INCOMPATIBLE",
    "IMG.FORMAT",
    "IMG.LOCATION",
    "NET.REDIRECT",
    "NET.ONPATH",
    "IMG.REPLACE",
    "IMG.NON_AUTH",
    "UPD.WRONG_PRECURSOR",
    "UPD.UNAPPROVED",
    "IMG.DISCLOSURE",
    "MFST.OVERRIDE",
    "MFST.EXPOSURE",
    "IMG.EXTRA",
    "KEY.EXPOSURE",
    "MFST.MODIFICATION",
    "MFST.TOCTOU",
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn page() -> String {
    std::fs::read_to_string(root().join("docs/src/threat-model.md")).unwrap()
}

/// The tests that a text names, as `file::function` between backticks.
fn named_tests(text: &str) -> impl Iterator<Item = (&str, &str)> {
    let words = text.split('`').skip(1).step_by(2);
    words
        .filter_map(|word| word.split_once(".rs::"))
        .filter(|(file, _)| !file.contains(' '))
}

/// Whether the Rust source has a test function of this name.
fn has_test(source: &str, function: &str) -> bool {
    let mut is_test = false;
    for line in source.lines().map(str::trim) {
        match line {
            "#[test]" => is_test = true,
            _ if line.starts_with("fn ") => {
                let name = line["fn ".len()..].split(['(', '<']).next();
                if is_test && name == Some(function) {
                    return true;
                }
                is_test = false;
            }
            _ => {}
        }
    }
    false
}

#[test]
fn every_threat_of_rfc_9124_has_a_row_with_a_test_or_a_reason() {
    let page = page();
    let rows: Vec<Vec<&str>> = page
        .lines()
        .filter(|line| line.starts_with("| 4.2."))
        .map(|line| line.trim_matches('|').split(" | ").map(str::trim).collect())
        .collect();
    assert_eq!(rows.len(), THREATS.len(), "one row a threat");
    for (index, (row, threat)) in rows.iter().zip(THREATS).enumerate() {
        let [section, name, answer, tests] = row[..] else {
            panic!("row {} has {} cells instead of 4", index + 1, row.len());
        };
        assert_eq!(section, format!("4.2.{}", index + 1));
        assert_eq!(name, threat);
        let excused = answer.starts_with("Does not apply") || answer.starts_with("Accepted");
        let attacked = named_tests(tests).count() > 0;
        assert!(attacked || excused, "{threat}: no test, and no reason for having none");
    }
}

#[test]
fn every_test_that_the_page_names_is_there() {
    let page = page();
    let named: BTreeSet<_> = named_tests(&page).collect();
    assert!(named.len() >= 25, "only {} tests are named", named.len());
    for (file, function) in named {
        let path = root().join(format!("{file}.rs"));
        let source = std::fs::read_to_string(&path)
            .unwrap_or_else(|error| panic!("docs/src/threat-model.md names {file}.rs: {error}"));
        assert!(has_test(&source, function), "{file}.rs has no test {function}");
    }
}

/// A check that finds every name proves nothing.
#[test]
fn names_that_are_not_there_are_noticed() {
    let source = "#[test]\nfn attacked() {}\n\nfn helper() {}\n/// Said.\n#[test]\nfn generic<T>() {}\n";
    assert!(has_test(source, "attacked") && has_test(source, "generic"));
    assert!(!has_test(source, "helper") && !has_test(source, "attack"));
    let named: Vec<_> = named_tests("see `a/b.rs::one`, not `a/b.rs`, and `c.rs::two`").collect();
    assert_eq!(named, [("a/b", "one"), ("c", "two")]);
}
