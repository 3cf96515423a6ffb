//! Claims about worlds and changes. What a start shows is judged where it happens, in [`arrive`](Explorer::arrive).

use super::arrival::Arrival;
use super::change::area_of;
use super::loader::{Loader, Standing};
use super::model::Explorer;
use super::run::Run;
use super::story::{ChangeKind, ComesTo, Happening};
use crate::claims::Claim;
use packstaff_search::Look;
use packstaff_unit::flash::{Change, Flash};

impl<L: Loader> Explorer<'_, L> {
    /// Claims about a world with power off.
    pub(super) fn judge_world(&self, flash: &Flash, look: &mut Look<'_, Self>) {
        for named in self.loader.standing(flash) {
            if !self.holds(flash, &named) {
                let seen = "an image is said to be there, whole, that is not the one that lies there";
                look.violates(Claim::Truthful, seen);
            }
        }
    }

    /// Whether an image is there that flash says is there.
    pub(super) fn holds(&self, flash: &Flash, named: &Standing) -> bool {
        self.digest(flash, named.place, named.descriptor.image_size) == Some(named.descriptor.image_digest)
    }

    /// The image that is committed is the one that the owner picked.
    pub(super) fn judge_commit(
        &self,
        flash: &Flash,
        change: &Change,
        run: &Run<L::State>,
        started: u64,
        look: &mut Look<'_, Self>,
    ) {
        let Some(descriptor) = self.loader.commits(flash, change) else {
            return;
        };
        if run.picked.is_none() && self.loader.needs_no_stick() {
            // What was picked before a cut is finished after it.
            return;
        }
        let picked = run
            .picked
            .and_then(|manifest| self.plan.files.iter().find(|file| file.0 == manifest));
        if picked.is_none_or(|file| file.1 != descriptor.image_digest) {
            let seen = format!(
                "version {} is installed, which the owner did not pick",
                descriptor.version
            );
            look.violates(Claim::OwnersChoice, seen);
        }
        if descriptor.sequence < started {
            let seen = format!(
                "issue {} is installed after issue {started} has run",
                descriptor.sequence
            );
            look.violates(Claim::FloorRises, seen);
        }
    }

    /// The floor is raised to an issue only while an image of that issue stands, or after one has run.
    pub(super) fn judge_raise(&self, flash: &Flash, change: &Change, started: u64, look: &mut Look<'_, Self>) {
        let Some((issue, new)) = self.loader.raises(change) else {
            return;
        };
        let named = self.loader.may_stand(flash).into_iter().chain(new);
        let there = named
            .filter(|named| self.holds(flash, named))
            .map(|named| named.descriptor.sequence);
        let earned = there.max().unwrap_or(0).max(started);
        if issue > earned {
            let seen = format!("the floor is raised to {issue}, and no higher issue than {earned} is installed");
            look.violates(Claim::FloorEarned, seen);
        }
    }

    /// A stick without a good file changes nothing.
    pub(super) fn judge_harm(&self, arrival: &Arrival<'_, L::State>, change: &Change, look: &mut Look<'_, Self>) {
        let bad = arrival
            .stick
            .flatten()
            .and_then(|index| self.plan.sticks.get(index))
            .is_some_and(|option| !option.good);
        let swapped = arrival
            .happened
            .iter()
            .any(|happening| matches!(happening, Happening::Swapped(_)));
        let touches = |area| self.loader.places().iter().any(|place| place.overlaps(area));
        if bad && arrival.run.asked && !swapped && touches(area_of(arrival.flash, change)) {
            let kind = ChangeKind::of(change);
            let seen = format!("{} is asked for", kind.words());
            look.violates_on(arrival.step(ComesTo::Change(kind)), Claim::Harmless, seen);
        }
    }
}
