//! The layouts with two places, explored: they need no stick after a cut.

mod support;

use packstaff_installer::{Installer, Layout, Region, StartCheck};
use packstaff_mutants::installer::Mutation;
use packstaff_rehearsal::claims::{Claim, ReleasedImage};
use packstaff_rehearsal::explore::{
    Exploration, Faults, InstallerMachine, OurInstaller, Plan, StickOption, Violation, explore,
};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{FlashLayout, SumKey};
use packstaff_unit::part::PartsTable;
use std::sync::Arc;
use support::mutant::Mutated;
use support::{Flashes, Update, blueprint, manifest, stick, unit_with};

/// A part with two places of whole sectors each, equally large where the part lets them be.
fn unit_of(id: &str, first: Sectors, second: Sectors, staged: bool) -> Blueprint {
    let part = PartsTable::built_in().part(id).unwrap();
    let layout = FlashLayout::of(part);
    let sectors = layout.sectors().to_vec();
    let range = |range: Sectors| {
        let size = sectors[range.clone()].iter().map(|sector| sector.size).sum();
        Region {
            base: sectors[range.start].base,
            size,
        }
    };
    let second = range(second);
    Blueprint {
        installer: sectors[0],
        floors: [sectors[1], sectors[2]],
        slot: range(first),
        slots: if staged {
            Layout::Staged { stage: second }
        } else {
            Layout::Paired { second }
        },
        layout: Arc::new(layout),
        ..blueprint(Flashes::Pages)
    }
}

/// The same with the stage in NOR flash of its own, in sectors 5 and 6: `window` is where its driver shows it.
fn staged_beside(id: &str, first: Sectors, window: u32) -> Blueprint {
    let alone = unit_of(id, first.clone(), first, true);
    let nor = FlashLayout::of(PartsTable::built_in().part("w25q16jv-2m").unwrap()).at(window);
    let stage = Region {
        base: nor.sectors()[5].base,
        size: nor.sectors()[5].size + nor.sectors()[6].size,
    };
    Blueprint {
        slots: Layout::Staged { stage },
        layout: Arc::new(FlashLayout::clone(&alone.layout).with_beside(nor)),
        ..alone
    }
}

/// Version 2.1 has this issue, the others issue 1. Where it is 1 too, owners may go from one version to another without end.
fn explored(
    blueprint: &Blueprint,
    machine: impl InstallerMachine,
    image: u32,
    issue: u64,
    stop_at_first: bool,
) -> Exploration {
    let how = |plan: &mut Plan<'_>| plan.stop_at_first = stop_at_first;
    explored_as(blueprint, machine, image, issue, how)
}

