//! The verb `rehearse`: cases, parts, faults, and its reports for build servers and people.

use crate::support::{FAILED, Folder, HOLDS, row, tool, verdicts};
use scraper::{Html, Selector};
use serde_json::Value;

/// Few faults: enough for the command line, and quick.
const FEW: [&str; 2] = ["--faults", "cuts,any-choice"];

fn rehearse(folder: &Folder, more: &[&str]) -> crate::support::Run {
    folder.open(&[&["rehearse", "."], &FEW[..], more].concat())
}

#[test]
fn every_version_that_owners_may_go_to_is_come_to_from_every_other() {
    let folder = Folder::demo();
    let report = rehearse(&folder, &["--json"]).ended(HOLDS).json();
    let names = report["rehearsal"]["cases_all"].as_array().unwrap();
    let expected = [
        "board C, to 1.8, from new, 2.0",
        "board C, to 2.0, from new, 1.8",
        "board D, to 1.8, from new, 2.0",
        "board D, to 2.0, from new, 1.8",
        "settings in 24lc256, board C and D, versions 1.8, 2.0, from new",
    ];
    assert_eq!(names, &expected);
    for id in ["settings-worlds", "settings-claim-settings-kept", "settings-claim-sane"] {
        assert_eq!(verdicts(&report, "Keeping settings", id), ["pass", "pass"], "{id}");
    }
    assert_eq!(verdicts(&report, "Rehearsal, to 1.8", "from-2.0"), ["pass", "pass"]);
    assert_eq!(
        verdicts(&report, "Rehearsal, to 2.0", "claim-arrives"),
        ["pass", "pass"]
    );
    let conclusion = report["conclusion"].as_str().unwrap();
    for part in ["in the model of docs/src/rehearsal.md", "4 cases", "wavering", "pulled"] {
        assert!(conclusion.contains(part), "{part}: {conclusion}");
    }
}

#[test]
fn what_is_asked_for_is_done_and_what_is_not_there_is_said() {
    let folder = Folder::demo();
    let before = folder.tree();
    let narrow = ["--board", "D", "--to", "2.0", "--from", "1.8", "--json"];
    let report = rehearse(&folder, &narrow).ended(HOLDS).json();
    assert_eq!(report["columns"], serde_json::json!(["D"]));
    let case = &report["rehearsal"]["cases"][0];
    assert_eq!(case["from"], serde_json::json!(["1.8"]));
    let kept = &report["rehearsal"]["keeping"][0];
    assert_eq!(kept["versions"], serde_json::json!(["1.8", "2.0"]));
    assert_eq!(kept["boards"], serde_json::json!(["D"]));
    let sticks = [
        "a stick with 2.0",
        "a stick with 1.8",
        "a damaged copy of 2.0",
        "a stick for board C",
    ];
    assert_eq!(case["sticks"], serde_json::json!(sticks));
    assert_eq!(verdicts(&report, "Rehearsal", "worlds"), ["pass"]);

    let refused = |more: &[&str], why: &str| {
        rehearse(&folder, more).ended(FAILED).complains(why);
    };
    refused(&["--board", "E"], "there is no board E");
    refused(&["--to", "2.1"], "the ledger has no release of 2.1");
    refused(&["--to", "9.9"], "9.9");
    refused(&["--to", "2.0", "--from", "2.0"], "no install begins with 2.0");
    refused(&["--board", "C", "--nodes", "20"], "there are more than 20 nodes");
    let usage = |more: &[&str], why: &str| {
        folder
            .open(&[&["rehearse", "."], more].concat())
            .ended(FAILED)
            .complains(why);
    };
    usage(&["--faults", "cuts,floods"], "there is no fault `floods`");
    usage(&["--part", "3/2"], "`3/2` is no part");
    usage(&["--merge", "one.json"], "cannot be used with");
    assert_eq!(folder.tree(), before);
}

/// A product whose firmware has no layouts is rehearsed as ever, and one line says what is not known.
#[test]
fn without_layouts_settings_are_not_rehearsed() {
    let folder = Folder::small();
    std::fs::remove_dir_all(folder.path("settings")).unwrap();
    let report = folder.release("1.8", &["--json"]).ended(HOLDS).json();
    let conclusion = report["conclusion"].as_str().unwrap();
    assert!(conclusion.contains("Settings are not rehearsed"), "{conclusion}");
    assert!(row(&report, "Keeping settings", "settings-worlds").is_none());
}

