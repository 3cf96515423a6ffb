//! The plain sweep: an install is run once, and cut at every change of flash, in several ways each; after every cut the
//! unit is powered again, with the stick and without.
//!
//! One cut an install: what a second cut during the recovery would do is not looked at here.

use crate::claims::{Before, Claim, ReleasedImage, running};
use crate::moment::Moment;
use crate::power_up::{Ending, Owner, PowerUp, power_up};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{Change, EraseCut, Inside, Torn, outcomes};
use packstaff_unit::world::World;
use rayon::prelude::*;

/// An install to rehearse.
#[derive(Clone, Debug)]
pub struct Scene<'a> {
    /// The unit.
    pub blueprint: &'a Blueprint,
    /// The world before: what the unit runs, and the stick in it.
    pub world: World,
    /// What the owner picks.
    pub owner: Owner,
    /// What must run in the end.
    pub target: ReleasedImage,
    /// Everything that the maker has released for this board.
    pub releases: &'a [ReleasedImage],
}

/// A claim that does not hold.
#[derive(Clone, Debug)]
pub struct Violation {
    /// Which.
    pub claim: Claim,
    /// The number of the change in the install, from 0; `None` if the install failed without any cut.
    pub change: Option<usize>,
    /// Where the cut fell.
    pub moment: Moment<Torn>,
    /// How the power-up ended that showed it.
    pub ending: Ending,
    /// Whether the stick was in the unit then.
    pub with_stick: bool,
}

/// What a sweep covered and found.
#[derive(Clone, Debug)]
pub struct Sweep {
    /// The install without a cut.
    pub smooth: PowerUp,
    /// Changes of flash in it.
    pub changes: usize,
    /// Cuts tried.
    pub cuts: usize,
    /// Power-ups after a cut that waited for a stick: without it, the unit had no image.
    pub waited: usize,
    /// Claims that do not hold.
    pub violations: Vec<Violation>,
}

impl Sweep {
    /// Whether every claim held.
    pub fn holds(&self) -> bool {
        self.violations.is_empty()
    }
}

/// The insides of a program that the plain sweep looks at: in its first, its middle and its last granule.
fn moments(world: &World, change: &Change) -> Vec<Moment<Torn>> {
    let granules = match change {
        Change::Erase { .. } => 0,
        Change::Program { address, data } => data.len() as u32 / world.flash.layout().memory_at(*address).granule(),
    };
    let looked_at = [0, granules / 2, granules.saturating_sub(1)];
    let torn = outcomes(&world.flash, change, &Inside::ALL, &EraseCut::ALL)
        .filter(|torn| match torn {
            Torn::Program { whole, .. } => looked_at.contains(whole),
            Torn::Erase(_) => true,
        })
        .map(Moment::Inside);
    [Moment::Before]
        .into_iter()
        .chain(torn)
        .chain([Moment::After])
        .collect()
}

/// Rehearses an install, cut once at every change of flash.
pub fn sweep(scene: &Scene<'_>) -> Sweep {
    let before = Before::of(scene.blueprint, &scene.world);
    let mut points = Vec::new();
    let mut world = scene.world.clone();
    let smooth = power_up(scene.blueprint, &mut world, scene.owner, |world, change| {
        points.push((world.clone(), change.clone()));
    });
    let mut violations = Vec::new();
    let arrived = running(scene.blueprint, &world, smooth.ending, scene.releases) == Some(scene.target);
    if !arrived {
        violations.push(Violation {
            claim: Claim::Arrives,
            change: None,
            moment: Moment::After,
            ending: smooth.ending,
            with_stick: true,
        });
    }
    let trials: Vec<_> = points
        .par_iter()
        .enumerate()
        .flat_map_iter(|(index, (world, change))| {
            moments(world, change)
                .into_iter()
                .map(move |moment| (index, world, change, moment))
        })
        .map(|(index, world, change, moment)| trial(scene, &before, index, world, change, moment))
        .collect();
    let cuts = trials.len();
    let waited = trials.iter().filter(|trial| trial.waited).count();
    violations.extend(trials.into_iter().flat_map(|trial| trial.violations));
    Sweep {
        smooth,
        changes: points.len(),
        cuts,
        waited,
        violations,
    }
}

struct Trial {
    waited: bool,
    violations: Vec<Violation>,
}

fn trial(
    scene: &Scene<'_>,
    before: &Before,
    index: usize,
    world: &World,
    change: &Change,
    moment: Moment<Torn>,
) -> Trial {
    let mut cut = world.clone();
    let done = match moment {
        Moment::Before => Ok(()),
        Moment::Inside(torn) => cut.flash.tear(change, torn),
        Moment::After => cut.flash.apply(change),
    };
    // A change that the part refuses leaves nothing to cut into.
    let done = done.or_else(|fault| {
        if scene.blueprint.may_be_refused(change) {
            Ok(())
        } else {
            Err(fault)
        }
    });
    let mut violations = Vec::new();
    let mut waited = false;
    for with_stick in [true, false] {
        let mut after = cut.clone();
        if !with_stick {
            after.stick = None;
        }
        let seen = power_up(scene.blueprint, &mut after, scene.owner, |_, _| {});
        let runs = running(scene.blueprint, &after, seen.ending, scene.releases);
        let mut broken = |claim| {
            violations.push(Violation {
                claim,
                change: Some(index),
                moment,
                ending: seen.ending,
                with_stick,
            });
        };
        match seen.ending {
            Ending::Endless | Ending::Impossible(_) => broken(Claim::Sane),
            Ending::Started { .. } if runs.is_none() => broken(Claim::Authentic),
            _ if with_stick && runs != Some(scene.target) => broken(Claim::Arrives),
            Ending::Waiting(_) => waited = true,
            Ending::Started { .. } => {}
        }
        before.broken(scene.blueprint, &after).for_each(&mut broken);
        if done.is_err() {
            broken(Claim::Sane);
        }
    }
    Trial { waited, violations }
}
