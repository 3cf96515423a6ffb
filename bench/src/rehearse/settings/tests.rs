//! Settings in the rehearsal: what is covered on the demo, and losses that it finds.

use super::*;
use crate::rehearse::{Beginning, Wanted, cases};
use crate::settings::history;
use crate::{Bench, Silent};
use packstaff_keeper::{Flaw, Keeper};
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::settings::{Machines, Violation, explore_machines};
use std::path::Path;

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
fn case(bench: &Bench) -> SettingsCase {
    let wanted = Wanted {
        from: vec![Beginning::Runs("1.8".to_owned())],
        to: vec!["2.0".to_owned()],
        ..Wanted::default()
    };
    let found = settings_cases(bench, &cases(bench, &wanted).unwrap()).unwrap();
    assert_eq!(found.left_out, None);
    let [case] = &found.cases[..] else { panic!("{found:?}") };
    case.clone()
}

fn explored(end: SettingsEnd) -> SettingsExplored {
    match end {
        SettingsEnd::Explored(explored) => explored,
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_demo_s_settings_survive_every_cut() {
    let bench = demo();
    let case = case(&bench);
    assert_eq!(
        case.name(),
        "settings in 24lc256, board C and D, versions 1.8, 2.0, from 1.8"
    );
    let outcome = rehearse_settings(&bench, &case, &limits(), &Silent).unwrap();
    assert!(outcome.holds());
    let done = explored(outcome.end);
    assert_eq!(done.kept_by, KeptBy::OwnCode);
    assert_eq!((done.places, done.places_all, done.cuts_max), (2, 2, None));
    let found = done.found;
    assert_eq!((found.worlds, found.powered, found.cuts), (54, 876, 169_268));
}

/// A keeper with a mistake.
struct Flawed(Flaw);

impl Machines for Flawed {
    fn machine<const ROOM: usize, const ASIDE: usize>(&self) -> Keeper<ROOM, ASIDE> {
        Keeper::with_flaw(self.0)
    }
}

fn under_test(bench: &Bench) -> SettingsUnderTest<'_> {
    let made = SettingsUnderTest::of(
        &history(bench).unwrap(),
        bench.parts_table(),
        &case(bench),
        &Faults::all(),
    )
    .unwrap();
    made.unwrap_or_else(|why| panic!("it can be explored: {why:?}"))
}

fn is_lost(end: SettingsEnd, parts: &[&str]) {
    let Violation { claim, seen, story } = explored(end).found.violation.unwrap();
    assert_eq!(claim, Claim::SettingsKept);
    let told = format!("{seen}\n{story}");
    for part in parts {
        assert!(told.contains(part), "{part}:\n{told}");
    }
}

#[test]
fn settings_carried_over_in_place_are_lost() {
    let flawed =
        |setup: &Setup, plan: &Plan, watch: &dyn Fn(Seen)| explore_machines(setup, plan, &Flawed(Flaw::InPlace), watch);
    let bench = demo();
    let end = under_test(&bench).explore_with(&flawed, &limits(), &Silent).unwrap();
    is_lost(end, &["The unit: with settings of version 1.8.", "no settings"]);
}

/// The table from 1.8 to 2.0 is cut short by a byte: the keeper cannot run it, and an owner's unit would stand there.
#[test]
fn a_table_that_cannot_be_run_is_found() {
    let bench = demo();
    let mut settings = under_test(&bench);
    settings.plan.versions[1].tables[0].pop();
    let end = settings.explore(&limits(), &Silent).unwrap();
    let parts = [
        "settings of layout 0x0108 cannot be carried over",
        "with version 2.0 installed",
    ];
    is_lost(end, &parts);
}

/// What does not come to an end within the nodes is tried with fewer cuts, and says so; or has no answer.
#[test]
fn bounds_are_stated() {
    let bench = demo();
    let case = SettingsCase {
        versions: vec!["1.8".to_owned()],
        from: SettingsFrom::New,
        ..case(&bench)
    };
    let few = |nodes| {
        let limits = Limits {
            bound: Bound::Nodes(nodes),
            ..limits()
        };
        rehearse_settings(&bench, &case, &limits, &Silent)
    };
    assert_eq!(explored(few(500).unwrap().end).cuts_max, Some(1));
    let error = few(20).unwrap_err();
    assert!(matches!(error, RehearseError::TooLarge { nodes: 20, .. }), "{error:?}");
    assert!(error.to_string().contains("there are more than 20 nodes"), "{error}");
}

/// Without layouts there is nothing to rehearse, and that is no error.
#[test]
fn a_product_without_layouts_has_no_cases() {
    let folder = tempfile::tempdir().unwrap();
    let bench = demo();
    std::fs::copy(bench.folder().join("product.toml"), folder.path().join("product.toml")).unwrap();
    let bare = Bench::open(folder.path()).unwrap();
    let found = settings_cases(&bare, &cases(&bench, &Wanted::default()).unwrap()).unwrap();
    assert_eq!(found.cases, []);
    assert_eq!(found.left_out, Some(LeftOut::NoLayouts));
}

/// Layouts that keep settings apart, or beyond the memory's end, lose them: nothing needs to be explored for that.
#[test]
fn what_is_lost_in_any_case_is_no_answer_of_an_exploration() {
    let outcome = |end| SettingsOutcome {
        case: case(&demo()),
        end,
    };
    let lost = SettingsLost::Beyond {
        end: 0x9000,
        part: "24LC256".to_owned(),
        limit: 0x8000,
    };
    assert!(!outcome(SettingsEnd::Lost(lost)).holds());
    let outside = NotExplored::SeveralRegions;
    assert!(outcome(SettingsEnd::NotExplored(outside)).holds());
}
