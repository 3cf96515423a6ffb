//! The plain sweep on small units.

mod support;

use packstaff_rehearsal::claims::{Claim, floor, running};
use packstaff_rehearsal::power_up::{Ending, Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_rehearsal::sweep::{Scene, sweep};
use packstaff_unit::flash::SumKey;
use support::{Flashes, SETTINGS, Update, blueprint, manifest, stick, unit_with};

#[test]
fn no_single_cut_costs_a_unit_its_firmware() {
    for flashes in [Flashes::Pages, Flashes::Mixed] {
        let blueprint = blueprint(flashes);
        let old = Update::new(&[1, 8], 0x18);
        let new = Update {
            sequence: 2,
            ..Update::new(&[2, 0], 0x20)
        };
        let file = new.file();
        let mut world = unit_with(&blueprint, &old);
        world.stick = Some(insert(stick(&[("KC4.UPD", &file)])));
        let releases = [old.release(), new.release()];
        let scene = Scene {
            blueprint: &blueprint,
            world,
            owner: Owner::wants(&manifest(&file)),
            target: new.release(),
            releases: &releases,
        };
        let swept = sweep(&scene);
        assert!(
            swept.violations.is_empty(),
            "{flashes:?}: {:?}",
            &swept.violations[..swept.violations.len().min(3)]
        );
        assert!(
            swept.cuts > 60 && swept.waited > 20,
            "{flashes:?}: {} cuts, {} waited",
            swept.cuts,
            swept.waited
        );
    }
}

/// A sweep that cannot fail proves nothing: with an image on the list of releases left out, it must object.
#[test]
fn the_sweep_objects_when_something_unknown_runs() {
    let blueprint = blueprint(Flashes::Pages);
    let (old, new) = (Update::new(&[1, 8], 0x18), Update::new(&[2, 0], 0x20));
    let file = new.file();
    let mut world = unit_with(&blueprint, &old);
    world.stick = Some(insert(stick(&[("KC4.UPD", &file)])));
    let releases = [new.release()];
    let owner = Owner::wants(&manifest(&file));
    let swept = sweep(&Scene {
        blueprint: &blueprint,
        world,
        owner,
        target: new.release(),
        releases: &releases,
    });
    assert!(
        swept
            .violations
            .iter()
            .any(|violation| violation.claim == Claim::Authentic && !violation.with_stick)
    );
}

#[test]
fn an_install_moves_the_floor_and_keeps_the_settings() {
    let blueprint = blueprint(Flashes::Pages);
    let old = Update {
        sequence: 4,
        ..Update::new(&[1, 8], 0x18)
    };
    let mut world = unit_with(&blueprint, &old);
    assert_eq!(floor(&blueprint, &world), 4);
    for (sequence, version) in [(4, [2, 0]), (9, [2, 1]), (9, [1, 9])] {
        let update = Update {
            sequence,
            ..Update::new(&version, sequence as u8 + version[1] as u8)
        };
        let file = update.file();
        world.stick = Some(insert(stick(&[("NEXT.UPD", &file)])));
        let seen = power_up(&blueprint, &mut world, Owner::wants(&manifest(&file)), |_, _| {});
        assert_eq!(
            running(&blueprint, &world, seen.ending, &[update.release()]),
            Some(update.release())
        );
        assert_eq!(floor(&blueprint, &world), sequence);
    }
    assert_eq!(world.settings.bytes(), SETTINGS);
}

#[test]
fn a_new_unit_waits_says_so_and_takes_the_first_stick() {
    let blueprint = blueprint(Flashes::Mixed);
    let mut world = blueprint.new_unit(Vec::new(), SumKey::fixed()).unwrap();
    let seen = power_up(&blueprint, &mut world, Owner::Declines, |_, _| {});
    assert_eq!(seen.ending, Ending::Waiting(packstaff_installer::Reason::NoImage));
    let update = Update::new(&[1, 0], 1);
    let file = update.file();
    world.stick = Some(insert(stick(&[("KC4.UPD", &file)])));
    let declined = power_up(&blueprint, &mut world, Owner::Declines, |_, _| {});
    assert_eq!(declined.ending, Ending::Waiting(packstaff_installer::Reason::Declined));
    let taken = power_up(&blueprint, &mut world, Owner::wants(&manifest(&file)), |_, _| {});
    assert_eq!(
        taken.ending,
        Ending::Started {
            address: blueprint.slot.base
        }
    );
}

/// The stick that brought the update stays in the unit: it must not ask, nor install, again and again.
#[test]
fn a_forgotten_stick_does_no_harm() {
    let blueprint = blueprint(Flashes::Pages);
    let update = Update::new(&[2, 1], 0x21);
    let mut world = unit_with(&blueprint, &update);
    let mut changes = 0;
    let seen = power_up(&blueprint, &mut world, Owner::Declines, |_, _| changes += 1);
    assert_eq!(
        seen.ending,
        Ending::Started {
            address: blueprint.slot.base
        }
    );
    assert!(seen.asked.is_none());
    assert_eq!(changes, 0);
}
