//! Installs of the demo, rehearsed: what holds, what does not, and what has no answer.

use packstaff_bench::rehearse::{
    Ask, Beginning, BoardUnderTest, Bound, CaseOutcome, Limits, PartOf, Places, RehearseError, Wanted, Way, cases,
    recorded_files, rehearse, rehearse_board,
};
use packstaff_bench::{Bench, Explored, Progress, Silent, Step};
use packstaff_product::{KeyringFile, Unlock};
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::Faults;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/kc4")
}

fn open() -> (Bench, KeyringFile) {
    let bench = Bench::open(&demo()).unwrap();
    let identity = demo().join("keys/demo-identity.txt");
    let keyring = bench.keyring(&mut Unlock::IdentityFile(identity)).unwrap();
    (bench, keyring)
}

fn limits(faults: &str, nodes: usize) -> Limits {
    Limits {
        faults: Faults::named(faults).unwrap(),
        bound: Bound::Nodes(nodes),
    }
}

/// One case of the demo's board D, in which the images of `disowned` are not among those that the maker released.
fn outcome(disowned: &str, progress: &dyn Progress) -> CaseOutcome {
    let (bench, keyring) = open();
    let wanted = Wanted {
        boards: vec!["D".to_owned()],
        from: vec![Beginning::New],
        to: vec!["2.0".to_owned()],
        ..Wanted::default()
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
    let ways: Vec<Way> = case.ways().collect();
    rehearse_board(&board, case, &ways, &limits("cuts,any-choice", 1 << 20), progress).unwrap()
}

/// What was told of the work.
#[derive(Default)]
struct Told(Mutex<Vec<String>>);

impl Progress for Told {
    fn at(&self, step: &Step<'_>) {
        let told = match step {
            Step::Installing { board, from, to } => format!("{board}: {from:?} {to}"),
            Step::Exploring {
                what: Explored::Installs { board, to },
                counts: None,
            } => format!("explores {board} {to}"),
            _ => return,
        };
        self.0.lock().unwrap().push(told);
    }
}

#[test]
fn each_way_is_installed_once_and_the_case_is_explored() {
    let told = Told::default();
    let outcome = outcome("none", &told);
    assert!(outcome.holds());
    assert_eq!(outcome.scene.map(|_| ()), None);
    assert_eq!(outcome.places, Places::One);
    let [install] = &outcome.installs[..] else {
        panic!("{:?}", outcome.installs)
    };
    assert!(install.arrived && install.changes > 0 && install.estimate.total().typical_s > 1.0);
    assert!(outcome.found.worlds > 10 && outcome.found.cuts > 1000);
    assert_eq!(*told.0.lock().unwrap(), ["D: None 2.0", "explores D 2.0"]);
}

#[test]
fn a_claim_that_does_not_hold_comes_with_its_scene() {
    let outcome = outcome("1.8", &Silent);
    assert!(!outcome.holds());
    let [violation] = &outcome.found.violations[..] else {
        panic!("{:?}", outcome.found.violations)
    };
    assert_eq!(violation.claim, Claim::Authentic);
    let scene = outcome.scene.unwrap();
    let lengths: Vec<_> = scene.worlds.iter().map(Vec::len).collect();
    assert_eq!(lengths, [violation.story.len()]);
    assert_eq!(scene.images[scene.target].name, "2.0");
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
        limits: limits("cuts", 50),
    };
    let error = rehearse(&bench, keyring.keyring(), &ask, &Silent).unwrap_err();
    assert!(matches!(error, RehearseError::TooLarge { nodes: 50, .. }), "{error:?}");
    assert!(error.to_string().contains("there are more than 50 nodes"), "{error}");
}

#[test]
fn what_is_not_there_is_an_error() {
    let (bench, _) = open();
    let refused = |wanted: Wanted| cases(&bench, &wanted).unwrap_err().to_string();
    let boards = Wanted {
        boards: vec!["E".to_owned()],
        ..Wanted::default()
    };
    assert_eq!(refused(boards), "there is no board E");
    let from = Wanted {
        from: vec![Beginning::Runs("0.1".to_owned())],
        ..Wanted::default()
    };
    assert_eq!(refused(from), "no install begins with 0.1");
}
