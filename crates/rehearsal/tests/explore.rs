//! The exploration on small units: the right installer holds, and the reduction changes neither verdict nor story.

mod support;

use rehearsal::explore::{Exploration, Faults, OurInstaller, Plan, StickOption, explore};
use rehearsal::sticks::insert;
use support::{Flashes, Update, blueprint, manifest, stick, unit_with};
use unit::blueprint::Blueprint;
use unit::flash::SumKey;

struct Case {
    blueprint: Blueprint,
    releases: Vec<rehearsal::claims::Release>,
    updates: Vec<Update>,
}

fn case(flashes: Flashes, image: usize) -> Case {
    let small = |version: &[u32], sequence, fill| {
        let mut update = Update {
            sequence,
            ..Update::new(version, fill)
        };
        update.image.truncate(image);
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
    fn plan(&self, faults: Faults, reduce: bool) -> Plan<'_> {
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

    fn explore(&self, faults: Faults, reduce: bool) -> Exploration {
        explore(&OurInstaller::of(&self.blueprint), &self.plan(faults, reduce)).unwrap()
    }
}

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
