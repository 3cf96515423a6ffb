//! Installs as a model for the search: what follows on a node, and what is counted of it.

use super::loader::Loader;
use super::plan::{Coverage, Exploration, Plan, Progress, Unfinished};
use super::run::{Run, RunFault, Runner};
use super::story::{Step, Story};
use super::world::Node;
use crate::claims::{Claim, Violation};
use packstaff_installer::Phase;
use packstaff_search::{Limits, Look, Model, Stuck, Tree, Until, Watch, search};
use packstaff_unit::drive::Wish;
use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, RwLock};

/// A loader under every fault of a plan.
pub(super) struct Explorer<'a, L: Loader> {
    pub(super) loader: &'a L,
    pub(super) plan: &'a Plan<'a>,
    pub(super) runner: Runner<'a, L>,
    pub(super) memory: Memory<L::State>,
}

/// Runs from the question for a stick on, by the loader's state and the stick.
type Memory<S> = RwLock<HashMap<(u128, Option<usize>), Arc<Vec<Run<S>>>>>;

/// Paths that must come to a goal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Path {
    /// With the good stick in place, and without any fault: the picked version runs.
    FaultFree,
    /// Without a stick, and without any fault: something runs.
    NoStick,
}

/// What is counted at one node.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Count {
    pub(super) transitions: u64,
    pub(super) cuts: u64,
}

/// So many nodes are looked at before what they lead to is put together.
const PORTION: usize = 1 << 12;

impl<L: Loader> Model for Explorer<'_, L> {
    type State = Node<L::State>;
    type Step = Step;
    type Claim = Claim;
    type Path = Path;
    type Count = Count;
    type Fault = RunFault;

    fn beginnings(&self) -> Vec<(Step, Self::State)> {
        let begin = |(name, flash): &(String, _)| {
            let world = self.off(Clone::clone(flash), self.loader.floor(flash));
            (Step::Begin(name.clone()), Node::Off(world))
        };
        self.plan.from.iter().map(begin).collect()
    }

    fn key(&self, node: &Self::State) -> u128 {
        match node {
            Node::Off(world) => world.key,
            Node::On { flash, run, rest } => self.key_of_run(flash, rest.started, run),
        }
    }

    fn look(&self, node: &Self::State, look: &mut Look<'_, Self>) -> Result<(), RunFault> {
        match node {
            Node::Off(world) => self.power_on(world, look),
            Node::On { flash, run, rest } => self.change(flash, run, rest, look),
        }
    }

    fn never_arrives(&self, path: Path, why: Stuck) -> (Claim, String) {
        let why = match why {
            Stuck::Ends(why) => why,
            Stuck::Circle => "it goes round in circles".to_owned(),
            Stuck::DeadEnd => "nothing follows".to_owned(),
        };
        match path {
            Path::FaultFree => (Claim::Arrives, format!("with a good stick and no further cut, {why}")),
            Path::NoStick => (Claim::StandsAlone, format!("without a stick and no further cut, {why}")),
        }
    }
}

impl<'a, L: Loader> Explorer<'a, L> {
    pub(super) fn new(loader: &'a L, plan: &'a Plan<'a>) -> Self {
        Self {
            loader,
            plan,
            runner: Runner {
                loader,
                faults: &plan.faults,
                sticks: &plan.sticks,
                goal: plan.goal,
                key: plan.key,
                digests: RwLock::default(),
            },
            memory: RwLock::default(),
        }
    }

    /// Explores everything: what was found, and how each node was reached.
    pub(super) fn explore(&self, watch: &dyn Fn(Progress)) -> Result<(Exploration, Tree<Step>), Unfinished> {
        let limits = Limits {
            states_max: self.plan.nodes_max,
            portion: PORTION,
            until: match self.plan.stop_at_first {
                true => Until::FirstViolation,
                false => Until::End,
            },
        };
        let mut counted = Counted {
            explorer: self,
            watch,
            worlds: 0,
            powered: 0,
            total: Count::default(),
            phases: BTreeMap::new(),
        };
        let found = search(self, &limits, &mut counted).map_err(unfinished)?;
        let violations = found.violations.into_iter().map(|violation| Violation {
            claim: violation.claim,
            seen: violation.seen,
            story: Story::of(violation.story, self.names()),
        });
        let mut violations: Vec<_> = violations.collect();
        if found.to_the_end {
            violations.sort_by_key(|violation| violation.claim);
        }
        let exploration = Exploration {
            worlds: counted.worlds,
            powered: counted.powered,
            transitions: counted.total.transitions,
            cuts: counted.total.cuts,
            levels: found.levels,
            phases: counted.phases,
            changes_max: found.costs_max.get(&Path::FaultFree).map_or(0, |cost| *cost as usize),
            violations,
            to_the_end: found.to_the_end,
        };
        Ok((exploration, found.tree))
    }

    /// What to call the sticks in a story.
    pub(super) fn names(&self) -> Vec<String> {
        self.plan.sticks.iter().map(|option| option.name.clone()).collect()
    }

    /// What the unit is doing at a node, if power is on.
    fn doing(&self, node: &Node<L::State>) -> Option<Phase> {
        match node {
            Node::On { run, .. } => match &run.wish {
                Wish::Change(change) => Some(self.loader.doing(&run.state, change)),
                _ => None,
            },
            Node::Off(_) => None,
        }
    }
}

fn unfinished(unfinished: packstaff_search::Unfinished<RunFault>) -> Unfinished {
    match unfinished {
        packstaff_search::Unfinished::TooLarge(most) => Unfinished::TooLarge(most),
        packstaff_search::Unfinished::Fault(RunFault::DontCareRead(address)) => Unfinished::Unsound { address },
        packstaff_search::Unfinished::Fault(RunFault::Endless) => Unfinished::Endless,
    }
}

/// Counts what the search comes to.
struct Counted<'a, L: Loader> {
    explorer: &'a Explorer<'a, L>,
    watch: &'a dyn Fn(Progress),
    worlds: usize,
    powered: usize,
    total: Count,
    phases: BTreeMap<Phase, Coverage>,
}

impl<L: Loader> Counted<'_, L> {
    fn coverage(&mut self, node: &Node<L::State>) -> Option<&mut Coverage> {
        let phase = self.explorer.doing(node)?;
        Some(self.phases.entry(phase).or_default())
    }
}

impl<'a, L: Loader> Watch<Explorer<'a, L>> for Counted<'_, L> {
    fn reached(&mut self, from: Option<&Node<L::State>>, node: &Node<L::State>) {
        if let Node::Off(_) = node {
            self.worlds += 1;
            if let Some(coverage) = from.and_then(|from| self.coverage(from)) {
                coverage.worlds += 1;
            }
        }
    }

    fn looked_at(&mut self, node: &Node<L::State>, count: Count) {
        self.total.transitions += count.transitions;
        self.total.cuts += count.cuts;
        self.powered += usize::from(matches!(node, Node::On { .. }));
        if let Some(coverage) = self.coverage(node) {
            coverage.powered += 1;
            coverage.cuts += count.cuts;
        }
    }

    fn progress(&mut self, progress: packstaff_search::Progress) {
        (self.watch)(Progress {
            worlds: self.worlds,
            nodes: progress.states,
            ahead: progress.ahead,
            cuts: self.total.cuts,
        });
    }
}
