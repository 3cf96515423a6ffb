//! A powered store changes its memory: the change is carried out, or cut before, inside and after; or a page wears out.

use super::judge::Came;
use super::model::{Explorer, ToRest};
use super::store::Store;
use super::story::{ChangeKind, Step};
use super::world::On;
use crate::claims::Claim;
use crate::moment::Moment;
use packstaff_keeper::Reply;
use packstaff_search::Look;
use packstaff_unit::flash::{Change, Torn};
use packstaff_unit::settings_memory::{SettingsCut, SettingsMemory};
use std::collections::HashSet;

impl<S: Store> Explorer<'_, S> {
    pub(super) fn change(&self, on: &On<S::State>, change: &Change, look: &mut Look<'_, Self>) {
        if let Err(fault) = on.memory.check(change) {
            look.violates(Claim::Sane, fault);
            return;
        }
        let unseen = self.alike.is_unseen(&on.memory, change);
        let mut after = on.memory.clone();
        if let Err(fault) = after.apply(change) {
            look.violates(Claim::Sane, fault);
            return;
        }
        if self.may_cut(on) {
            self.cut(on, change, (!unseen).then_some(&after), look);
        }
        let stretch = unseen && !self.plan.wears_out;
        self.carried_out(on, after, stretch, look);
        if self.plan.wears_out {
            self.wear_out(on, change, look);
        }
    }

    fn may_cut(&self, on: &On<S::State>) -> bool {
        self.plan.faults.cuts && self.plan.cuts_max.is_none_or(|most| on.so_far.cuts < most)
    }

    /// Power fails before, inside and after a change. Without `after`, what the change leaves is not seen before a later one, and all
    /// cuts lead where one before it does.
    fn cut(&self, on: &On<S::State>, change: &Change, after: Option<&SettingsMemory>, look: &mut Look<'_, Self>) {
        let kind = ChangeKind::of(change);
        let mut so_far = on.so_far;
        if self.plan.cuts_max.is_some() {
            so_far.cuts = so_far.cuts.saturating_add(1);
        }
        let torn = self.torn(on, change);
        look.count += torn.len() as u64 + 2;
        let mut cut = |moment, memory| {
            look.step(Step::Cut(kind, moment), self.off(memory, on.ideals.clone(), so_far));
        };
        cut(Moment::Before, on.memory.clone());
        let Some(after) = after else { return };
        cut(Moment::After, after.clone());
        let mut faces = HashSet::new();
        for inside in torn {
            let mut memory = on.memory.clone();
            if memory.tear(change, inside).is_err() {
                continue;
            }
            let known = self.alike.face(&memory, change).is_some_and(|face| !faces.insert(face));
            if !known {
                cut(Moment::Inside(inside), memory);
            }
        }
    }

    /// The page that a change writes into wears out, if none has yet.
    fn wear_out(&self, on: &On<S::State>, change: &Change, look: &mut Look<'_, Self>) {
        if let (SettingsMemory::Pages(pages), Change::Program { address, .. }) = (&on.memory, change)
            && !pages.is_worn()
        {
            let mut worn = pages.clone();
            worn.wear_out(*address);
            let mut worn = SettingsMemory::Pages(worn);
            if worn.apply(change).is_ok() {
                for (_, end) in self.go_on(on, worn, look) {
                    self.arrive(end, Step::WornOut, None, look);
                }
            }
        }
    }

    /// Every way in which a cut can fall inside a change, as far as it is looked at.
    fn torn(&self, on: &On<S::State>, change: &Change) -> Vec<SettingsCut> {
        let faults = &self.plan.faults;
        let looked_at = |cut: &SettingsCut| match cut {
            SettingsCut::Page(_) => !faults.insides.is_empty(),
            SettingsCut::Flash(Torn::Program { inside, .. }) => faults.insides.contains(inside),
            SettingsCut::Flash(Torn::Erase(cut)) => faults.erases.contains(cut),
        };
        on.memory.cuts(change).into_iter().filter(looked_at).collect()
    }

    /// How many cuts there are in a change: before, inside and after it.
    fn cuts_in(&self, on: &On<S::State>, change: &Change) -> u64 {
        match self.may_cut(on) {
            true => self.torn(on, change).len() as u64 + 2,
            false => 0,
        }
    }

    /// After a change. In a `stretch`, all further changes that nobody can see are carried out at once: a cut in any of them leads
    /// where one before the first does.
    fn carried_out(&self, on: &On<S::State>, memory: SettingsMemory, stretch: bool, look: &mut Look<'_, Self>) {
        let mut ends = self.go_on(on, memory, look);
        let mut changes = 1;
        while stretch && let [(_, end)] = &ends[..] {
            let Some(change) = end.wish.change() else { break };
            if !self.alike.is_unseen(&end.memory, &change) {
                break;
            }
            let mut after = end.memory.clone();
            if after.apply(&change).is_err() {
                break;
            }
            look.count += self.cuts_in(end, &change);
            changes += 1;
            ends = self.go_on(end, after, look);
        }
        for (wavered, end) in ends {
            let came = self.arrive(end, |end| Step::Done(changes, end), None, look);
            if wavered {
                continue;
            }
            match came {
                Some(Came::Change(key)) => look.continues(ToRest, key, changes as u32),
                Some(Came::Rest) => look.arrives(ToRest, changes as u32),
                None => continue,
            }
            look.must_arrive(ToRest);
        }
    }

    /// The change is done, with this memory: on to the next.
    fn go_on(&self, on: &On<S::State>, memory: SettingsMemory, look: &mut Look<'_, Self>) -> Vec<(bool, On<S::State>)> {
        let mut next = on.clone();
        next.memory = memory;
        if let Some(version) = self.plan.versions.get(on.version) {
            next.wish = self.store.step(version, &mut next.state, Reply::Done);
        }
        self.follow(next, look)
    }
}
