//! The guide's page on sticks names every finding that there is.

use std::collections::BTreeSet;

const SOURCES: [&str; 5] = [
    include_str!("../src/examine/mod.rs"),
    include_str!("../src/examine/files.rs"),
    include_str!("../src/examine/finding.rs"),
    include_str!("../src/examine/units.rs"),
    include_str!("../src/examine/volumes.rs"),
];

/// Words that look like a finding's name in the sources: in quotes, lower case and hyphens.
fn named() -> BTreeSet<&'static str> {
    let is_name = |text: &&str| {
        text.len() > 2
            && text.starts_with(|c: char| c.is_ascii_lowercase())
            && text
                .chars()
                .all(|c| c.is_ascii_lowercase() || c == '-' || c.is_ascii_digit())
    };
    // What stands directly behind one of these, with nothing but space between.
    let starts = [
        "Finding::new(",
        "wrong_format(",
        "=> (",
        "=> {\n            (",
        "let (id, owner) = match reason {\n        Reason::OtherMaker => (",
    ];
    let mut names = BTreeSet::new();
    for source in SOURCES {
        for start in starts {
            for behind in source.split(start).skip(1) {
                if let Some(quoted) = behind.trim_start().strip_prefix('"') {
                    names.extend(quoted.split('"').next().filter(is_name));
                }
            }
        }
    }
    names
}

#[test]
fn every_finding_is_on_the_page() {
    let page = include_str!("../../../docs/src/sticks.md");
    let (_, table) = page.split_once("### What it finds").unwrap();
    let rows = table.lines().filter(|line| line.starts_with("| `"));
    let shown: BTreeSet<&str> = rows
        .filter_map(|row| row.split('|').nth(1))
        .flat_map(|cell| cell.split(',').map(|name| name.trim().trim_matches('`')))
        .collect();
    let named = named();
    assert!(named.len() > 60, "{} names found in the sources", named.len());
    let missing: Vec<_> = named.difference(&shown).collect();
    assert!(missing.is_empty(), "not on the page: {missing:?}");
    let gone: Vec<_> = shown.difference(&named).collect();
    assert!(gone.is_empty(), "on the page, and no finding: {gone:?}");
}
