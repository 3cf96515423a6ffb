//! The exploration on the sector maps of real parts, from the parts table: uniform small pages with check bits, mixed sectors,
//! external NOR with 256-byte pages, and rows.

mod support;

use packstaff_rehearsal::explore::{Faults, OurInstaller, Plan, StickOption, explore};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{FlashLayout, SumKey};
use packstaff_unit::part::PartsTable;
use std::sync::Arc;
use support::{Flashes, Update, blueprint, manifest, stick, unit_with};

/// A part with a small slot: which of its sectors are the floor's and the slot's.
struct Geometry {
    part: &'static str,
    /// Granule in which the driver programs, where that is more than the part's.
    floors: [usize; 2],
    slot: std::ops::Range<usize>,
    image: u32,
}

const GEOMETRIES: [Geometry; 5] = [
    Geometry {
        part: "stm32g071-128k",
        floors: [1, 2],
        slot: 3..7,
        image: 5000,
    },
    Geometry {
        part: "stm32l431-256k",
        floors: [1, 2],
        slot: 3..7,
        image: 7000,
    },
    Geometry {
        part: "stm32f405-512k",
        floors: [2, 3],
        slot: 4..6,
        image: 70_000,
    },
    Geometry {
        part: "w25q16jv-2m",
        floors: [1, 2],
        slot: 3..6,
        image: 9000,
    },
    Geometry {
        part: "samd21-256k",
        floors: [1, 2],
        slot: 3..16,
        image: 3000,
    },
];

fn unit_of(geometry: &Geometry) -> Blueprint {
    let part = PartsTable::built_in().part(geometry.part).unwrap();
    let layout = FlashLayout::of(part);
    let sectors = layout.sectors().to_vec();
    let slot = &sectors[geometry.slot.clone()];
    let size = slot.iter().map(|sector| sector.size).sum();
    Blueprint {
        installer: sectors[0],
        floors: geometry.floors.map(|index| sectors[index]),
        slot: packstaff_installer::Region {
            base: slot[0].base,
            size,
        },
        layout: Arc::new(layout),
        ..blueprint(Flashes::Pages)
    }
}

#[test]
fn every_claim_holds_on_the_sector_maps_of_real_parts() {
    for geometry in GEOMETRIES {
        let blueprint = unit_of(&geometry);
        let update = |version: &[u32], sequence, fill| {
            let mut update = Update {
                sequence,
                ..Update::new(version, fill)
            };
            update.image = (0..geometry.image)
                .map(|at| (at.wrapping_mul(0x9e37_79b9) >> 24) as u8 ^ fill)
                .collect();
            update
        };
        let updates = [update(&[1, 8], 1, 0x18), update(&[2, 0], 2, 0x20)];
        let releases: Vec<_> = updates.iter().map(Update::release).collect();
        let file = updates[1].file();
        let mut damaged = file.clone();
        damaged[2000] ^= 1;
        let option = |name: &str, content: &[u8], good| StickOption {
            name: name.to_owned(),
            stick: insert(stick(&[("KC4.UPD", content)])),
            good,
        };
        let plan = Plan {
            from: vec![("a unit with 1.8".to_owned(), unit_with(&blueprint, &updates[0]).flash)],
            sticks: vec![
                option("a good stick", &file, true),
                option("a damaged stick", &damaged, false),
            ],
            good_stick: 0,
            goal: manifest(&file).digest,
            target: releases[1],
            releases: &releases,
            files: vec![(manifest(&file).digest, manifest(&file).image_digest)],
            // Every read of a large file is looked at on the small units; here it would only take long.
            faults: Faults {
                pulled: geometry.image < 10_000,
                ..Faults::all()
            },
            reduce: true,
            stop_at_first: false,
            nodes_max: 1 << 20,
            key: SumKey::fixed(),
        };
        let found = explore(&OurInstaller::of(&blueprint), &plan).unwrap();
        for violation in &found.violations {
            eprintln!(
                "{}: {:?}: {}\n{}",
                geometry.part, violation.claim, violation.seen, violation.story
            );
        }
        assert!(found.holds(), "{}", geometry.part);
        assert!(found.cuts > 5000, "{}: {} cuts", geometry.part, found.cuts);
    }
}
