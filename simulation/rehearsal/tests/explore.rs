//! The exploration on small units: the right installer holds, and the reduction changes neither verdict nor story.

mod support;

use packstaff_mutants::installer::Mutation;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::{Exploration, Faults, OurInstaller, Plan, Unfinished, explore};
use packstaff_unit::flash::{EraseCut, Inside};
use std::collections::BTreeSet;
use support::Flashes;
use support::case::case;
use support::mutant::mutated;

fn assert_holds(found: &Exploration) {
    for violation in &found.violations {
        eprintln!("{:?}: {}\n{}", violation.claim, violation.seen, violation.story);
    }
    assert!(found.holds());
}

#[test]
fn every_claim_holds_under_every_fault() {
    for flashes in [Flashes::Pages, Flashes::Mixed] {
        let found = case(flashes, 1500).explore(Faults::all(), true);
        eprintln!(
            "{flashes:?}: {} worlds, {} powered, {} transitions, {} cuts, {} levels, at most {} changes",
            found.worlds, found.powered, found.transitions, found.cuts, found.levels, found.changes_max
        );
        assert_holds(&found);
        assert!(found.cuts > 1000);
    }
}

#[test]
fn without_faults_there_is_little_to_see() {
    let found = case(Flashes::Pages, 1500).explore(Faults::none(), true);
    assert_holds(&found);
    assert_eq!(found.cuts, 0);
}

/// Each mistake is caught by the claim that it breaks, with the shortest story that there is: its length in steps.
///
/// One of them reads what the right installer never reads after a cut. The reduction notices, and the exploration is made again
/// without it.
#[test]
fn every_mutation_is_caught() {
    use Mutation::*;
    let expected = [
        (DescriptorFirst, Claim::Truthful, 11),
        (SkipsVoid, Claim::Truthful, 3),
        (SkipsFlashDigest, Claim::Truthful, 15),
        (NeverDigests, Claim::Authentic, 15),
        (SkipsDryPass, Claim::Harmless, 2),
        (SkipsConfirm, Claim::OwnersChoice, 14),
        (FloorInSlot, Claim::FloorRises, 29),
        (FloorEarly, Claim::FloorEarned, 3),
        (FloorIgnored, Claim::FloorRises, 32),
        (FloorOneRecord, Claim::FloorRises, 32),
        (FloorTrustsReading, Claim::FloorRises, 32),
        (TrustsRemnants, Claim::Sane, 4),
        (ErasesTooLittle, Claim::Sane, 19),
        (ErasesTooMuch, Claim::FloorRises, 40),
        (NoRecovery, Claim::Arrives, 1),
    ];
    let named: BTreeSet<_> = expected.iter().map(|row| row.0).collect();
    assert_eq!(named, Mutation::ALL.iter().copied().collect());
    let mut wrong = Vec::new();
    for (mutation, claim, length) in expected {
        // The image must reach into the descriptor's sector, or into all, for these to matter.
        let image = if matches!(mutation, SkipsVoid | ErasesTooLittle) {
            7000
        } else {
            700
        };
        let case = case(Flashes::Pages, image);
        let subject = mutated(&case.blueprint, mutation);
        // One of them fails even when nothing else does.
        let faults = || {
            if mutation == ErasesTooLittle {
                Faults::none()
            } else {
                Faults::all()
            }
        };
        let plan = |reduce| Plan {
            stop_at_first: true,
            nodes_max: 1 << 17,
            ..case.plan(faults(), reduce)
        };
        let found = match explore(&subject, &plan(true)) {
            Err(Unfinished::Unsound { .. }) => explore(&subject, &plan(false)),
            found => found,
        };
        let seen: Vec<_> = match found {
            Ok(found) => found.violations.iter().map(|v| (v.claim, v.story.len())).collect(),
            Err(error) => {
                wrong.push(format!("{mutation:?}: {error}"));
                continue;
            }
        };
        if seen != vec![(claim, length)] {
            wrong.push(format!("{mutation:?}: {seen:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Where a patient owner's unit asks for what the part cannot do, it does not arrive, and that is what is said.
#[test]
fn it_is_said_what_a_unit_comes_to_instead() {
    let case = case(Flashes::Pages, 7000);
    let subject = mutated(&case.blueprint, Mutation::ErasesTooLittle);
    let found = explore(&subject, &case.plan(Faults::none(), false)).unwrap();
    let arrives = found
        .violations
        .iter()
        .find(|violation| violation.claim == Claim::Arrives);
    assert_eq!(
        arrives.unwrap().seen,
        "with a good stick and no further cut, the part cannot do what is asked of it"
    );
    assert!(found.to_the_end);
}

/// The reduction changes neither the verdict nor the length of the shortest story: on a very small unit, with fewer faults, so
/// that the unreduced exploration stays small.
#[test]
fn the_reduction_changes_nothing_but_the_size() {
    let faults = Faults {
        insides: vec![Inside::Clean, Inside::Part],
        erases: vec![EraseCut::Lower, EraseCut::Cleared],
        swapped: false,
        any_choice: false,
        ..Faults::all()
    };
    let case = case(Flashes::Tiny, 24);
    let verdict = |mutation: Option<Mutation>, reduce| {
        let mut plan = case.plan(faults.clone(), reduce);
        plan.sticks.truncate(1);
        plan.from.truncate(1);
        let found = match mutation {
            None => explore(&OurInstaller::of(&case.blueprint), &plan),
            Some(mutation) => explore(&mutated(&case.blueprint, mutation), &plan),
        };
        let found = found.unwrap();
        let stories: Vec<_> = found.violations.iter().map(|v| (v.claim, v.story.len())).collect();
        (stories, found.changes_max, found.worlds)
    };
    let machines = [
        None,
        Some(Mutation::DescriptorFirst),
        Some(Mutation::NoRecovery),
        Some(Mutation::FloorEarly),
    ];
    for mutation in machines {
        let (reduced, changes, fewer) = verdict(mutation, true);
        let (whole, all_changes, more) = verdict(mutation, false);
        assert_eq!(reduced, whole, "{mutation:?}");
        assert_eq!(changes, all_changes, "{mutation:?}");
        assert_eq!(reduced.is_empty(), mutation.is_none());
        assert!(fewer <= more, "{mutation:?}: {fewer} and {more} worlds");
        assert!(mutation.is_some() || fewer * 10 < more, "{fewer} and {more} worlds");
    }
}
