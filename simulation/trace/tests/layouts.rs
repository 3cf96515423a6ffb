//! The truth recovered on units with two places for images: staged, and paired.

#[path = "../../rehearsal/tests/support/mod.rs"]
mod support;

#[path = "samples/mod.rs"]
mod samples;

use packstaff_installer::{Layout, Region, SectorRun};
use packstaff_rehearsal::claims::ReleasedImage as Known;
use packstaff_rehearsal::explore::{Faults, Plan, StickOption};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{FlashLayout, SumKey};
use packstaff_unit::part::SecondProgram;
use samples::{Sample, Tally, check_plan};
use std::sync::Arc;
use support::{Flashes, Update, manifest, stick, unit_with};

/// Three pages for one place, three for the other; or one sector of a memory beside.
fn unit_of(second: Second) -> Blueprint {
    let plain = support::blueprint(Flashes::Pages);
    let page = |index: u32| 0x0800_0000 + index * 1024;
    let region = |from, to| Region {
        base: page(from),
        size: page(to) - page(from),
    };
    let runs = vec![SectorRun { count: 2, size: 4096 }];
    let nor = FlashLayout::new(0x9000_0000, runs, 256, 0xff, false, SecondProgram::Unknown);
    let beside = nor.sectors()[1];
    let both = Arc::new(FlashLayout::clone(&plain.layout).with_beside(nor));
    Blueprint {
        slot: region(3, 6),
        slots: match second {
            Second::Stage => Layout::Staged { stage: region(6, 9) },
            Second::Slot => Layout::Paired { second: region(6, 9) },
            Second::StageBeside => Layout::Staged { stage: beside },
        },
        layout: match second {
            Second::StageBeside => both,
            Second::Stage | Second::Slot => plain.layout,
        },
        ..plain
    }
}

/// What there is beside the slot.
#[derive(Clone, Copy)]
enum Second {
    Stage,
    StageBeside,
    Slot,
}

fn traced(second: Second) -> Tally {
    let blueprint = unit_of(second);
    let update = |version: &[u32], sequence, fill| Update {
        sequence,
        image: (0..1700_u32)
            .map(|at| (at.wrapping_mul(0x9e37_79b9) >> 24) as u8 ^ fill)
            .collect(),
        ..Update::new(version, fill)
    };
    let updates = [
        update(&[1, 8], 1, 0x18),
        update(&[2, 0], 1, 0x20),
        update(&[2, 1], 2, 0x21),
    ];
    let releases: Vec<Known> = updates.iter().map(Update::release).collect();
    let files: Vec<_> = updates.iter().map(Update::file).collect();
    let option = |name: &str, content: &[u8], good| StickOption {
        name: name.to_owned(),
        stick: insert(stick(&[("KC4.UPD", content)])),
        good,
    };
    let plan = Plan {
        from: vec![("a unit with 1.8".to_owned(), unit_with(&blueprint, &updates[0]).flash)],
        sticks: vec![
            option("a stick with 2.1", &files[2], true),
            option("a stick with 2.0", &files[1], true),
        ],
        good_stick: 0,
        goal: manifest(&files[2]).digest,
        target: releases[2],
        releases: &releases,
        files: files
            .iter()
            .map(|file| (manifest(file).digest, manifest(file).image_digest))
            .collect(),
        faults: Faults::named("no-pulled,no-swapped").unwrap(),
        reduce: true,
        stop_at_first: false,
        nodes_max: 1 << 18,
        key: SumKey::fixed(),
    };
    check_plan(&blueprint, &updates, &releases, &plan, Sample::of(2, 5))
}

#[test]
fn the_truth_is_recovered_on_staged_units() {
    let tally = traced(Second::Stage);
    eprintln!("staged: {tally}");
    tally.assert_every_phase_was_there();
}

#[test]
fn the_truth_is_recovered_where_the_stage_lies_in_a_memory_beside() {
    let tally = traced(Second::StageBeside);
    eprintln!("staged beside: {tally}");
    tally.assert_every_phase_was_there();
}

#[test]
fn the_truth_is_recovered_on_paired_units() {
    let tally = traced(Second::Slot);
    eprintln!("paired: {tally}");
    tally.assert_every_phase_was_there();
}
