//! `rehearse` with a folder that describes a unit with a loader of its maker's own. Built with the feature `own-loader`, as the
//! house's check does.

#![cfg(feature = "own-loader")]

use assert_cmd::Command;
use scraper::{Html, Selector};
use std::path::{Path, PathBuf};

fn example() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/own-loader")
}

/// A copy of the example's folder, whose loader is another module.
fn with_module(module: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let copy = |from: &Path, to: &Path| {
        std::fs::create_dir_all(to).unwrap();
        for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
            if entry.path().is_file() {
                std::fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
            }
        }
    };
    for part in ["", "images", "sticks"] {
        copy(&example().join(part), &folder.path().join(part));
    }
    std::fs::copy(example().join(module), folder.path().join("loader.wasm")).unwrap();
    folder
}

fn rehearse(folder: &Path, options: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(assert_cmd::cargo::cargo_bin!("packstaff"))
        .arg("rehearse")
        .arg(folder)
        .args(options)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn a_right_loader_holds() {
    let (code, told, _) = rehearse(&example(), &[]);
    assert_eq!(code, Some(0), "{told}");
    assert!(
        told.contains("Every world, every cut") && told.contains("Not judged"),
        "{told}"
    );
}

#[test]
fn a_planted_fault_is_told_with_its_story() {
    let folder = with_module("faulty-1.wasm");
    let (code, told, _) = rehearse(folder.path(), &[]);
    assert_eq!(code, Some(1), "{told}");
    assert!(
        told.contains("Power fails") && told.contains("One claim does not hold"),
        "{told}"
    );
    let (code, json, _) = rehearse(folder.path(), &["--json"]);
    assert_eq!(code, Some(1));
    let report: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(report["verdict"], "fail");
}

/// The same folder with more said in its description.
fn described(folder: &Path, more: &str) {
    let path = folder.join("unit.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, text + more).unwrap();
}

/// The image, but not the record behind it: few worlds are left then, and the verdict is the same.
const REDUCED: &str = "\n[[erased_before_read]]\nbase = 0x0800_0200\nsize = 488\n";
const TO_THE_END: &str = "\n[limits]\nstop_at_first = false\n";

#[test]
fn options_for_products_are_refused_with_what_to_do_instead() {
    for (options, instead) in [
        (&["--board", "C"][..], "make a folder for each board"),
        (&["--to", "2.0"], "[[stick]]"),
        (&["--from", "new"], "[[unit]]"),
        (&["--each-start"], "one after the other"),
        (&["--part", "1/2"], "make the unit smaller"),
        (&["--identity", "key.txt"], "needs no key"),
        (&["--passphrase-env", "PASS"], "needs no key"),
    ] {
        let (code, told, complaint) = rehearse(&example(), options);
        assert_eq!((code, told.as_str()), (Some(2), ""), "{options:?}");
        let complaint = complaint.split_whitespace().collect::<Vec<_>>().join(" ");
        let refused = format!("{} is for product folders", options[0]);
        assert!(
            complaint.contains(&refused) && complaint.contains(instead),
            "{complaint}"
        );
    }
    let (code, _, complaint) = rehearse(&example(), &["--merge", "1.json"]);
    assert_eq!(code, Some(2));
    assert!(complaint.contains("cannot be used with"), "{complaint}");
}

/// What its report says is no part of a product's rehearsal.
#[test]
fn its_record_is_not_joined_with_others() {
    let folder = with_module("faulty-1.wasm");
    let (_, json, _) = rehearse(folder.path(), &["--json"]);
    let record = folder.path().join("record.json");
    std::fs::write(&record, json).unwrap();
    let output = Command::new(assert_cmd::cargo::cargo_bin!("packstaff"))
        .args(["rehearse", "--merge"])
        .arg(&record)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let complaint = String::from_utf8_lossy(&output.stderr).into_owned();
    let complaint = complaint.replace("\n  │", "");
    assert!(
        complaint.contains("a maker's own loader, which has no parts"),
        "{complaint}"
    );
}

#[test]
fn faults_and_nodes_are_as_asked_for() {
    let json = |folder: &Path, options: &[&str]| {
        let (code, told, complaint) = rehearse(folder, &[options, &["--json"]].concat());
        let report: serde_json::Value = serde_json::from_str(&told).unwrap_or_else(|_| panic!("{complaint}"));
        (code, report)
    };
    // Without a cut, nothing is wrong with a loader that trusts its record.
    let folder = with_module("faulty-1.wasm");
    let (code, report) = json(folder.path(), &["--faults", "none"]);
    assert_eq!((code, &report["verdict"]), (Some(0), &"pass".into()));
    assert_eq!(report["own_loader"]["faults"], serde_json::json!([]));
    assert_eq!(report["own_loader"]["cases"][0]["cuts"], 0);
    let conclusion = report["conclusion"].as_str().unwrap();
    assert!(
        conclusion.contains("without any cut") && conclusion.contains("left out: cuts, torn-programs"),
        "{conclusion}"
    );

    // What unit.toml says counts where nothing is asked for; and `any-choice` stands for nothing here.
    described(folder.path(), "\n[faults]\nwavering = false\n");
    let named = |options: &[&str]| json(folder.path(), options).1["own_loader"]["faults"].clone();
    let but_wavering = serde_json::json!(["cuts", "torn-programs", "torn-erases", "pulled", "swapped"]);
    assert_eq!(named(&[]), but_wavering);
    assert_eq!(named(&["--faults", "no-wavering"]), but_wavering);
    assert_eq!(named(&["--faults", "cuts,any-choice"]), serde_json::json!(["cuts"]));

    let (code, _, complaint) = rehearse(&example(), &["--nodes", "50"]);
    assert_eq!(code, Some(2));
    assert!(
        complaint.contains("more than 50 nodes") && complaint.contains("--nodes"),
        "{complaint}"
    );
    let (code, _, complaint) = rehearse(&example(), &["--faults", "floods"]);
    assert_eq!(code, Some(2));
    assert!(complaint.contains("there is no fault `floods`"), "{complaint}");
}

/// Tests, failures and skipped tests of a document, and its first failure, as Python's own XML reader sees them.
fn counted(file: &Path) -> String {
    const SCRIPT: &str = "
import sys, xml.etree.ElementTree as tree
root = tree.parse(sys.argv[1]).getroot()
assert root.tag == 'testsuites', root.tag
suites = root.findall('testsuite')
cases = [case for suite in suites for case in suite.findall('testcase')]
assert int(root.get('tests')) == len(cases)
assert int(root.get('failures')) == len(root.findall('.//failure'))
for suite in suites:
    assert int(suite.get('tests')) == len(suite)
    assert int(suite.get('failures')) == len(suite.findall('testcase/failure'))
    assert int(suite.get('skipped')) == len(suite.findall('testcase/skipped'))
names = {(case.get('classname'), case.get('name'), suite.get('name')) for suite in suites for case in suite}
assert len(names) == len(cases)
print([suite.get('name') for suite in suites])
print(len(cases), len(root.findall('.//failure')), len(root.findall('.//skipped')))
for case in cases:
    for failure in case.findall('failure'):
        print(case.get('name').split(':')[0], '|', failure.get('message'), '|', failure.text.splitlines()[-1])
";
    let output = std::process::Command::new("python3")
        .args(["-c", SCRIPT])
        .arg(file)
        .output()
        .unwrap_or_else(|error| panic!("cannot run python3: {error}; this test needs the Debian package python3"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn build_servers_can_read_the_results() {
    let results = |folder: &Path, code| {
        let file = folder.join("results.xml");
        let (ended, told, _) = rehearse(folder, &["--junit", file.to_str().unwrap()]);
        assert_eq!(ended, Some(code), "{told}");
        assert!(told.contains("results.xml"), "{told}");
        counted(&file)
    };
    let right = with_module("loader.wasm");
    described(right.path(), REDUCED);
    let suites = "['to 2.0, with a stick with 2.0', 'to 1.8, with a stick with 1.8']";
    assert_eq!(results(right.path(), 0), format!("{suites}\n12 0 0\n"));

    // It ends at the first claim that does not hold: what was not looked at to the end has neither held nor failed.
    let faulty = with_module("faulty-3.wasm");
    described(faulty.path(), REDUCED);
    let failure = "harmless | an erase of the sector at 0x08000300 is asked for | 2. Power comes on, with a damaged stick in place; the \
                   unit asks for an erase of the sector at 0x08000300 (slot, record).";
    let suites_begun = "['to 2.0, with a stick with 2.0', 'to 1.8']";
    assert_eq!(
        results(faulty.path(), 1),
        format!("{suites_begun}\n12 1 11\n{failure}\n")
    );
    described(faulty.path(), TO_THE_END);
    assert_eq!(
        results(faulty.path(), 1),
        format!("{suites}\n12 2 0\n{failure}\n{failure}\n")
    );
}

/// A page that needs nothing else, and is HTML without a mistake.
fn page(file: &Path) -> Html {
    let text = std::fs::read_to_string(file).unwrap();
    for foreign in [
        "http:", "https:", "<script", "<link", "src=", "@import", "<img", "<iframe",
    ] {
        assert!(!text.contains(foreign), "{foreign} in {}", file.display());
    }
    // What is painted with is on the page itself.
    for paint in text.split("url(").skip(1).filter_map(|rest| rest.split(')').next()) {
        let id = paint.strip_prefix('#').unwrap_or_else(|| panic!("{paint}"));
        assert_eq!(text.matches(&format!("id=\"{id}\"")).count(), 1, "{id}");
    }
    let page = Html::parse_document(&text);
    assert!(page.errors.is_empty(), "{:?}", page.errors);
    page
}

fn texts(page: &Html, selector: &str) -> Vec<String> {
    let selector = Selector::parse(selector).unwrap();
    page.select(&selector).map(|element| element.text().collect()).collect()
}

#[test]
fn a_story_is_drawn_with_the_areas_of_the_description() {
    let folder = with_module("faulty-1.wasm");
    let drawn = folder.path().join("drawn");
    let (code, json, _) = rehearse(folder.path(), &["--json", "--story", drawn.to_str().unwrap()]);
    assert_eq!(code, Some(1));
    let report: serde_json::Value = serde_json::from_str(&json).unwrap();
    let file = drawn.join("case-1-to-2-0-authentic.html");
    let written: Vec<_> = report["written"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|one| one.as_str())
        .collect();
    assert_eq!(
        written,
        [drawn.join("coverage.html").to_str().unwrap(), file.to_str().unwrap()]
    );
    let page = page(&file);
    // The account is that of the report.
    let told: Vec<String> = report["own_loader"]["cases"][0]["broken"][0]["story"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| line.as_str().unwrap().split_once(". ").unwrap().1.to_owned())
        .collect();
    assert_eq!(texts(&page, "li.step p"), told);
    assert_eq!(
        told,
        [
            "The unit: with 1.8.",
            "Power comes on, with a stick with 2.0 in place; the unit asks for an erase of the sector at 0x08000200 (slot).",
            "Power fails inside an erase of the sector at 0x08000200 (slot): all its bits were programmed, in preparation of the erase.",
            "Power comes on, without a stick; what lies at 0x08000200 (slot) is started.",
        ]
    );
    let heads = texts(&page, "svg.names text");
    let expected = [
        "loader",
        "slot, 0x08000200 to 0x080003e7",
        "256 bytes",
        "232 bytes",
        "record",
    ];
    assert_eq!(heads, expected);
    // The loader stays, the image goes, and the record still speaks for it: that is the mistake.
    let worlds: Vec<_> = (1..=4)
        .map(|step| texts(&page, &format!("li.step:nth-of-type({}) svg text", step + 1)).join(" "))
        .collect();
    let whole = "1.8 as it was 1.8";
    assert_eq!(worlds, [whole, whole, "as it was 1.8", "as it was 1.8"]);
    let paints = |step: usize, paint: &str| {
        let selector = format!("li.step:nth-of-type({}) svg [fill='{paint}']", step + 1);
        page.select(&Selector::parse(&selector).unwrap()).count()
    };
    let image = |step| (paints(step, "url(#was)"), paints(step, "url(#neither)"));
    assert_eq!([1, 2, 3, 4].map(image), [(1, 0), (1, 0), (0, 1), (0, 1)]);
    // Where the cut tore is marked, in that step alone.
    assert_eq!(texts(&page, "li.cut path.torn").len(), 1);
    assert_eq!(texts(&page, "path.torn").len(), 1);
    let words = texts(&page, ".broken p, .end p").join(" ");
    assert!(
        words.contains("does not hold. What was started is no whole image"),
        "{words}"
    );
}

/// A unit that is stuck, with a good stick: the story leads there, and says what the owner sees.
#[test]
fn a_unit_that_is_stuck_is_drawn() {
    let folder = with_module("faulty-4.wasm");
    described(folder.path(), REDUCED);
    let drawn = folder.path().join("drawn");
    let (code, told, _) = rehearse(folder.path(), &["--story", drawn.to_str().unwrap()]);
    assert_eq!(code, Some(1), "{told}");
    let page = page(&drawn.join("case-1-to-2-0-arrives.html"));
    let steps = texts(&page, "li.step p");
    let cut = steps.last().unwrap();
    assert!(
        cut.starts_with("Power fails inside a program of 24 bytes at 0x080003e8 (record)"),
        "{cut}"
    );
    let end = texts(&page, ".end p").concat();
    let stuck = "With a good stick and no further cut, the unit waits: flash fault (U3).";
    assert!(end.ends_with(stuck), "{end}");
    let torn = "li.cut rect.doubt title";
    assert_eq!(texts(&page, torn), ["cannot be read: check bits do not fit"]);
    // All worlds on the way to 2.0 were looked at before it could be said that this one is stuck.
    assert!(
        told.contains("Every world, every cut") && told.contains("The way to 1.8 was not looked at"),
        "{told}"
    );
}

#[test]
fn what_was_covered_is_drawn() {
    let folder = with_module("loader.wasm");
    described(folder.path(), REDUCED);
    let drawn = folder.path().join("drawn");
    let (code, json, _) = rehearse(folder.path(), &["--json", "--story", drawn.to_str().unwrap()]);
    assert_eq!(code, Some(0));
    let report: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(std::fs::read_dir(&drawn).unwrap().count(), 1, "nothing is broken");
    let page = page(&drawn.join("coverage.html"));
    assert_eq!(
        texts(&page, "h2"),
        [
            "Towards 2.0, with a stick with 2.0",
            "Towards 1.8, with a stick with 1.8"
        ]
    );
    let kinds = ["erasing", "programming", "nothing: power off", "all"];
    assert_eq!(texts(&page, "tbody th"), [kinds, kinds].concat());
    let figures = |row: usize| -> Vec<u64> {
        let cells = texts(&page, &format!("table:first-of-type tbody tr:nth-child({row}) td"));
        cells
            .iter()
            .take(3)
            .map(|cell| cell.replace(',', "").parse().unwrap_or(0))
            .collect()
    };
    let case = &report["own_loader"]["cases"][0];
    let all = ["powered", "cuts", "worlds"].map(|name| case[name].as_u64().unwrap());
    assert_eq!(figures(4), all);
    let sum: Vec<u64> = (0..3).map(|at| (1..=3).map(|row| figures(row)[at]).sum()).collect();
    assert_eq!(sum, all, "the parts are the whole");
}
