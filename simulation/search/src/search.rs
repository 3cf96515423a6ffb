//! The search itself: level by level, each in portions on all cores, and put together in their order.

use crate::liveness::Paths;
use crate::model::{Look, Model};
use crate::tree::Tree;
use rayon::prelude::*;
use std::collections::BTreeMap;
use thiserror::Error;

/// When a search is over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Until {
    /// When every state was looked at.
    #[default]
    End,
    /// Behind the level on which the first violation was seen, if there is one.
    FirstViolation,
}

/// Bounds of a search.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// The most states to reach. It is looked at after each portion, so that a few more may be reached than this.
    pub states_max: usize,
    /// So many states are looked at before what they lead to is put together: it bounds what is held at one time. 0 counts as 1.
    pub portion: usize,
    /// When the search is over.
    pub until: Until,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            states_max: 1 << 20,
            portion: 1 << 12,
            until: Until::End,
        }
    }
}

/// How far a search has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// States reached so far.
    pub states: usize,
    /// States of the next level that are known so far.
    pub ahead: usize,
}

/// Someone who is told what a search does, always in the same order. `()` does not listen.
pub trait Watch<M: Model> {
    /// A state was reached for the first time: from another, or as a beginning.
    fn reached(&mut self, from: Option<&M::State>, state: &M::State) {
        let _ = (from, state);
    }

    /// A state was looked at; `count` is what the model counted there.
    fn looked_at(&mut self, state: &M::State, count: M::Count) {
        let _ = (state, count);
    }

    /// One more portion is done.
    fn progress(&mut self, progress: Progress) {
        let _ = progress;
    }
}

impl<M: Model> Watch<M> for () {}

/// A claim that does not hold, with the shortest way to it.
#[derive(Clone, Debug)]
pub struct Violation<C, S> {
    /// Which claim.
    pub claim: C,
    /// What was seen.
    pub seen: String,
    /// The steps, from the beginning.
    pub story: Vec<S>,
}

/// What a search found.
pub struct Found<M: Model> {
    /// Levels that were looked at: steps of the longest shortest way.
    pub levels: usize,
    /// Claims that do not hold: of each the first that was seen, in that order. Those of paths come last.
    pub violations: Vec<Violation<M::Claim, M::Step>>,
    /// The highest cost of each path from a state from which it must arrive, and does; empty if the search did not go to the end.
    pub costs_max: BTreeMap<M::Path, u64>,
    /// Whether every state was looked at.
    pub to_the_end: bool,
    /// How each state was reached.
    pub tree: Tree<M::Step>,
}

/// Why a search ended without an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum Unfinished<F> {
    /// There are more states than were allowed for.
    #[error("more than {0} states")]
    TooLarge(usize),
    /// The model could not look at a state.
    #[error("{0}")]
    Fault(F),
}

/// Searches everything that a model can come to.
///
/// # Errors
/// Why there is no answer.
pub fn search<M: Model>(
    model: &M,
    limits: &Limits,
    watch: &mut impl Watch<M>,
) -> Result<Found<M>, Unfinished<M::Fault>> {
    let mut search = Search {
        model,
        paths: BTreeMap::new(),
        found: Found {
            levels: 0,
            violations: Vec::new(),
            costs_max: BTreeMap::new(),
            to_the_end: false,
            tree: Tree::new(),
        },
    };
    let mut level = search.begin(watch);
    while !level.is_empty() {
        search.found.levels += 1;
        let mut ahead = Vec::new();
        for portion in level.chunks(limits.portion.max(1)) {
            let looks: Vec<_> = portion.par_iter().map(|(_, state)| look_at(model, state)).collect();
            for ((key, state), look) in portion.iter().zip(looks) {
                let look = look.map_err(Unfinished::Fault)?;
                search.take(*key, state, look, &mut ahead, watch);
            }
            let states = search.found.tree.len();
            watch.progress(Progress {
                states,
                ahead: ahead.len(),
            });
            if states > limits.states_max {
                return Err(Unfinished::TooLarge(limits.states_max));
            }
        }
        level = ahead;
        if limits.until == Until::FirstViolation && !search.found.violations.is_empty() {
            return Ok(search.found);
        }
    }
    Ok(search.end())
}

fn look_at<'a, M: Model>(model: &'a M, state: &M::State) -> Result<Look<'a, M>, M::Fault> {
    let mut look = Look::new(model);
    model.look(state, &mut look)?;
    Ok(look)
}

/// States with their sums.
type Level<M> = Vec<(u128, <M as Model>::State)>;

struct Search<'a, M: Model> {
    model: &'a M,
    paths: BTreeMap<M::Path, Paths>,
    found: Found<M>,
}

impl<M: Model> Search<'_, M> {
    fn begin(&mut self, watch: &mut impl Watch<M>) -> Level<M> {
        let mut level = Vec::new();
        for (step, state) in self.model.beginnings() {
            let key = self.model.key(&state);
            if self.found.tree.insert(key, None, step) {
                watch.reached(None, &state);
                level.push((key, state));
            }
        }
        level
    }

    /// Takes in what was seen at one state; what was reached for the first time goes to `ahead`.
    fn take(
        &mut self,
        key: u128,
        state: &M::State,
        look: Look<'_, M>,
        ahead: &mut Level<M>,
        watch: &mut impl Watch<M>,
    ) {
        watch.looked_at(state, look.count);
        for objection in look.objections {
            self.violated(key, objection.claim, objection.seen, objection.step);
        }
        for (path, next) in look.next {
            self.paths.entry(path).or_default().set(key, next);
        }
        for path in look.must_arrive {
            self.paths.entry(path).or_default().must_arrive(key);
        }
        for reached in look.reached {
            if self.found.tree.insert(reached.key, Some(key), reached.step) {
                watch.reached(Some(state), &reached.state);
                ahead.push((reached.key, reached.state));
            }
        }
    }

    fn violated(&mut self, key: u128, claim: M::Claim, seen: String, last: Option<M::Step>) {
        if self.found.violations.iter().all(|known| known.claim != claim) {
            let mut story = self.found.tree.story(key);
            story.extend(last);
            self.found.violations.push(Violation { claim, seen, story });
        }
    }

    /// Every state was looked at: follows the paths. Of states that are stuck, the one with the shortest way to it is told.
    fn end(mut self) -> Found<M> {
        self.found.to_the_end = true;
        for (path, paths) in std::mem::take(&mut self.paths) {
            let followed = paths.follow();
            self.found.costs_max.insert(path, followed.longest);
            let tree = &self.found.tree;
            let first = followed
                .stuck
                .into_iter()
                .min_by_key(|(key, _)| (tree.depth(*key), *key));
            if let Some((key, why)) = first {
                let (claim, seen) = self.model.never_arrives(path, why);
                self.violated(key, claim, seen, None);
            }
        }
        self.found
    }
}
