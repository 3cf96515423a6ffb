//! A rehearsal that fails, told in every way: the demo's ledger with a release that nobody owns up to.

use super::*;
use packstaff_bench::Silent;
use packstaff_bench::rehearse::{Beginning, Bound, Split, explore_case};
use packstaff_product::{KeyringFile, Unlock};
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::Faults;
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
fn outcome(disowned: &str) -> Outcome {
    let (bench, keyring) = open();
    let wanted = Wanted {
        boards: vec!["D".to_owned()],
        from: vec![Beginning::New],
        to: vec!["2.0".to_owned()],
        split: Split::Together,
    };
    let limits = Limits {
        faults: Faults::named("cuts,any-choice").unwrap(),
        bound: Bound::Nodes(1 << 20),
    };
    let all = cases(&bench, &wanted).unwrap();
    let [case] = &all[..] else { panic!("{all:?}") };
    let board = bench.product.board("D").unwrap();
    let files = recorded_files(&bench, board).unwrap();
    let mut board = BoardUnderTest::of(&bench, keyring.keyring(), board, files).unwrap();
    let unknown = board
        .files
        .iter()
        .find(|file| file.version == disowned)
        .map(|file| file.image);
    board.releases.retain(|image| Some(*image) != unknown);
    let none = KeepingCases::default();
    let mut outcome = Outcome::begin(&bench, &all, &none, &limits.faults, PartOf::WHOLE).unwrap();
    let done = explore_case(&board, case, &limits, &Silent).unwrap();
    outcome.cases.push(CaseOutcome::of(&bench.product.name, 0, &done));
    outcome
}

#[test]
fn a_broken_claim_is_told_in_every_way() {
    let outcome = outcome("1.8");
    let broken = &outcome.cases[0].covered.broken;
    assert_eq!(broken.len(), 1);
    assert_eq!(broken[0].claim, Claim::Authentic.id());

    let report = report_of(&outcome);
    assert_eq!(report.verdict, Verdict::Fail);
    let table = report.table(false);
    assert!(
        table.contains("NO Only whole released images start, board D"),
        "{table}"
    );
    assert!(table.contains("the owner picks version 1.8"), "{table}");
    assert!(table.contains("One claim does not hold: see above."), "{table}");
    assert!(table.contains("ok at most"), "the other claims hold:\n{table}");

    let xml = junit(&outcome);
    assert!(xml.contains("failures=\"1\""), "{xml}");
    assert!(xml.contains("the owner picks version 1.8"), "{xml}");

    let folder = tempfile::tempdir().unwrap();
    let written = draw(folder.path(), &outcome).unwrap();
    assert_eq!(written.len(), 2);
    let page = std::fs::read_to_string(folder.path().join("case-1-board-D-authentic.html")).unwrap();
    let html = Html::parse_document(&page);
    assert!(html.errors.is_empty(), "{:?}", html.errors);
    let legend = Selector::parse(".legend").unwrap();
    let legend: String = html.select(&legend).flat_map(|list| list.text()).collect();
    // The picture knows the image by its bytes, whoever owns up to it.
    assert!(legend.contains("image of 1.8"), "{legend}");
    let steps = Selector::parse("ol.story li.step").unwrap();
    assert_eq!(html.select(&steps).count(), broken[0].story.len());
}

#[test]
fn a_record_is_the_same_after_a_journey() {
    let whole = outcome("1.8");
    let text = serde_json::to_string(&serde_json::json!({ "rehearsal": whole })).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("one.json");
    std::fs::write(&file, text).unwrap();
    let back = read_outcome(&file).unwrap();
    assert_eq!(back, whole);
    assert_eq!(merge(vec![(file, back)]).unwrap(), whole);
}

/// Two cases in two parts, made up from one that was explored.
fn parts() -> Vec<(PathBuf, Outcome)> {
    let mut whole = outcome("none");
    let mut second = whole.cases[0].clone();
    second.index = 1;
    second.to = "1.8".to_owned();
    whole.cases_all = vec![whole.cases[0].name(), second.name()];
    let part = |index: usize, case: &CaseOutcome| Outcome {
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

    let complains = |parts: Vec<(PathBuf, Outcome)>, what: &str| {
        let error = merge(parts).unwrap_err().to_string();
        assert!(error.contains(what), "{error}");
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
    let mut twofold = parts;
    let case = twofold[0].1.cases[0].clone();
    twofold[0].1.cases.push(case);
    complains(twofold, "or in more than one");
}

/// What is not asked for is not cut short in silence: a case that needs more nodes than allowed has no answer at all.
#[test]
fn too_few_nodes_are_no_answer() {
    let (bench, keyring) = open();
    let ask = Ask {
        wanted: Wanted {
            boards: vec!["C".to_owned()],
            ..Wanted::default()
        },
        part: PartOf::WHOLE,
        limits: Limits {
            faults: Faults::named("cuts").unwrap(),
            bound: Bound::Nodes(50),
        },
    };
    let error = rehearse(&bench, keyring.keyring(), &ask, &Progress::new(true)).unwrap_err();
    assert!(error.to_string().contains("there are more than 50 nodes"), "{error}");
    assert!(error.help().unwrap().to_string().contains("bytes of memory each"));
}
