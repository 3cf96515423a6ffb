//! A rehearsal that fails, told in every way: the demo's ledger with a release that nobody owns up to, and settings that a keeper
//! with a mistake loses.

use packstaff_bench::rehearse::{
    Beginning, BoardUnderTest, Bound, Limits, NotExplored, PartOf, Rehearsal, RehearseError, SettingsCase, SettingsEnd,
    SettingsFrom, SettingsLost, SettingsOutcome, SettingsUnderTest, Wanted, cases, explore_case, recorded_files,
    rehearse_settings, settings_cases,
};
use packstaff_bench::settings::history;
use packstaff_bench::{Bench, Silent};
use packstaff_keeper::{Flaw, Keeper};
use packstaff_product::{KeyringFile, Unlock};
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::{Faults, Progress as Seen};
use packstaff_rehearsal::settings::{Machines, Plan, Setup, explore_machines};
use packstaff_words::Remedy;
use packstaff_words::rehearse::{
    CaseRecord, NotMerged, Record, SettingsRecord, junit, merge, pages, read_record, report_of,
};
use packstaff_words::report::Verdict;
use scraper::{Html, Selector};
use std::path::{Path, PathBuf};

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/kc4")
}

fn open() -> (Bench, KeyringFile) {
    let bench = Bench::open(&demo()).unwrap();
    let identity = demo().join("keys/demo-identity.txt");
    let keyring = bench.keyring(&mut Unlock::IdentityFile(identity)).unwrap();
    (bench, keyring)
}

/// One case of the demo's board D, in which the images of `disowned` are not among those that the maker released.
fn record(disowned: &str) -> Record {
    let (bench, keyring) = open();
    let wanted = Wanted {
        boards: vec!["D".to_owned()],
        from: vec![Beginning::New],
        to: vec!["2.0".to_owned()],
        ..Wanted::default()
    };
    let limits = Limits {
        faults: Faults::named("cuts,any-choice").unwrap(),
        bound: Bound::Nodes(1 << 20),
    };
    let all = cases(&bench, &wanted).unwrap();
    let [case] = &all[..] else { panic!("{all:?}") };
    let board = bench.board("D").unwrap();
    let files = recorded_files(&bench, board).unwrap();
    let mut board = BoardUnderTest::of(&bench, keyring.keyring(), board, files).unwrap();
    let unknown = board
        .files
        .iter()
        .find(|file| file.version == disowned)
        .map(|file| file.image);
    board.releases.retain(|image| Some(*image) != unknown);
    let mut rehearsal = Rehearsal::begin(&bench, all.clone(), &limits.faults, PartOf::WHOLE).unwrap();
    rehearsal.matrix.settings = Default::default();
    let done = explore_case(&board, case, &limits, &Silent).unwrap();
    rehearsal.installs.insert(0, done);
    Record::of(&rehearsal)
}

#[test]
fn a_broken_claim_is_told_in_every_way() {
    let record = record("1.8");
    let broken = &record.cases[0].covered.broken;
    assert_eq!(broken.len(), 1);
    assert_eq!(broken[0].claim, Claim::Authentic);

    let report = report_of(&record).unwrap();
    assert_eq!(report.verdict, Verdict::Fail);
    let table = report.table(false);
    assert!(
        table.contains("NO Only whole released images start, board D"),
        "{table}"
    );
    assert!(table.contains("the owner picks version 1.8"), "{table}");
    assert!(table.contains("One claim does not hold: see above."), "{table}");
    assert!(table.contains("ok at most"), "the other claims hold:\n{table}");

    let xml = junit(&record);
    assert!(xml.contains("failures=\"1\""), "{xml}");
    assert!(xml.contains("the owner picks version 1.8"), "{xml}");

    let pages = pages(&record);
    let names: Vec<_> = pages.iter().map(|page| page.name.as_str()).collect();
    assert_eq!(names, ["coverage.html", "case-1-board-D-authentic.html"]);
    let html = Html::parse_document(&pages[1].html);
    assert!(html.errors.is_empty(), "{:?}", html.errors);
    let legend = Selector::parse(".legend").unwrap();
    let legend: String = html.select(&legend).flat_map(|list| list.text()).collect();
    // The picture knows the image by its bytes, whoever owns up to it.
    assert!(legend.contains("image of 1.8"), "{legend}");
    let steps = Selector::parse("ol.story li.step").unwrap();
    assert_eq!(html.select(&steps).count(), broken[0].story.len());
}

fn printed(record: &Record) -> String {
    serde_json::to_string(&serde_json::json!({ "rehearsal": record })).unwrap()
}

