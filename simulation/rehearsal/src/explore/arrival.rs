//! A run has come to its next change of flash, to a wait, or to a start.

use super::loader::Loader;
use super::model::{Explorer, Path};
use super::run::{Run, RunFault};
use super::story::{ChangeKind, ComesTo, Happening, Step};
use super::world::{Node, World};
use crate::claims::{Claim, ReleasedImage};
use packstaff_installer::Region;
use packstaff_search::Look;
use packstaff_unit::drive::Wish;
use packstaff_unit::flash::Flash;
use std::sync::Arc;

/// Where a run has come to, and how.
pub(super) struct Arrival<'a, S> {
    pub(super) flash: &'a Flash,
    /// What a cut leaves now.
    pub(super) rest: &'a Arc<World>,
    pub(super) run: Run<S>,
    /// What has happened since power came on, or since the last change.
    pub(super) happened: Vec<Happening>,
    /// It lies on the fault-free path.
    pub(super) fault_free: bool,
    /// The stick that was in place when power came on, if it has just done so.
    pub(super) stick: Option<Option<usize>>,
}

impl<S> Arrival<'_, S> {
    pub(super) fn step(&self, comes_to: ComesTo) -> Step {
        Step::Runs {
            stick: self.stick,
            happened: self.happened.clone(),
            comes_to,
        }
    }

    /// The step, where nothing else is made of what happened.
    fn into_step(self, comes_to: ComesTo) -> Step {
        Step::Runs {
            stick: self.stick,
            happened: self.happened,
            comes_to,
        }
    }
}

impl<L: Loader> Explorer<'_, L> {
    pub(super) fn arrive(&self, mut arrival: Arrival<'_, L::State>, look: &mut Look<'_, Self>) -> Result<(), RunFault> {
        let no_stick = self.is_without_stick(&arrival);
        if let Some(seen) = self.loader.failure(&arrival.run.state) {
            if arrival.fault_free {
                look.ends(Path::FaultFree, "the loader fails");
            }
            look.violates_on(arrival.into_step(ComesTo::Failure), Claim::Sane, seen);
            return Ok(());
        }
        match arrival.run.wish.clone() {
            Wish::Change(change) => {
                self.judge_harm(&arrival, &change, look);
                look.count.transitions += 1;
                let fault_free = arrival.fault_free;
                arrival.run.happened = Vec::new();
                arrival.run.fault_free = true;
                let step = Step::Runs {
                    stick: arrival.stick,
                    happened: arrival.happened,
                    comes_to: ComesTo::Change(ChangeKind::of(&change)),
                };
                let node = Node::On {
                    flash: arrival.flash.clone(),
                    run: Box::new(arrival.run),
                    rest: arrival.rest.clone(),
                };
                let key = look.step(step, node);
                if fault_free {
                    look.continues(Path::FaultFree, key, 1);
                }
                if no_stick {
                    look.continues(Path::NoStick, key, 1);
                }
            }
            Wish::Wait(reason) => {
                if no_stick {
                    look.ends(Path::NoStick, "the unit waits");
                }
                if arrival.fault_free {
                    look.ends(Path::FaultFree, format!("the unit waits: {reason} ({})", reason.code()));
                }
                let rest = arrival.rest.clone();
                self.reach(rest, arrival.into_step(ComesTo::Wait(reason)), look);
            }
            Wish::Start(address) => {
                if no_stick {
                    look.arrives(Path::NoStick, 0);
                }
                self.start(arrival, address, look)?;
            }
            _ => {}
        }
        Ok(())
    }

    /// Whether this lies on the path of a unit that is left without a stick, where it needs none: nothing happens to it.
    fn is_without_stick(&self, arrival: &Arrival<'_, L::State>) -> bool {
        let ordinary = |happening: &Happening| matches!(happening, Happening::Told(_) | Happening::Refused);
        arrival.run.stick.is_none()
            && arrival.run.fault_free
            && arrival.happened.iter().all(ordinary)
            && self.loader.needs_no_stick()
    }

    /// What lies at an address is started.
    fn start(&self, arrival: Arrival<'_, L::State>, address: u32, look: &mut Look<'_, Self>) -> Result<(), RunFault> {
        let (flash, started) = (arrival.flash, arrival.rest.started);
        let step = arrival.step(ComesTo::Start(address));
        let place = self.place_at(address);
        let runs = place.and_then(|place| {
            let held =
                |release: &&ReleasedImage| self.digest(flash, place, release.image_size) == Some(release.image_digest);
            self.plan.releases.iter().find(held)
        });
        let Some(runs) = runs else {
            if place.is_some_and(|place| flash.has_dont_care(place)) {
                return Err(RunFault::DontCareRead(address));
            }
            if arrival.fault_free {
                look.ends(Path::FaultFree, "something is started that is no whole image");
            }
            let seen = "what was started is no whole image that the maker released";
            look.violates_on(step, Claim::Authentic, seen);
            return Ok(());
        };
        let image = Region {
            base: address,
            size: runs.image_size,
        };
        if flash.wavers(image) {
            let seen = "the image that was started has cells that were not programmed to the end";
            look.violates_on(step.clone(), Claim::Solid, seen);
        }
        let named = self.loader.may_stand(flash).into_iter();
        let named =
            named.filter(|named| Some(named.place) == place && named.descriptor.image_digest == runs.image_digest);
        let issue = named.map(|named| named.descriptor.sequence).max().unwrap_or(0);
        if issue < started {
            let seen = format!("issue {issue} was started after issue {started}");
            look.violates_on(step.clone(), Claim::FloorRises, seen);
        }
        if arrival.fault_free {
            match *runs == self.plan.target {
                true => look.arrives(Path::FaultFree, 0),
                false => look.ends(Path::FaultFree, "another version starts instead"),
            }
        }
        self.reach(self.after_start(arrival.rest, issue), step, look);
        Ok(())
    }
}
