//! What an owner does: puts a version on, changes settings, switches off.

use super::ideal::Ideal;
use super::model::Explorer;
use super::store::{Store, Wish};
use super::story::Step;
use super::world::{Ideals, On, SoFar};
use packstaff_search::Look;
use packstaff_unit::settings_memory::SettingsMemory;

impl<S: Store> Explorer<'_, S> {
    /// Any version is installed now.
    pub(super) fn power_on(
        &self,
        memory: &SettingsMemory,
        ideals: &Ideals,
        mut so_far: SoFar,
        look: &mut Look<'_, Self>,
    ) {
        if let Some(most) = self.plan.powers_max {
            so_far.powers = so_far.powers.saturating_add(1);
            if so_far.powers > most {
                return;
            }
        }
        for (index, version) in self.plan.versions.iter().enumerate() {
            let under = |ideal: &Ideal| ideal.under(&self.plan.versions, index, self.plan.keeps_aside);
            let carried: Ideals = ideals.iter().filter_map(under).collect();
            let (state, wish) = self.store.power_up(version);
            let both = ideals | &carried;
            let on = On {
                memory: memory.clone(),
                state,
                version: index,
                wish,
                ideals: both,
                saved: None,
                saves: 0,
                so_far,
            };
            for (wavered, end) in self.follow(on, look) {
                let step = |end| Step::PowerOn(index, wavered, end);
                self.arrive(end, step, Some((ideals, &carried)), look);
            }
        }
    }

    /// At rest: the owner changes something, or switches off.
    pub(super) fn rest(&self, on: &On<S::State>, look: &mut Look<'_, Self>) {
        look.step(Step::Off, self.off(on.memory.clone(), on.ideals.clone(), on.so_far));
        let (Wish::Rest(value), Some(version)) = (&on.wish, self.plan.versions.get(on.version)) else {
            return;
        };
        if on.saves >= self.plan.saves_max {
            return;
        }
        for payload in &version.payloads {
            if value.as_ref() == Some(payload) {
                continue;
            }
            let mut saving = on.clone();
            saving.saves += 1;
            saving.wish = self.store.save(version, &mut saving.state, payload);
            let saved: Ideals = on
                .ideals
                .iter()
                .map(|ideal| Ideal {
                    version: on.version,
                    value: Some(payload.clone()),
                    aside: ideal.aside.clone(),
                })
                .collect();
            saving.ideals.extend(saved.iter().cloned());
            saving.saved = Some(saved);
            for (_, end) in self.follow(saving, look) {
                let payload = payload.clone();
                self.arrive(end, |end| Step::Save(payload, end), None, look);
            }
        }
    }
}