fn explored_as(
    blueprint: &Blueprint,
    machine: impl InstallerMachine,
    image: u32,
    issue: u64,
    how: impl FnOnce(&mut Plan<'_>),
) -> Exploration {
    let update = |version: &[u32], sequence, fill| {
        let mut update = Update {
            sequence,
            ..Update::new(version, fill)
        };
        update.image = (0..image)
            .map(|at| (at.wrapping_mul(0x9e37_79b9) >> 24) as u8 ^ fill)
            .collect();
        update
    };
    let updates = [
        update(&[1, 8], 1, 0x18),
        update(&[2, 0], 1, 0x20),
        update(&[2, 1], issue, 0x21),
    ];
    let releases: Vec<ReleasedImage> = updates.iter().map(Update::release).collect();
    let files: Vec<_> = updates.iter().map(Update::file).collect();
    let mut damaged = files[2].clone();
    let last = damaged.len() - 40;
    damaged[last] ^= 1;
    let option = |name: &str, content: &[u8], good| StickOption {
        name: name.to_owned(),
        stick: insert(stick(&[("KC4.UPD", content)])),
        good,
    };
    let mut plan = Plan {
        from: vec![("a unit with 1.8".to_owned(), unit_with(blueprint, &updates[0]).flash)],
        sticks: vec![
            option("a stick with 2.1", &files[2], true),
            option("a stick with 2.0", &files[1], true),
            option("a damaged stick", &damaged, false),
        ],
        good_stick: 0,
        goal: manifest(&files[2]).digest,
        target: releases[2],
        releases: &releases,
        files: files
            .iter()
            .map(|file| (manifest(file).digest, manifest(file).image_digest))
            .collect(),
        faults: Faults::all(),
        reduce: true,
        stop_at_first: false,
        nodes_max: 1 << 18,
        key: SumKey::fixed(),
    };
    how(&mut plan);
    explore(&OurInstaller { blueprint, machine }, &plan).unwrap()
}

fn assert_holds(what: &str, found: &Exploration) {
    eprintln!(
        "{what}: {} worlds, {} powered, {} cuts, at most {} changes",
        found.worlds, found.powered, found.cuts, found.changes_max
    );
    for violation in &found.violations {
        eprintln!("{what}: {:?}: {}\n{}", violation.claim, violation.seen, violation.story);
    }
    assert!(found.holds(), "{what}");
    assert!(found.cuts > 1000, "{what}: {} cuts", found.cuts);
}

type Sectors = std::ops::Range<usize>;

/// Parts, the sectors of their two places, and the bytes of an image.
const PARTS: [(&str, Sectors, Sectors, u32); 4] = [
    ("stm32g071-128k", 3..5, 5..7, 2500),
    ("stm32f405-512k", 4..5, 5..6, 5000),
    ("w25q16jv-2m", 3..5, 5..7, 5000),
    ("samd21-256k", 3..9, 9..15, 1000),
];

/// The same on uniform small pages with check bits, mixed sectors, external NOR with 256-byte pages, and rows.
fn on_real_parts(staged: bool) {
    for (id, first, second, image) in PARTS {
        let blueprint = unit_of(id, first, second, staged);
        for issue in [1, 2] {
            assert_holds(id, &explored(&blueprint, Installer::new(), image, issue, false));
        }
    }
}

#[test]
fn paired_units_never_need_a_stick() {
    on_real_parts(false);
}

#[test]
fn staged_units_never_need_a_stick() {
    on_real_parts(true);
}

/// External NOR flash beside a part's own: pages of 256 bytes and sectors of 4 KiB there, the part's granule and sectors here. Its
/// addresses are above the part's, or below.
#[test]
fn units_with_the_stage_in_a_memory_beside_never_need_a_stick() {
    for (id, first, image, window) in [
        ("stm32g071-128k", 3..5, 2500, 0x9000_0000),
        ("stm32f405-512k", 4..5, 5000, 0),
        ("samd21-256k", 3..9, 1000, 0x9000_0000),
    ] {
        let blueprint = staged_beside(id, first, window);
        for issue in [1, 2] {
            let found = explored(&blueprint, Installer::new(), image, issue, false);
            assert_holds(&format!("{id} with its stage in w25q16jv-2m"), &found);
        }
    }
}

/// With a stage, a unit that digests its image only when the install is over starts nothing that is not whole either, on any of these
/// parts: while the slot is written, the register names the stage, and what the slot's descriptor reads as does not count.
#[test]
fn staged_units_may_start_by_the_descriptor() {
    let machine = || Installer::with_start_check(StartCheck::AfterInstall);
    for (id, first, second, image) in PARTS {
        let blueprint = unit_of(id, first, second, true);
        assert_holds(id, &explored(&blueprint, machine(), image, 1, false));
    }
    let beside = staged_beside("stm32f405-512k", 4..5, 0);
    assert_holds("a stage beside", &explored(&beside, machine(), 5000, 1, false));
}

/// What is proved is looked for: mistakes of an installer show with a stage beside as they do elsewhere.
#[test]
fn mistakes_with_a_stage_beside_are_found() {
    let blueprint = staged_beside("stm32g071-128k", 3..5, 0x9000_0000);
    for (mutation, claim) in [
        (Mutation::NeverDigests, Claim::FloorEarned),
        (Mutation::SkipsConfirm, Claim::OwnersChoice),
        (Mutation::SkipsFlashDigest, Claim::FloorEarned),
        (Mutation::ErasesTooLittle, Claim::Sane),
    ] {
        let found = explored(&blueprint, Mutated(mutation.machine()), 2500, 2, true);
        let claims: Vec<_> = found.violations.iter().map(|violation| violation.claim).collect();
        assert_eq!(claims, [claim], "{mutation:?}");
    }
}

/// A mistake that leaves a unit without an image, though it had one and has two places. (With a stage, an image that was not digested
/// used to do so too: the digest of a bad stage stood in for that of the slot's good image. The installer keeps them apart now.)
#[test]
fn a_unit_that_would_need_a_stick_is_found() {
    let mutation = Mutation::FloorEarly;
    let blueprint = unit_of("stm32g071-128k", 3..5, 5..7, false);
    let found = explored(&blueprint, Mutated(mutation.machine()), 2500, 2, false);
    let needs = |violation: &&Violation| violation.claim == Claim::StandsAlone;
    let story = found
        .violations
        .iter()
        .find(needs)
        .map(|violation| violation.story.len());
    assert_eq!(story, Some(4), "{mutation:?}");

    // The mended case: it is caught by another claim, and the unit starts its good image.
    let blueprint = unit_of("stm32g071-128k", 3..5, 5..7, true);
    let found = explored(
        &blueprint,
        Mutated(Mutation::SkipsFlashDigest.machine()),
        2500,
        2,
        false,
    );
    assert!(!found.violations.is_empty());
    assert_eq!(
        found.violations.iter().find(needs).map(|violation| violation.claim),
        None
    );
}

/// Don't-care cells, stand-ins and lowered counters change neither a verdict nor a story. Without them the search comes to an end only
/// where owners cannot go back and forth without end: 2.1 bars the others.
#[test]
fn reduced_and_whole_explorations_agree() {
    for staged in [true, false] {
        let blueprint = unit_of("samd21-256k", 3..5, 5..7, staged);
        for mutation in [
            None,
            Some(Mutation::SkipsConfirm),
            Some(Mutation::FloorEarly),
            Some(Mutation::SkipsDryPass),
        ] {
            let explored = |reduce| {
                let how = |plan: &mut Plan<'_>| {
                    plan.faults = Faults::named("cuts,torn-programs,any-choice,swapped").unwrap();
                    plan.reduce = reduce;
                    plan.stop_at_first = mutation.is_some();
                };
                let found = match mutation {
                    None => explored_as(&blueprint, Installer::new(), 200, 2, how),
                    Some(mutation) => explored_as(&blueprint, Mutated(mutation.machine()), 200, 2, how),
                };
                let broken = found.violations.iter();
                let broken: Vec<_> = broken
                    .map(|violation| (violation.claim, violation.story.len()))
                    .collect();
                (broken, found.changes_max, found.worlds)
            };
            let ((reduced, changes, fewer), (whole, all_changes, more)) = (explored(true), explored(false));
            assert_eq!(reduced, whole, "{mutation:?}");
            assert_eq!(changes, all_changes, "{mutation:?}");
            assert_eq!(reduced.is_empty(), mutation.is_none(), "{mutation:?}: {reduced:?}");
            assert!(mutation.is_some() || fewer * 10 < more, "{fewer} and {more} worlds");
        }
    }
}
