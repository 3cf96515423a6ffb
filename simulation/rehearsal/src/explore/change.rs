//! A powered loader changes flash: the change is carried out, refused, or cut before, inside and after.

use super::arrival::Arrival;
use super::loader::Loader;
use super::model::{Explorer, Path};
use super::run::{Run, RunFault};
use super::story::{ChangeKind, Happening, Step};
use super::world::{Node, World};
use crate::claims::Claim;
use crate::moment::Moment;
use packstaff_installer::Region;
use packstaff_search::Look;
use packstaff_unit::drive::{Answer, Wish};
use packstaff_unit::flash::{Change, DoubtKind, Flash, FlashFault, Torn, outcomes};
use std::sync::Arc;

impl<L: Loader> Explorer<'_, L> {
    pub(super) fn change(
        &self,
        flash: &Flash,
        run: &Run<L::State>,
        rest: &Arc<World>,
        look: &mut Look<'_, Self>,
    ) -> Result<(), RunFault> {
        let Wish::Change(change) = &run.wish else {
            return Ok(());
        };
        let area = area_of(flash, change);
        if !self.loader.may_change(area) {
            let seen = format!("{} bytes at {:#010x} are changed", area.size, area.base);
            look.violates(Claim::KeepsOut, seen);
        }
        if flash.has_dont_care(area) && matches!(change, Change::Program { .. }) {
            return Err(RunFault::DontCareRead(area.base));
        }
        match flash.check(change) {
            Ok(()) => {}
            Err(FlashFault::AlreadyProgrammed { .. }) if self.loader.may_be_refused(change) => {
                return self.refuse(flash, change, run, rest, look);
            }
            Err(fault) => {
                look.ends(Path::FaultFree, "the part cannot do what is asked of it");
                look.violates(Claim::Sane, fault.to_string());
                return Ok(());
            }
        }
        self.judge_commit(flash, change, run, rest.started, look);
        self.judge_raise(flash, change, rest.started, look);
        if self.plan.faults.cuts {
            self.cut(flash, rest, change, area, look);
        }
        self.carry_out(flash, change, run, rest, look)
    }

    /// The change is carried out; power may fail just after it. With the fault `refused`, flash refuses it too.
    fn carry_out(
        &self,
        flash: &Flash,
        change: &Change,
        run: &Run<L::State>,
        rest: &Arc<World>,
        look: &mut Look<'_, Self>,
    ) -> Result<(), RunFault> {
        let mut after = flash.clone();
        if let Err(fault) = after.apply(change) {
            look.violates(Claim::Sane, fault.to_string());
            return Ok(());
        }
        let unseen = rest.is_out_of_sight(area_of(flash, change));
        let rest_after = if unseen && self.loader.standing(&after) == self.loader.standing(flash) {
            rest.clone()
        } else {
            self.off(after.clone(), rest.started)
        };
        if self.plan.faults.cuts {
            look.count.cuts += 1;
            let step = Step::Cut(ChangeKind::of(change), Moment::After);
            self.reach(rest_after.clone(), step, look);
        }
        let mut done = run.clone();
        done.happened = Vec::new();
        if self.plan.faults.refused {
            let mut refused = done.clone();
            refused.fault_free = false;
            refused.happened.push(Happening::Refused);
            self.runner.answer(&mut refused, &Answer::Failed);
            self.go_on(flash, rest, refused, false, look)?;
        }
        let patient = self.is_patient(run);
        self.runner.answer(&mut done, &Answer::Done);
        self.go_on(&after, &rest_after, done, patient, look)
    }

    /// The part refuses a second program of a granule, which the loader is prepared for. Cells with check bits may be spoilt
    /// by it; power may be cut before and after.
    fn refuse(
        &self,
        flash: &Flash,
        change: &Change,
        run: &Run<L::State>,
        rest: &Arc<World>,
        look: &mut Look<'_, Self>,
    ) -> Result<(), RunFault> {
        let kind = ChangeKind::of(change);
        let spoilt = spoilt(flash, change).map(|after| {
            let rest = self.off(after.clone(), rest.started);
            (after, rest)
        });
        if self.plan.faults.cuts {
            look.count.cuts += 1;
            self.reach(rest.clone(), Step::Cut(kind, Moment::Before), look);
            if let Some((_, rest)) = &spoilt {
                look.count.cuts += 1;
                self.reach(rest.clone(), Step::Cut(kind, Moment::After), look);
            }
        }
        let patient = self.is_patient(run);
        let mut refused = run.clone();
        refused.happened = vec![Happening::Refused];
        self.runner.answer(&mut refused, &Answer::Failed);
        self.go_on(flash, rest, refused.clone(), patient, look)?;
        match spoilt {
            Some((after, rest)) => self.go_on(&after, &rest, refused, false, look),
            None => Ok(()),
        }
    }

    /// From the answer to a change on to whatever the loader comes to next.
    fn go_on(
        &self,
        flash: &Flash,
        rest: &Arc<World>,
        run: Run<L::State>,
        patient: bool,
        look: &mut Look<'_, Self>,
    ) -> Result<(), RunFault> {
        for end in self.runner.follow(flash, run, false)? {
            let arrival = Arrival {
                flash,
                rest,
                happened: end.happened.clone(),
                fault_free: patient && end.fault_free,
                run: end,
                stick: None,
            };
            self.arrive(arrival, look)?;
        }
        Ok(())
    }

    /// Every cut before and inside a change.
    fn cut(&self, flash: &Flash, rest: &Arc<World>, change: &Change, area: Region, look: &mut Look<'_, Self>) {
        let kind = ChangeKind::of(change);
        let torn: Vec<Torn> = outcomes(flash, change, &self.plan.faults.insides, &self.plan.faults.erases).collect();
        look.count.cuts += torn.len() as u64 + 1;
        self.reach(rest.clone(), Step::Cut(kind, Moment::Before), look);
        // A cut leaves its traces inside the change's own cells. Where nobody sees these, every outcome is the same world: the
        // one in which the change was not begun.
        if rest.is_out_of_sight(area) {
            look.count.transitions += torn.len() as u64;
            return;
        }
        for torn in torn {
            let mut after = flash.clone();
            if after.tear(change, torn).is_ok() {
                let world = self.off(after, rest.started);
                self.reach(world, Step::Cut(kind, Moment::Inside(torn)), look);
            }
        }
    }

    /// Power is off in a world.
    pub(super) fn reach(&self, world: Arc<World>, step: Step, look: &mut Look<'_, Self>) {
        look.count.transitions += 1;
        look.step(step, Node::Off(world));
    }

    /// Whether a patient owner's unit could be here: the good stick is in place, and what was picked, if anything, is the goal.
    fn is_patient(&self, run: &Run<L::State>) -> bool {
        run.stick == Some(self.plan.good_stick) && run.picked.is_none_or(|picked| picked == self.plan.goal)
    }
}

/// What a second program that the part refuses leaves all the same, where cells have check bits: they do not fit any more.
pub(super) fn spoilt(flash: &Flash, change: &Change) -> Option<Flash> {
    let Change::Program { address, data } = change else {
        return None;
    };
    flash.layout().memory_at(*address).has_check_bits().then(|| {
        let mut after = flash.clone();
        after.hold(*address, data, Some(DoubtKind::Unreadable));
        after
    })
}

/// The cells that a change touches.
pub(super) fn area_of(flash: &Flash, change: &Change) -> Region {
    match change {
        Change::Erase { address } => {
            let sector = flash.layout().sector_at(*address);
            sector.unwrap_or(Region {
                base: *address,
                size: 0,
            })
        }
        Change::Program { address, data } => Region {
            base: *address,
            size: data.len() as u32,
        },
    }
}
