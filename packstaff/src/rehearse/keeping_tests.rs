//! Settings in the rehearsal: what was covered on the demo, and losses told in every way.

use super::keeping::Kept;
use super::*;
use packstaff_bench::rehearse::{Beginning, Bound};
use packstaff_bench::settings::history;
use packstaff_keeper::{Config, ConfigFault, Reply, Request};
use packstaff_mutants::keeper::in_place::Keeper;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::Faults;
use packstaff_rehearsal::explore::Progress as Seen;
use packstaff_rehearsal::settings::{KeeperMachine, Machines, Plan, Setup, explore_machines, explore_setup};
use packstaff_words::report::Verdict;
use std::path::{Path, PathBuf};

fn demo() -> Bench {
    Bench::open(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/kc4")).unwrap()
}

fn limits() -> Limits {
    Limits {
        faults: Faults::all(),
        bound: Bound::Memory(1 << 31),
    }
}

/// The demo's settings from 1.8 to 2.0, the versions in its ledger.
fn case(bench: &Bench) -> KeepingCase {
    let wanted = Wanted {
        from: vec![Beginning::Runs("1.8".to_owned())],
        to: vec!["2.0".to_owned()],
        ..Wanted::default()
    };
    let found = keeping_cases(bench, &cases(bench, &wanted).unwrap()).unwrap();
    assert_eq!(found.left_out, Vec::<String>::new());
    let [case] = &found.cases[..] else { panic!("{found:?}") };
    case.clone()
}

/// What a rehearsal says that had this case alone.
fn told(bench: &Bench, case: &KeepingCase, done: KeepingOutcome) -> Outcome {
    let keeping = KeepingCases {
        cases: vec![case.clone()],
        left_out: Vec::new(),
    };
    let mut outcome = Outcome::begin(bench, &[], &keeping, &Faults::all(), PartOf::WHOLE).unwrap();
    outcome.boards.clone_from(&case.boards);
    outcome.keeping.push(done);
    outcome
}

#[test]
fn the_demo_s_settings_survive_every_cut() {
    let bench = demo();
    let case = case(&bench);
    assert_eq!(
        case.name(),
        "settings in 24lc256, board C and D, versions 1.8, 2.0, from 1.8"
    );
    let done = explore_keeping(&bench, &case, &limits(), &Progress::new(true)).unwrap();
    assert_eq!(done.broken, []);
    assert!(done.own_code && done.unexplored.is_none());
    assert_eq!((done.places, done.places_all, done.cuts_max), (2, 2, None));
    assert_eq!((done.worlds, done.powered, done.cuts), (54, 876, 169_268));
    let outcome = told(&bench, &case, done);
    let report = report_of(&outcome);
    assert_eq!(report.verdict, Verdict::Pass);
    let said = report.conclusion;
    assert!(said.contains("any number of them one after another"), "{said}");
    assert!(said.contains("which is not rehearsed"), "{said}");
    assert_eq!(junit(&outcome).matches("<testcase ").count(), 2);
    let back: Outcome = serde_json::from_str(&serde_json::to_string(&outcome).unwrap()).unwrap();
    assert_eq!(merge(vec![(PathBuf::from("one.json"), back)]).unwrap(), outcome);
}

/// A keeper with a mistake: it writes over the record that counts.
#[derive(Clone, PartialEq, Eq, Hash)]
struct InPlace<const ROOM: usize, const ASIDE: usize>(Keeper<ROOM, ASIDE>);

impl<const ROOM: usize, const ASIDE: usize> KeeperMachine for InPlace<ROOM, ASIDE> {
    fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
        self.0.step(config, reply)
    }

    fn save(&mut self, config: &Config<'_>, payload: &[u8]) -> Result<(), ConfigFault> {
        self.0.save(config, payload)
    }

    fn settings(&self) -> &[u8] {
        self.0.settings()
    }
}

struct InPlaces;

impl Machines for InPlaces {
    type Machine<const ROOM: usize, const ASIDE: usize> = InPlace<ROOM, ASIDE>;

