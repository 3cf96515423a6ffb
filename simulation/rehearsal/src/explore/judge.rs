//! Claims about worlds and changes. What a start shows is judged where it happens, in [`Explorer::start`].

use super::loader::{Loader, Standing};
use super::story::{ChangeKind, ComesTo, Happening, Step};
use super::strand::Strand;
use super::{Expanded, Explorer, area_of};
use crate::claims::Claim;
use packstaff_unit::flash::{Change, Flash};

impl<S: Loader> Explorer<'_, S> {
    /// Claims about a world with power off.
    pub(super) fn judge_world(&self, flash: &Flash, out: &mut Expanded<S::State>) {
        for named in self.loader.standing(flash) {
            if !self.holds(flash, &named) {
                let seen = "an image is said to be there, whole, that is not the one that lies there".to_owned();
                out.objections.push((Claim::Truthful, seen, None));
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
        strand: &Strand<S::State>,
        started: u64,
        out: &mut Expanded<S::State>,
    ) {
        let Some(descriptor) = self.loader.commits(flash, change) else {
            return;
        };
        if strand.picked.is_none() && self.loader.needs_no_stick() {
            // What was picked before a cut is finished after it.
            return;
        }
        let picked = strand
            .picked
            .and_then(|manifest| self.plan.files.iter().find(|file| file.0 == manifest));
        if picked.is_none_or(|file| file.1 != descriptor.image_digest) {
            let seen = format!(
                "version {} is installed, which the owner did not pick",
                descriptor.version
            );
            out.objections.push((Claim::OwnersChoice, seen, None));
        }
        if descriptor.sequence < started {
            let seen = format!(
                "issue {} is installed after issue {started} has run",
                descriptor.sequence
            );
            out.objections.push((Claim::FloorRises, seen, None));
        }
    }

    /// The floor is raised to an issue only while an image of that issue stands, or after one has run.
    pub(super) fn judge_raise(&self, flash: &Flash, change: &Change, started: u64, out: &mut Expanded<S::State>) {
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
            out.objections.push((Claim::FloorEarned, seen, None));
        }
    }

    /// A stick without a good file changes nothing.
    pub(super) fn judge_harm(
        &self,
        flash: &Flash,
        change: &Change,
        asked: bool,
        stick: Option<Option<usize>>,
        happened: &[Happening],
        out: &mut Expanded<S::State>,
    ) {
        let bad = stick
            .flatten()
            .and_then(|index| self.plan.sticks.get(index))
            .is_some_and(|option| !option.good);
        let swapped = happened
            .iter()
            .any(|happening| matches!(happening, Happening::Swapped(_)));
        if bad
            && asked
            && !swapped
            && self
                .loader
                .places()
                .iter()
                .any(|place| place.overlaps(area_of(flash, change)))
        {
            let step = Step::Runs {
                stick,
                happened: happened.to_vec(),
                comes_to: ComesTo::Change(ChangeKind::of(change)),
            };
            let seen = format!("{} is asked for", ChangeKind::of(change).words());
            out.objections.push((Claim::Harmless, seen, Some(step)));
        }
    }
}
