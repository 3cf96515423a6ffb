//! Settings as a model for the search: what follows on a node, and what is counted of it.

use super::alike::{Alike, Apart};
use super::names::Names;
use super::plan::{Exploration, Plan, TooLarge};
use super::store::{KeeperMachine, OurKeeper, Store};
use super::story::{Step, Story};
use super::world::{Node, SoFar};
use crate::claims::{Claim, Violation};
use crate::explore::Progress;
use packstaff_search::{Limits, Look, Model, Stuck, Unfinished, Until, Watch, search};
use std::collections::BTreeSet;
use std::convert::Infallible;

/// So many nodes are looked at before what they lead to is put together: what waits takes memory.
const PORTION: usize = 256;

/// A store under every fault of a plan.
pub(super) struct Explorer<'a, S: Store> {
    pub(super) store: &'a S,
    pub(super) plan: &'a Plan,
    pub(super) alike: &'a dyn Alike,
    pub(super) names: Names,
}

/// The path of a store that changes its memory without any fault: it must come to rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct ToRest;

impl<S: Store> Model for Explorer<'_, S> {
    type State = Node<S::State>;
    type Step = Step;
    type Claim = Claim;
    type Path = ToRest;
    /// Cuts: before, inside and after changes.
    type Count = u64;
    type Fault = Infallible;

    fn beginnings(&self) -> Vec<(Step, Self::State)> {
        let begin = |(name, memory, ideal): &(String, _, _)| {
            let node = self.off(
                Clone::clone(memory),
                BTreeSet::from([Clone::clone(ideal)]),
                SoFar::default(),
            );
            (Step::Begin(name.clone()), node)
        };
        self.plan.from.iter().map(begin).collect()
    }

    fn key(&self, node: &Self::State) -> u128 {
        self.key_of(node)
    }

    fn look(&self, node: &Self::State, look: &mut Look<'_, Self>) -> Result<(), Infallible> {
        match node {
            Node::Off { memory, ideals, so_far } => self.power_on(memory, ideals, *so_far, look),
            Node::On(on) => match on.wish.change() {
                Some(change) => self.change(on, &change, look),
                None => self.rest(on, look),
            },
        }
        Ok(())
    }

    fn never_arrives(&self, _: ToRest, _: Stuck) -> (Claim, String) {
        (Claim::Sane, "the store goes on changing its memory for ever".to_owned())
    }
}

/// Explores our own keeper, with worlds that are alike to it taken together or kept apart.
///
/// # Errors
/// Too many nodes.
pub fn explore_keeper<M: KeeperMachine>(
    keeper: &OurKeeper<M>,
    plan: &Plan,
    reduce: bool,
) -> Result<Exploration, TooLarge> {
    let alike: &dyn Alike = if reduce { keeper } else { &Apart };
    explore(keeper, plan, alike, &|_| ())
}

/// Explores a store. `watch` is told now and then how far it has come.
///
/// # Errors
/// Too many nodes.
pub fn explore<S: Store>(
    store: &S,
    plan: &Plan,
    alike: &dyn Alike,
    watch: &dyn Fn(Progress),
) -> Result<Exploration, TooLarge> {
    let explorer = Explorer {
        store,
        plan,
        alike,
        names: Names::of(plan),
    };
    explorer.explore(watch)
}

impl<S: Store> Explorer<'_, S> {
    fn explore(&self, watch: &dyn Fn(Progress)) -> Result<Exploration, TooLarge> {
        let limits = Limits {
            states_max: self.plan.nodes_max,
            portion: PORTION,
            until: Until::FirstViolation,
        };
        let mut counted = Counted {
            watch,
            seen: Exploration::default(),
        };
        let found = search(self, &limits, &mut counted).map_err(|unfinished| match unfinished {
            Unfinished::TooLarge(most) => TooLarge(most),
            Unfinished::Fault(never) => match never {},
        })?;
        let first = found.violations.into_iter().next();
        Ok(Exploration {
            levels: found.levels,
            changes_max: found.costs_max.get(&ToRest).map_or(0, |cost| *cost as usize),
            violation: first.map(|violation| Violation {
                claim: violation.claim,
                seen: violation.seen,
                story: Story::of(violation.story, &self.plan.versions, &self.names),
            }),
            ..counted.seen
        })
    }
}

/// Counts what the search comes to.
struct Counted<'a> {
    watch: &'a dyn Fn(Progress),
    seen: Exploration,
}

impl<'a, S: Store> Watch<Explorer<'a, S>> for Counted<'_> {
    fn looked_at(&mut self, node: &Node<S::State>, cuts: u64) {
        self.seen.cuts += cuts;
        match node {
            Node::Off { .. } => self.seen.worlds += 1,
            Node::On(_) => self.seen.powered += 1,
        }
    }

    fn progress(&mut self, progress: packstaff_search::Progress) {
        (self.watch)(Progress {
            worlds: self.seen.worlds,
            nodes: progress.states,
            ahead: progress.ahead,
            cuts: self.seen.cuts,
        });
    }
}