    fn machine<const ROOM: usize, const ASIDE: usize>(&self) -> InPlace<ROOM, ASIDE> {
        InPlace(Keeper::new())
    }
}

fn is_told(outcome: &Outcome, parts: &[&str]) {
    let broken = &outcome.keeping[0].broken;
    assert_eq!(broken.len(), 1);
    assert_eq!(broken[0].claim, Claim::SettingsKept.id());
    let report = report_of(outcome);
    assert_eq!(report.verdict, Verdict::Fail);
    let table = report.table(false);
    let xml = junit(outcome);
    assert!(xml.contains("failures=\"1\""), "{xml}");
    for part in [
        &[
            "NO Settings and calibration are kept, board C",
            "One claim does not hold",
        ],
        parts,
    ]
    .concat()
    {
        assert!(table.contains(part), "{part}:\n{table}");
    }
    for part in parts.iter().filter(|part| !part.contains('\n')) {
        assert!(xml.contains(part), "{part}:\n{xml}");
    }
}

#[test]
fn settings_carried_over_in_place_are_a_story() {
    let bench = demo();
    let case = case(&bench);
    let kept = Kept::of(&history(&bench).unwrap(), bench.parts_table(), &case, &limits()).unwrap();
    let kept = kept.unwrap_or_else(|_| panic!("it can be explored"));
    let mutated = |setup: &Setup, plan: &Plan, watch: &dyn Fn(Seen)| explore_machines(setup, plan, &InPlaces, watch);
    let done = kept.explore(&case, &limits(), &mutated, &Progress::new(true)).unwrap();
    let parts = ["The unit: with settings of version 1.8.", "no settings"];
    is_told(&told(&bench, &case, done), &parts);
}

/// The table from 1.8 to 2.0 is cut short by a byte: the keeper cannot run it, and an owner's unit would stand there.
#[test]
fn a_table_that_cannot_be_run_is_a_story() {
    let bench = demo();
    let case = case(&bench);
    let kept = Kept::of(&history(&bench).unwrap(), bench.parts_table(), &case, &limits()).unwrap();
    let mut kept = kept.unwrap_or_else(|_| panic!("it can be explored"));
    kept.plan.versions[1].tables[0].pop();
    let done = kept
        .explore(&case, &limits(), &explore_setup, &Progress::new(true))
        .unwrap();
    let parts = [
        "settings of layout 0x0108 cannot be carried over",
        "with version 2.0 installed",
    ];
    is_told(&told(&bench, &case, done), &parts);
}

/// What does not come to an end within the nodes is tried with fewer cuts, and says so; or has no answer.
#[test]
fn bounds_are_stated() {
    let bench = demo();
    let case = KeepingCase {
        versions: vec!["1.8".to_owned()],
        from: Vec::new(),
        ..case(&bench)
    };
    let few = |nodes_max| {
        let limits = Limits {
            bound: Bound::Nodes(nodes_max),
            ..limits()
        };
        explore_keeping(&bench, &case, &limits, &Progress::new(true))
    };
    let done = few(500).unwrap();
    assert_eq!(done.cuts_max, Some(1));
    let table = report_of(&told(&bench, &case, done)).table(false);
    assert!(table.contains("Every world, at most 1 cut in a row"), "{table}");
    assert!(table.contains("at most 1 of them one after another"), "{table}");
    let error = few(20).unwrap_err();
    assert!(error.to_string().contains("there are more than 20 nodes"), "{error}");
    assert!(error.help().unwrap().to_string().contains("bytes of memory each"));
}

/// Without layouts there is nothing to rehearse, and that is no error.
#[test]
fn a_product_without_layouts_is_told_so() {
    let folder = tempfile::tempdir().unwrap();
    let bench = demo();
    std::fs::copy(bench.folder().join("product.toml"), folder.path().join("product.toml")).unwrap();
    let bare = Bench::open(folder.path()).unwrap();
    let found = keeping_cases(&bare, &cases(&bench, &Wanted::default()).unwrap()).unwrap();
    assert_eq!(found.cases, []);
    assert_eq!(
        found.left_out,
        ["Settings are not rehearsed: the product folder has no settings/VERSION.toml."]
    );
}
