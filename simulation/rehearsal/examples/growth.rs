//! How the exploration grows with the size of the image: a unit with 2 KiB pages and 8-byte granules (STM32G0/G4 class), all
//! faults on, from a new unit and from one that runs an earlier version.
//!
//! `cargo run --release -p packstaff-rehearsal --example growth -- 64 128 256`

#[path = "../tests/support/mod.rs"]
mod support;

use packstaff_rehearsal::explore::{Faults, OurInstaller, Plan, StickOption, explore};
use packstaff_rehearsal::power_up::Owner;
use packstaff_rehearsal::sticks::insert;
use packstaff_rehearsal::sweep::{Scene, sweep};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{FlashLayout, SumKey};
use packstaff_unit::part::SecondProgram;
use std::sync::Arc;
use support::{Flashes, Update, blueprint, manifest, stick, unit_with};

fn unit_of(kib: u32) -> Blueprint {
    let region = |base, size| packstaff_installer::Region { base, size };
    let pages = kib / 2 + 18;
    let runs = vec![packstaff_installer::SectorRun {
        count: pages,
        size: 2048,
    }];
    Blueprint {
        layout: Arc::new(FlashLayout::new(0x0800_0000, runs, 8, 0xff, true, SecondProgram::Zeros)),
        installer: region(0x0800_0000, 0x8000),
        floors: [region(0x0800_8000, 2048), region(0x0800_8800, 2048)],
        slot: region(0x0800_9000, (pages - 18) * 2048),
        ..blueprint(Flashes::Pages)
    }
}

/// Processor seconds of this process so far, all threads together (Linux: proc(5), fields 14 and 15 in ticks of 10 ms). The
/// machines that this runs on are shared, and the clock on the wall says little.
fn cpu_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit(')').next().unwrap_or_default();
    let ticks: f64 = after_name
        .split_whitespace()
        .skip(11)
        .take(2)
        .filter_map(|ticks| ticks.parse::<f64>().ok())
        .sum();
    ticks / 100.0
}

fn main() {
    let sizes: Vec<u32> = std::env::args().skip(1).filter_map(|text| text.parse().ok()).collect();
    println!(
        "| image KiB | worlds | powered | transitions | cuts | CPU seconds | cuts a CPU second | plain sweep, CPU seconds | its cuts |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    for kib in sizes {
        let blueprint = unit_of(kib);
        let filled = |version: &[u32], sequence, fill| {
            let mut update = Update {
                sequence,
                ..Update::new(version, fill)
            };
            let len = blueprint.config().usable();
            update.image = (0..len)
                .map(|at| (at.wrapping_mul(0x9e37_79b9) >> 24) as u8 ^ fill)
                .collect();
            update
        };
        let updates = [
            filled(&[1, 8], 1, 0x18),
            filled(&[2, 0], 1, 0x20),
            filled(&[2, 1], 2, 0x21),
        ];
        let files: Vec<_> = updates.iter().map(Update::file).collect();
        let releases: Vec<_> = updates.iter().map(Update::release).collect();
        let option = |name: &str, file: &[u8]| StickOption {
            name: name.to_owned(),
            stick: insert(stick(&[("KC4.UPD", file)])),
            good: true,
        };
        let old = unit_with(&blueprint, &updates[0]);
        let plan = Plan {
            from: vec![
                (
                    "new".to_owned(),
                    blueprint.new_unit(vec![], SumKey::fixed()).unwrap().flash,
                ),
                ("with 1.8".to_owned(), old.flash.clone()),
            ],
            sticks: vec![option("2.1", &files[2]), option("2.0", &files[1])],
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
            nodes_max: 1 << 22,
            key: SumKey::fixed(),
        };
        let begun = cpu_seconds();
        let found = explore(&OurInstaller::of(&blueprint), &plan).unwrap();
        let seconds = cpu_seconds() - begun;
        for violation in &found.violations {
            eprintln!("{}: {}\n{}", violation.claim.id(), violation.seen, violation.story);
        }
        assert!(found.holds());
        let (plain_seconds, plain_cuts) = if kib <= 128 {
            let mut world = old.clone();
            world.stick = Some(plan.sticks[0].stick.clone());
            let scene = Scene {
                blueprint: &blueprint,
                world,
                owner: Owner::Picks(plan.goal),
                target: plan.target,
                releases: &releases,
            };
            let begun = cpu_seconds();
            let swept = sweep(&scene);
            assert!(swept.holds());
            (format!("{:.1}", cpu_seconds() - begun), swept.cuts.to_string())
        } else {
            ("-".to_owned(), "-".to_owned())
        };
        println!(
            "| {kib} | {} | {} | {} | {} | {seconds:.2} | {:.0} | {plain_seconds} | {plain_cuts} |",
            found.worlds,
            found.powered,
            found.transitions,
            found.cuts,
            found.cuts as f64 / seconds
        );
    }
}
