//! What must hold when a store has come to its next change, to rest, or to an end.

use super::ideal::Ideal;
use super::model::Explorer;
use super::store::{Store, Wish};
use super::story::{ChangeKind, ComesTo, Step};
use super::world::{Ideals, Node, On};
use crate::claims::Claim;
use packstaff_search::Look;
use std::collections::BTreeSet;

/// What a store has come to.
pub(super) enum Came {
    /// A change of its memory, at the node with this sum.
    Change(u128),
    /// Rest, or an end.
    Rest,
}

impl<S: Store> Explorer<'_, S> {
    /// A store has come to its next change, to rest, or to an end; `None` if that should not be.
    pub(super) fn arrive(
        &self,
        mut on: On<S::State>,
        step: impl FnOnce(ComesTo) -> Step,
        powered: Option<(&Ideals, &Ideals)>,
        look: &mut Look<'_, Self>,
    ) -> Option<Came> {
        let end = match &on.wish {
            Wish::Rest(value) => ComesTo::Rest(value.clone()),
            Wish::Foreign => ComesTo::Foreign,
            Wish::NotCarried(why) | Wish::Stuck(why) => ComesTo::Stuck(why.clone()),
            wish => ComesTo::Change(ChangeKind::of(&wish.change()?)),
        };
        let objection = self.judge(&mut on, powered);
        let step = step(end.clone());
        if let Some((claim, seen)) = objection {
            look.violates_on(step, claim, seen);
            return None;
        }
        let rests = !matches!(end, ComesTo::Change(_));
        let key = look.step(step, Node::On(Box::new(on)));
        Some(if rests { Came::Rest } else { Came::Change(key) })
    }

    /// At rest: the settings are some that they may be, and from now on no others.
    fn judge(&self, on: &mut On<S::State>, powered: Option<(&Ideals, &Ideals)>) -> Option<(Claim, String)> {
        match &on.wish {
            Wish::Stuck(why) => Some((Claim::Sane, format!("the store is stuck: {why}"))),
            Wish::NotCarried(why) => Some((Claim::SettingsKept, why.clone())),
            Wish::Foreign => {
                // Right where there is no way from any of the layouts that the settings may have.
                let way = |ideal: &Ideal| {
                    ideal
                        .under(&self.plan.versions, on.version, self.plan.keeps_aside)
                        .is_some()
                };
                if let Some((old, _)) = powered {
                    on.ideals = old.clone();
                }
                let all = on.ideals.iter().all(way);
                all.then(|| {
                    let seen = "there is a way from the settings to this version, and it is not taken".to_owned();
                    (Claim::SettingsKept, seen)
                })
            }
            Wish::Rest(value) => {
                let installed = |ideal: &Ideal| {
                    let layout = |index: usize| self.plan.versions.get(index).map(|version| version.layout);
                    layout(ideal.version) == layout(on.version) || ideal.value.is_none()
                };
                let matching: Ideals = match &on.saved {
                    Some(saved) => saved.clone(),
                    None => on.ideals.iter().filter(|ideal| installed(ideal)).cloned().collect(),
                };
                let matching: Ideals = matching.into_iter().filter(|ideal| ideal.value == *value).collect();
                if matching.is_empty() {
                    let words = |value: &Option<Vec<u8>>| self.names.words(value.as_deref());
                    let may: BTreeSet<_> = on.ideals.iter().map(|ideal| words(&ideal.value)).collect();
                    let may: Vec<_> = may.into_iter().collect();
                    let seen = format!("the unit has {}, and should have {}", words(value), may.join(", or "));
                    return Some((Claim::SettingsKept, seen));
                }
                on.ideals = matching;
                on.saved = None;
                None
            }
            _ => None,
        }
    }
}