#[test]
fn a_record_is_the_same_after_a_journey() {
    let whole = record("1.8");
    let file = PathBuf::from("one.json");
    let text = printed(&whole);
    let back = read_record(&file, text.as_bytes()).unwrap();
    assert_eq!(back, whole);
    assert_eq!(merge(vec![(file.clone(), back)]).unwrap(), whole);
    // Claims are known by their names; a record with others is none.
    let other = text.replace("\"claim\":\"authentic\"", "\"claim\":\"splendid\"");
    assert_ne!(other, text);
    let error = read_record(&file, other.as_bytes()).unwrap_err();
    assert!(error.to_string().contains("there is no claim `splendid`"), "{error}");
}

/// A record whose case is about a board that is not among its own is not told without that case.
#[test]
fn a_case_of_an_unknown_board_is_an_error() {
    let mut record = record("none");
    record.cases[0].board = "E".to_owned();
    let error = report_of(&record).unwrap_err();
    assert_eq!(error.to_string(), "a case is about board E, and the report is about D");
}

/// Two cases in two parts, made up from one that was explored.
fn parts() -> Vec<(PathBuf, Record)> {
    let mut whole = record("none");
    let mut second = whole.cases[0].clone();
    second.index = 1;
    second.to = "1.8".to_owned();
    whole.cases_all = vec![whole.cases[0].name(), second.name()];
    let part = |index: usize, case: &CaseRecord| Record {
        part: [index, 2],
        cases: vec![case.clone()],
        ..whole.clone()
    };
    vec![
        (PathBuf::from("b.json"), part(2, &second)),
        (PathBuf::from("a.json"), part(1, &whole.cases[0])),
    ]
}

#[test]
fn parts_are_joined_in_the_order_of_the_matrix_and_only_if_all_are_there() {
    let parts = parts();
    let joined = merge(parts.clone()).unwrap();
    assert_eq!(joined.part, [1, 1]);
    let order: Vec<_> = joined.cases.iter().map(|case| case.to.as_str()).collect();
    assert_eq!(order, ["2.0", "1.8"]);

    let complains = |parts: Vec<(PathBuf, Record)>, what: &str| {
        let error = merge(parts).unwrap_err();
        assert!(error.to_string().contains(what), "{error}");
        assert!(error.remedy().is_some());
    };
    complains(parts[..1].to_vec(), "of 2 parts 1 is missing");
    complains(Vec::new(), "missing");
    let twice = [&parts[..], &parts[..1]].concat();
    complains(twice, "part 2 of 2 is there twice: b.json and b.json");
    let mut other = parts.clone();
    other[1].1.matrix = "of something else".to_owned();
    complains(other, "b.json and a.json are not parts of the same rehearsal");
    let mut empty = parts.clone();
    empty[0].1.cases.clear();
    complains(empty, "the case board D, to 1.8, from new is in none of the parts");
    let mut twofold = parts.clone();
    let case = twofold[0].1.cases[0].clone();
    twofold[0].1.cases.push(case);
    complains(twofold, "or in more than one");
    let mut beyond = parts;
    let mut case = beyond[0].1.cases[0].clone();
    (case.index, case.to) = (7, "9.9".to_owned());
    beyond[0].1.cases.push(case);
    complains(beyond, "the case board D, to 9.9, from new is in none of the parts");
}

#[test]
fn what_is_no_record_is_said_to_be_so() {
    let refused = |text: &str| match read_record(Path::new("one.json"), text.as_bytes()) {
        Err(NotMerged::NoRecord { why, .. }) => why,
        other => panic!("{other:?}"),
    };
    assert!(refused("{}").contains("no entry `rehearsal`"));
    assert!(refused("{\"own_loader\": {}}").contains("which has no parts"));
    let mut record = record("none");
    record.format = 1;
    assert!(refused(&printed(&record)).contains("it has form 1, and this program reads form 2"));
}

#[test]
fn too_few_nodes_come_with_what_to_do() {
    let error = RehearseError::TooLarge {
        case: "board C".to_owned(),
        nodes: 5000,
        node_bytes: 2048,
    };
    assert!(error.to_string().contains("more than 5,000 nodes"), "{error}");
    assert!(error.remedy().unwrap().contains("about 2048 bytes of memory each"));
}

fn limits() -> Limits {
    Limits {
        faults: Faults::all(),
        bound: Bound::Memory(1 << 31),
    }
}

/// The demo's settings from 1.8 to 2.0, the versions in its ledger.
fn settings_case(bench: &Bench) -> SettingsCase {
    let wanted = Wanted {
        from: vec![Beginning::Runs("1.8".to_owned())],
        to: vec!["2.0".to_owned()],
        ..Wanted::default()
    };
    let found = settings_cases(bench, &cases(bench, &wanted).unwrap()).unwrap();
    found.cases[0].clone()
}