#[test]
fn a_barred_version_is_not_come_to() {
    let folder = Folder::small();
    folder.release("1.8", &[]).ended(HOLDS);
    folder.edit("product.toml", "issue = 1 ", "issue = 2 ");
    folder.release("2.0", &[]).ended(HOLDS);
    rehearse(&folder, &["--to", "1.8"])
        .ended(FAILED)
        .complains("it has issue 1, and 2.0 with issue 2 bars it");
    // A stick with the barred version is among those that an owner may have.
    let report = rehearse(&folder, &["--json"]).ended(HOLDS).json();
    assert_eq!(
        report["rehearsal"]["cases_all"],
        serde_json::json!([
            "board C, to 2.0, from new, 1.8",
            "settings in 24lc256, board C, versions 1.8, 2.0, from new"
        ])
    );
    assert_eq!(verdicts(&report, "Rehearsal", "claim-floor-rises"), ["pass"]);
    let sticks = report["rehearsal"]["cases"][0]["sticks"].as_array().unwrap();
    assert!(sticks.contains(&Value::from("a stick with 1.8")), "{sticks:?}");
}

#[test]
fn parts_joined_are_the_whole() {
    let folder = Folder::demo();
    let cases = ["--to", "2.0", "--each-start"];
    let run = |part: &[&str], file: &str| {
        let said = rehearse(&folder, &[&cases[..], part, &["--json"]].concat()).ended(HOLDS);
        folder.write(file, &said.stdout);
        said.json()
    };
    let whole = run(&[], "whole.json");
    let names = [
        "board C, to 2.0, from new",
        "board C, to 2.0, from 1.8",
        "board D, to 2.0, from new",
        "board D, to 2.0, from 1.8",
        "settings in 24lc256, board C and D, versions 1.8, 2.0, from new",
    ];
    assert_eq!(whole["rehearsal"]["cases_all"], serde_json::json!(names));
    assert!(row(&whole, "Rehearsal", "worlds-from-1.8").is_some());
    for part in ["1", "2", "3"] {
        run(&["--part", &format!("{part}/3")], &format!("{part}.json"));
    }
    let second = folder.text("2.json");
    assert!(
        second.contains("Keeping settings"),
        "the fifth of five cases is in part 2 of 3"
    );
    let joined = folder.run(&["rehearse", "--json", "--merge", "3.json", "1.json", "2.json"]);
    assert_eq!(joined.ended(HOLDS).json(), whole);
    // A file alone, or what is no record, is said to be so; no key is needed for any of this.
    folder
        .run(&["rehearse", "--merge", "1.json", "3.json"])
        .ended(FAILED)
        .complains("of 3 parts 2 is missing");
    folder
        .run(&["rehearse", "--merge", "1.json", "2.json", "3.json", "2.json"])
        .ended(FAILED)
        .complains("part 2 of 3 is there twice");
    folder
        .run(&["rehearse", "--merge", "1.json", "whole.json"])
        .ended(FAILED)
        .complains("not parts of the same rehearsal");
    folder
        .run(&["rehearse", "--merge", "product.toml"])
        .ended(FAILED)
        .complains("is no record of a rehearsal");
    folder
        .run(&["rehearse", "--merge", "nowhere.json"])
        .ended(FAILED)
        .complains("cannot be read");
}

/// Python's own XML reader as a second opinion.
#[test]
fn build_servers_can_read_the_results() {
    let folder = Folder::demo();
    let said = rehearse(&folder, &["--to", "2.0", "--junit", "results.xml", "--story", "drawn"])
        .ended(HOLDS)
        .stdout;
    assert!(said.contains("wrote results.xml"), "{said}");
    let script = "
import sys, xml.etree.ElementTree as tree
root = tree.parse(sys.argv[1]).getroot()
assert root.tag == 'testsuites', root.tag
suites = root.findall('testsuite')
cases = [case for suite in suites for case in suite.findall('testcase')]
assert int(root.get('tests')) == len(cases)
assert int(root.get('failures')) == len(root.findall('.//failure')) == 0
assert all(int(suite.get('tests')) == len(suite) for suite in suites)
names = {(case.get('classname'), case.get('name'), suite.get('name')) for suite in suites for case in suite}
assert len(names) == len(cases)
print(len(suites), len(cases))
";
    let results = folder.path("results.xml");
    let counted = tool("python3", "python3", |python| python.args(["-c", script]).arg(&results));
    // Two boards; installs from new and from 1.8, and ten claims: settings are looked at in the installs. Then the settings of
    // both boards, and two claims.
    assert_eq!(counted.trim(), "3 26");

    let page = Html::parse_document(&folder.text("drawn/coverage.html"));
    assert!(page.errors.is_empty(), "{:?}", page.errors);
    let headings: Vec<String> = page
        .select(&Selector::parse("h2").unwrap())
        .map(|heading| heading.text().collect())
        .collect();
    assert_eq!(
        headings,
        ["board C, to 2.0, from new, 1.8", "board D, to 2.0, from new, 1.8"]
    );
}
