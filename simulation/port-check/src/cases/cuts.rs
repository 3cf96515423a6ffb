//! Cases in which something goes.

use super::Case;
use super::files::{FIRST, Files, LATER, file, manifest, stick_with};
use super::installs::{ends, installs, started, with_file};
use crate::finding::Finding;
use crate::identity::Update;
use crate::power_up::{Ended, Script, Seen, When, come_back, power_up};
use crate::rig::Rig;
use packstaff_rehearsal::power_up::{Owner, power_up as simulate};
use packstaff_unit::world::{Settings, World};
use std::time::Duration;

pub(super) const CASES: [Case; 3] = [
    Case {
        id: "pulled",
        title: "a stick that is pulled while flash is programmed, and put in again",
        run: pulled,
    },
    Case {
        id: "cut",
        title: "the supply goes before and after changes of flash, and comes back",
        run: cut,
    },
    Case {
        id: "torn",
        title: "the supply goes in the middle of changes of flash, and comes back",
        run: torn,
    },
];

/// Installs 2.0 on a unit of its own.
fn begin(rig: &mut Rig, files: &Files) -> Result<(), Finding> {
    rig.afresh()?;
    installs(rig, &files.of(FIRST, 1)).map(|_| ())
}

/// The two versions that a unit goes forth and back between.
fn turn(files: &Files, number: u32) -> Update {
    files.of(if number.is_multiple_of(2) { LATER } else { FIRST }, 1)
}

/// How many changes an install would make, and what flash would hold then.
fn simulated(rig: &Rig, file: &[u8]) -> Result<(u32, World), Finding> {
    let mut world = World {
        flash: rig.flash.clone(),
        settings: Settings::new(Vec::new()),
        stick: Some(stick_with(&[("BENCH.UPD", file)])?),
    };
    let mut changes = 0;
    let owner = Owner::Picks(manifest(file)?);
    simulate(&rig.blueprint, &mut world, owner, |_, _| changes += 1);
    Ok((changes, world))
}

fn pulled(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    begin(rig, files)?;
    let file = file(&files.of(LATER, 1))?;
    let whole = with_file_pulled(rig, &file, None)?;
    begin(rig, files)?;
    // The file is read twice; the last blocks are those that are programmed.
    let seen = with_file_pulled(rig, &file, Some(whole.blocks.saturating_sub(2)))?;
    if matches!(rig.blueprint.slots, packstaff_installer::Layout::Single) && !matches!(seen.ended, Ended::Waits(_)) {
        return Err(ends(&seen, "waits for the stick: its image is gone"));
    }
    let seen = with_file(rig, &file)?;
    started(rig, &seen)?;
    rig.all_sectors("an install after a pulled stick")?;
    Ok(format!(
        "after {} of {} blocks",
        whole.blocks.saturating_sub(2),
        whole.blocks
    ))
}

fn with_file_pulled(rig: &mut Rig, file: &[u8], pulled_after: Option<u32>) -> Result<Seen, Finding> {
    let stick = stick_with(&[("BENCH.UPD", file)])?;
    let script = Script {
        stick: Some(&stick),
        picks: Some(manifest(file)?),
        pulled_after,
        ..Script::default()
    };
    power_up(rig, &script)
}

/// `count` numbers from 1 to `last`, both among them, evenly spread.
fn spread(last: u32, count: u32) -> Vec<u32> {
    let steps = count.clamp(1, last.max(1)).saturating_sub(1).max(1);
    let mut all: Vec<u32> = (0..=steps)
        .map(|step| 1 + last.saturating_sub(1) * step / steps)
        .collect();
    all.dedup();
    all
}

fn cut(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    begin(rig, files)?;
    let (changes, _) = simulated(rig, &file(&turn(files, 0))?)?;
    let mut done = 0;
    let points = spread(changes, files.options.cuts.div_ceil(2));
    for at in points.iter().copied() {
        for when in [When::Before, When::After] {
            let file = file(&turn(files, done))?;
            let stick = stick_with(&[("BENCH.UPD", &file)])?;
            let picks = Some(manifest(&file)?);
            let script = Script {
                stick: Some(&stick),
                picks,
                cut: Some((at, when)),
                ..Script::default()
            };
            power_up(rig, &script)?;
            rig.all_sectors(&format!("a cut at change {at}"))?;
            let seen = with_file(rig, &file)?;
            started(rig, &seen)?;
            rig.all_sectors("coming back after a cut")?;
            done += 1;
        }
    }
    Ok(format!("{done} cuts, at {} of {changes} changes", points.len()))
}

fn torn(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    begin(rig, files)?;
    let mut done = 0;
    let (changes, _) = simulated(rig, &file(&turn(files, 0))?)?;
    for at in spread(changes, files.options.torn) {
        let file = file(&turn(files, done))?;
        let (_, after) = simulated(rig, &file)?;
        let stick = stick_with(&[("BENCH.UPD", &file)])?;
        let script = Script {
            stick: Some(&stick),
            picks: Some(manifest(&file)?),
            // Some are over by then and some are not: a real supply does not choose either.
            cut: Some((at, When::Inside(Duration::from_micros(u64::from(done % 4) * 150)))),
            ..Script::default()
        };
        power_up(rig, &script)?;
        come_back(rig, &stick)?;
        rig.flash = after.flash;
        // The register may have been written once more or once less; the slot must be the same.
        for floor in rig.blueprint.floors {
            rig.adopt(floor)?;
        }
        rig.all_sectors(&format!("coming back after a cut in the middle of change {at}"))?;
        done += 1;
    }
    Ok(format!("{done} cuts"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cuts_are_spread_from_the_first_change_to_the_last() {
        assert_eq!(spread(43, 4), [1, 15, 29, 43]);
        assert_eq!(spread(2, 8), [1, 2]);
        assert_eq!(spread(1, 8), [1]);
    }
}