/// The record of a rehearsal that had this case alone.
fn settings_record(bench: &Bench, case: &SettingsCase, end: SettingsEnd) -> Record {
    let mut rehearsal = Rehearsal::begin(bench, Vec::new(), &Faults::all(), PartOf::WHOLE).unwrap();
    rehearsal.boards.clone_from(&case.boards);
    rehearsal.matrix.settings.cases = vec![case.clone()];
    rehearsal.matrix.settings.left_out = None;
    let outcome = SettingsOutcome {
        case: case.clone(),
        end,
    };
    rehearsal.settings.insert(0, outcome);
    Record::of(&rehearsal)
}

#[test]
fn settings_that_survive_every_cut_are_told() {
    let bench = Bench::open(&demo()).unwrap();
    let case = settings_case(&bench);
    let done = rehearse_settings(&bench, &case, &limits(), &Silent).unwrap();
    let record = settings_record(&bench, &case, done.end);
    let report = report_of(&record).unwrap();
    assert_eq!(report.verdict, Verdict::Pass);
    let said = report.conclusion;
    assert!(said.contains("any number of them one after another"), "{said}");
    assert!(said.contains("which is not rehearsed"), "{said}");
    assert_eq!(junit(&record).matches("<testcase ").count(), 2);
    let back = read_record(Path::new("one.json"), printed(&record).as_bytes()).unwrap();
    assert_eq!(merge(vec![(PathBuf::from("one.json"), back)]).unwrap(), record);
}

/// A keeper with a mistake.
struct Flawed(Flaw);

impl Machines for Flawed {
    fn machine<const ROOM: usize, const ASIDE: usize>(&self) -> Keeper<ROOM, ASIDE> {
        Keeper::with_flaw(self.0)
    }
}

fn is_told(record: &Record, parts: &[&str]) {
    let SettingsRecord { broken, .. } = &record.keeping[0];
    assert_eq!(broken.len(), 1);
    assert_eq!(broken[0].claim, Claim::SettingsKept);
    let report = report_of(record).unwrap();
    assert_eq!(report.verdict, Verdict::Fail);
    let table = report.table(false);
    let xml = junit(record);
    assert!(xml.contains("failures=\"1\""), "{xml}");
    for part in [
        "NO Settings and calibration are kept, board C",
        "One claim does not hold",
    ] {
        assert!(table.contains(part), "{part}:\n{table}");
    }
    for part in parts {
        assert!(table.contains(part), "{part}:\n{table}");
        assert!(xml.contains(part), "{part}:\n{xml}");
    }
}

#[test]
fn settings_that_are_lost_are_a_story() {
    let bench = Bench::open(&demo()).unwrap();
    let case = settings_case(&bench);
    let settings =
        SettingsUnderTest::of(&history(&bench).unwrap(), bench.parts_table(), &case, &Faults::all()).unwrap();
    let settings = settings.unwrap_or_else(|why| panic!("it can be explored: {why:?}"));
    let flawed =
        |setup: &Setup, plan: &Plan, watch: &dyn Fn(Seen)| explore_machines(setup, plan, &Flawed(Flaw::InPlace), watch);
    let end = settings.explore_with(&flawed, &limits(), &Silent).unwrap();
    let parts = ["The unit: with settings of version 1.8.", "no settings"];
    is_told(&settings_record(&bench, &case, end), &parts);
}

#[test]
fn settings_that_are_lost_in_any_case_are_told_without_a_story() {
    let bench = Bench::open(&demo()).unwrap();
    let lost = SettingsLost::Apart {
        first: "1.8".to_owned(),
        other: "2.0".to_owned(),
    };
    let record = settings_record(&bench, &settings_case(&bench), SettingsEnd::Lost(lost));
    is_told(
        &record,
        &["1.8 and 2.0 keep settings, or what is put aside, in different places"],
    );
}

#[test]
fn settings_that_cannot_be_explored_are_said_to_be_so() {
    let bench = Bench::open(&demo()).unwrap();
    let end = SettingsEnd::NotExplored(NotExplored::SeveralRegions);
    let report = report_of(&settings_record(&bench, &settings_case(&bench), end)).unwrap();
    assert_eq!(report.verdict, Verdict::Warn);
    let table = report.table(false);
    assert!(table.contains("the keeper works in one region"), "{table}");
    assert!(
        report.conclusion.contains("Not rehearsed: settings in 24lc256"),
        "{}",
        report.conclusion
    );
}

#[test]
fn bounds_are_stated() {
    let bench = Bench::open(&demo()).unwrap();
    let case = SettingsCase {
        versions: vec!["1.8".to_owned()],
        from: SettingsFrom::New,
        ..settings_case(&bench)
    };
    let limits = Limits {
        bound: Bound::Nodes(500),
        ..limits()
    };
    let done = rehearse_settings(&bench, &case, &limits, &Silent).unwrap();
    let table = report_of(&settings_record(&bench, &case, done.end))
        .unwrap()
        .table(false);
    assert!(table.contains("Every world, at most 1 cut in a row"), "{table}");
    assert!(table.contains("at most 1 of them one after another"), "{table}");
}
