//! A small rehearsal, whole.

use super::{Flashes, Update, blueprint, manifest, stick, unit_with};
use packstaff_rehearsal::explore::{Exploration, Faults, OurInstaller, Plan, StickOption, explore};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::SumKey;

/// Small releases 1.8, 2.0 and 2.1 for one unit; 2.1 has a higher issue.
pub struct Case {
    pub blueprint: Blueprint,
    pub releases: Vec<packstaff_rehearsal::claims::ReleasedImage>,
    pub updates: Vec<Update>,
}

pub fn case(flashes: Flashes, image: usize) -> Case {
    let small = |version: &[u32], sequence, fill| {
        let mut update = Update {
            sequence,
            ..Update::new(version, fill)
        };
        update.image = (0..image as u32)
            .map(|at| (at.wrapping_mul(31) >> 3) as u8 ^ fill)
            .collect();
        update
    };
    let updates = vec![
        small(&[1, 8], 1, 0x18),
        small(&[2, 0], 1, 0x20),
        small(&[2, 1], 2, 0x21),
    ];
    let releases = updates.iter().map(Update::release).collect();
    Case {
        blueprint: blueprint(flashes),
        releases,
        updates,
    }
}

impl Case {
    /// From a new unit and one with 1.8, to 2.1, with good, other and damaged sticks.
    pub fn plan(&self, faults: Faults, reduce: bool) -> Plan<'_> {
        let files: Vec<_> = self.updates.iter().map(Update::file).collect();
        let option = |name: &str, content: &[u8], good| StickOption {
            name: name.to_owned(),
            stick: insert(stick(&[("KC4.UPD", content)])),
            good,
        };
        let mut damaged = files[2].clone();
        let last = damaged.len() - 40;
        damaged[last] ^= 1;
        let sticks = vec![
            option("a stick with 2.1", &files[2], true),
            option("a stick with 2.0", &files[1], true),
            option("a damaged stick", &damaged, false),
        ];
        let new = self.blueprint.new_unit(vec![], SumKey::fixed()).unwrap();
        Plan {
            from: vec![
                ("new".to_owned(), new.flash),
                (
                    "with 1.8".to_owned(),
                    unit_with(&self.blueprint, &self.updates[0]).flash,
                ),
            ],
            sticks,
            good_stick: 0,
            goal: manifest(&files[2]).digest,
            target: self.updates[2].release(),
            releases: &self.releases,
            files: files
                .iter()
                .map(|file| (manifest(file).digest, manifest(file).image_digest))
                .collect(),
            faults,
            reduce,
            stop_at_first: false,
            nodes_max: 1 << 18,
            key: SumKey::fixed(),
        }
    }

    pub fn explore(&self, faults: Faults, reduce: bool) -> Exploration {
        explore(&OurInstaller::of(&self.blueprint), &self.plan(faults, reduce)).unwrap()
    }
}
