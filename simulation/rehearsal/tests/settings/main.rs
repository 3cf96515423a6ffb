//! Settings under every cut: our keeper holds what it promises, and each planted mistake is caught with its shortest story.

mod support;

use packstaff_mutants::keeper::Mutation;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::settings::{Exploration, Moment, Step, Violation};
use support::{Kind, Unit};

fn holds(unit: &Unit) -> Exploration {
    let found = unit.explore();
    if let Some(violation) = &found.violation {
        panic!("{:?}: {}\n{}", violation.claim, violation.seen, violation.story);
    }
    println!("{found:?}");
    found
}

fn caught(unit: Unit, mutation: Mutation) -> Violation {
    let found = unit.with_mutation(mutation).explore();
    found.violation.unwrap_or_else(|| panic!("{mutation:?} is not caught"))
}

fn small(kind: Kind) -> Unit {
    Unit::new(kind, 2).only("1.0")
}

#[test]
fn saving_survives_every_cut() {
    for (kind, spots) in [(Kind::Eeprom, 2), (Kind::Eeprom, 3), (Kind::Fram, 3)] {
        let found = holds(&Unit::new(kind, spots).only("1.0"));
        assert!(found.worlds > 80 && found.cuts > 7000, "{found:?}");
        assert!(found.changes_max <= 10, "{found:?}");
    }
}

#[test]
fn saving_in_flash_survives_every_cut() {
    let found = holds(&small(Kind::Flash).with_one_payload());
    assert!(found.worlds > 1000 && found.cuts > 100_000, "{found:?}");
}

/// Forward and back among two versions, with what the older one cannot hold kept aside.
#[test]
fn going_back_and_forth_survives_every_cut() {
    let found = holds(&Unit::with_aside(Kind::Fram, 2, true).with_one_payload());
    assert!(found.worlds > 500 && found.cuts > 90_000, "{found:?}");
    let mut unit = Unit::with_aside(Kind::Eeprom, 2, true).with_one_payload();
    unit.plan.cuts_max = Some(1);
    holds(&unit);
}

/// Without a region aside, an older version leaves the newer one's settings alone.
#[test]
fn without_a_way_back_nothing_is_touched() {
    holds(&Unit::new(Kind::Fram, 2).with_one_payload());
}

#[test]
fn a_page_that_wears_out_is_left() {
    let mut unit = Unit::new(Kind::Eeprom, 3).only("1.0");
    unit.plan.wears_out = true;
    unit.plan.cuts_max = Some(0);
    holds(&unit);
    let violation = caught(unit, Mutation::SkipsReadBack);
    assert_eq!(
        (violation.claim, violation.story.len()),
        (Claim::SettingsKept, 11),
        "{}",
        violation.story
    );
}

/// Each mistake, and how many steps its shortest story has.
#[test]
fn every_planted_mistake_is_caught() {
    let flash = small(Kind::Flash).with_one_payload();
    // The reduction takes for granted that check values are looked at, and that turns are never 0.
    let unreduced = small(Kind::Fram).unreduced();
    let round = small(Kind::Eeprom).at_turn(u32::MAX).unreduced();
    for (mutation, unit, claim, steps) in [
        (Mutation::InPlace, small(Kind::Eeprom), Claim::SettingsKept, 11),
        (Mutation::SkipsCheck, unreduced, Claim::SettingsKept, 8),
        (Mutation::VoidsFirst, small(Kind::Eeprom), Claim::SettingsKept, 12),
        (Mutation::ZeroTurn, round, Claim::SettingsKept, 15),
        (Mutation::TrustsReading, small(Kind::Eeprom), Claim::SettingsKept, 9),
        (Mutation::LeavesRemnants, small(Kind::Eeprom), Claim::SettingsKept, 13),
        (Mutation::TrustsBlank, flash, Claim::Sane, 11),
        (Mutation::HeadFirst, small(Kind::Eeprom), Claim::SettingsKept, 16),
        (
            Mutation::AsideLast,
            Unit::with_aside(Kind::Fram, 2, true),
            Claim::SettingsKept,
            17,
        ),
        (Mutation::TrustsFirst, small(Kind::Eeprom), Claim::SettingsKept, 9),
    ] {
        let found = caught(unit, mutation);
        println!("{mutation:?} {:?} {} {}", found.claim, found.story.len(), found.seen);
        assert_eq!(
            (found.claim, found.story.len()),
            (claim, steps),
            "{mutation:?}\n{}",
            found.story
        );
    }
}

/// Settings carried over in place: the owner does nothing but put the new version on, and the mains fail once.
#[test]
fn settings_carried_over_in_place_are_lost() {
    let mut unit = Unit::new(Kind::Eeprom, 2).at_turn(7);
    unit.plan.saves_max = 0;
    holds(&unit);
    let found = caught(unit, Mutation::InPlace);
    println!("{}", found.story);
    assert_eq!(found.claim, Claim::SettingsKept, "{}", found.story);
    assert_eq!(found.story.len(), 5, "{}", found.story);
    let cuts = found.story.steps.iter().filter(|step| matches!(step, Step::Cut(..)));
    assert_eq!(cuts.count(), 1, "{}", found.story);
    assert!(
        found
            .story
            .steps
            .iter()
            .any(|step| matches!(step, Step::Cut(_, Moment::Inside(_) | Moment::After)))
    );
}

/// Pages of four bytes: what lies behind the head is written in steps that no keeper can see, and that are taken together.
#[test]
fn stretches_that_nobody_sees_change_no_verdict() {
    let bounded = |unit: Unit| {
        let mut unit = unit.with_page(4);
        unit.plan.cuts_max = Some(1);
        unit.plan.powers_max = Some(3);
        unit
    };
    let one = || bounded(small(Kind::Eeprom).with_one_payload());
    let (reduced, whole) = (holds(&one()), holds(&one().unreduced()));
    assert!(reduced.powered < whole.powered && reduced.worlds < whole.worlds);
    assert_eq!(reduced.changes_max, whole.changes_max);
    for mutation in [Mutation::InPlace, Mutation::VoidsFirst] {
        let claim = |unit: Unit| {
            unit.with_mutation(mutation)
                .explore()
                .violation
                .map(|found| found.claim)
        };
        let unit = || bounded(small(Kind::Eeprom)).at_turn(7);
        assert_eq!(claim(unit()), claim(unit().unreduced()), "{mutation:?}");
        assert!(claim(unit()).is_some(), "{mutation:?}");
    }
}

/// Taking alike worlds together changes no verdict and no story's length.
#[test]
fn the_reduction_gives_the_verdict_of_the_whole() {
    let bounded = || {
        let mut unit = small(Kind::Fram).with_one_payload();
        unit.plan.cuts_max = Some(2);
        unit.plan.saves_max = 1;
        unit.plan.key = packstaff_unit::flash::SumKey::new([7; 16]);
        unit
    };
    let mut whole = bounded().unreduced();
    whole.plan.powers_max = Some(5);
    let mut reduced = bounded();
    reduced.plan.powers_max = Some(5);
    assert!(holds(&reduced).worlds < holds(&whole).worlds);
    for mutation in [Mutation::InPlace, Mutation::VoidsFirst, Mutation::LeavesRemnants] {
        let reduced = small(Kind::Eeprom).with_mutation(mutation).explore().violation;
        let whole = small(Kind::Eeprom)
            .with_mutation(mutation)
            .unreduced()
            .explore()
            .violation;
        let length = |violation: Option<Violation>| violation.map(|found| (found.claim, found.story.len()));
        assert_eq!(length(reduced), length(whole), "{mutation:?}");
    }
}
