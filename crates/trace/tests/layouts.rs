//! The truth recovered on units with two places for images: staged, and paired.

#[path = "../../rehearsal/tests/support/mod.rs"]
mod support;

#[path = "told/mod.rs"]
mod told;

use installer::{Layout, Region};
use rehearsal::claims::Release as Known;
use rehearsal::explore::{Faults, Plan, StickOption};
use rehearsal::sticks::insert;
use support::{Flashes, Update, manifest, stick, unit_with};
use told::{Sample, Tally, check_plan};
use unit::blueprint::Blueprint;
use unit::flash::SumKey;

/// Three pages for one place, three for the other.
fn unit_of(staged: bool) -> Blueprint {
    let plain = support::blueprint(Flashes::Pages);
    let page = |index: u32| 0x0800_0000 + index * 1024;
    let region = |from, to| Region {
        base: page(from),
        size: page(to) - page(from),
    };
    let second = region(6, 9);
    Blueprint {
        slot: region(3, 6),
        slots: match staged {
            true => Layout::Staged { stage: second },
            false => Layout::Paired { second },
        },
        ..plain
    }
}

fn traced(staged: bool) -> Tally {
    let blueprint = unit_of(staged);
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
        had_image: true,
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
    let tally = traced(true);
    eprintln!("staged: {tally}");
    tally.assert_every_phase_was_there();
}

#[test]
fn the_truth_is_recovered_on_paired_units() {
    let tally = traced(false);
    eprintln!("paired: {tally}");
    tally.assert_every_phase_was_there();
}
