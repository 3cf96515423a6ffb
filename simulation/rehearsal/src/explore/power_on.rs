//! Power comes on in a world, with any stick in place, or none.

use super::arrival::Arrival;
use super::loader::Loader;
use super::model::{Explorer, Path};
use super::run::{Run, RunFault};
use super::world::World;
use packstaff_search::Look;
use packstaff_unit::drive::Wish;
use packstaff_unit::flash::Flash;
use std::sync::Arc;

impl<L: Loader> Explorer<'_, L> {
    pub(super) fn power_on(&self, world: &Arc<World>, look: &mut Look<'_, Self>) -> Result<(), RunFault> {
        look.must_arrive(Path::FaultFree);
        // A unit that has run an image shall have one again without a stick.
        if world.started > 0 && self.loader.needs_no_stick() {
            look.must_arrive(Path::NoStick);
        }
        let flash = &world.flash;
        self.judge_world(flash, look);
        let first = self.runner.follow(flash, self.runner.power_up(), true)?;
        let options = std::iter::once(None).chain((0..self.plan.sticks.len()).map(Some));
        for stick in options {
            for before in &first {
                let patient = stick == Some(self.plan.good_stick) && before.fault_free;
                let arrival = |end: Run<L::State>, happened, fault_free| Arrival {
                    flash,
                    rest: world,
                    run: end,
                    happened,
                    fault_free,
                    stick: Some(stick),
                };
                if before.wish != Wish::FindStick {
                    // The stick was not asked for: it makes no difference which one is there.
                    let mut end = before.clone();
                    end.stick = stick;
                    self.arrive(arrival(end, before.happened.clone(), patient), look)?;
                    continue;
                }
                for end in self.after_find(flash, before, stick)?.iter() {
                    let happened = [&before.happened[..], &end.happened].concat();
                    self.arrive(arrival(end.clone(), happened, patient && end.fault_free), look)?;
                }
            }
        }
        Ok(())
    }

    /// Runs from the question for a stick on; they read no flash, so that they can be remembered for every world.
    fn after_find(
        &self,
        flash: &Flash,
        before: &Run<L::State>,
        stick: Option<usize>,
    ) -> Result<Arc<Vec<Run<L::State>>>, RunFault> {
        let key = (self.plan.key.hash(&before.state), stick);
        let remember = !self.loader.looks_again();
        if let Some(known) = self.memory.read().ok().and_then(|memory| memory.get(&key).cloned()) {
            return Ok(known);
        }
        let fresh = Run {
            stick,
            happened: Vec::new(),
            fault_free: true,
            ..before.clone()
        };
        let ends = Arc::new(self.runner.follow(flash, fresh, false)?);
        if remember && let Ok(mut memory) = self.memory.write() {
            memory.insert(key, ends.clone());
        }
        Ok(ends)
    }
}
