//! What is searched: a model, and what it finds when it looks at a state.

use crate::liveness::{Next, Stuck};
use crate::sums::SumSet;

/// Something that has states, and steps from one to the next.
pub trait Model: Sync {
    /// A state.
    type State: Send + Sync;
    /// What leads from one state to the next, as a story tells it.
    type Step: Clone + Send + Sync;
    /// Something that must hold. Of each, the first violation is kept.
    type Claim: Copy + PartialEq + Send;
    /// Paths that must come to a goal. [`Infallible`](std::convert::Infallible) where there are none.
    type Path: Copy + Ord + Send;
    /// What the model counts while it looks at a state, for its [`Watch`](crate::Watch); `()` for nothing.
    type Count: Default + Send;
    /// Why a state cannot be looked at. It ends the search.
    type Fault: Send;

    /// The states to begin with, each with a first step that says what it is.
    fn beginnings(&self) -> Vec<(Self::Step, Self::State)>;

    /// The sum by which a state is told from others: equal for equal states, and as good as random otherwise. Small numbers will
    /// do where each stands for one state.
    fn key(&self, state: &Self::State) -> u128;

    /// Everything that can follow on a state, and everything that does not hold there or on the way. The order is the order in
    /// which ways of one length are preferred.
    ///
    /// # Errors
    /// Why the state cannot be looked at.
    fn look(&self, state: &Self::State, look: &mut Look<'_, Self>) -> Result<(), Self::Fault>;

    /// The claim that does not hold when a path does not come to its goal, and what was seen.
    fn never_arrives(&self, path: Self::Path, why: Stuck) -> (Self::Claim, String);
}

/// What a model finds when it looks at a state.
pub struct Look<'a, M: Model + ?Sized> {
    model: &'a M,
    known: SumSet,
    /// What the model counts.
    pub count: M::Count,
    pub(crate) reached: Vec<Reached<M>>,
    pub(crate) objections: Vec<Objection<M>>,
    pub(crate) next: Vec<(M::Path, Next)>,
    pub(crate) must_arrive: Vec<M::Path>,
}

/// A state that was reached, and how.
pub(crate) struct Reached<M: Model + ?Sized> {
    pub(crate) key: u128,
    pub(crate) state: M::State,
    pub(crate) step: M::Step,
}

/// A claim that does not hold.
pub(crate) struct Objection<M: Model + ?Sized> {
    pub(crate) claim: M::Claim,
    pub(crate) seen: String,
    /// The step on which it was seen; `None` if it was in the state itself.
    pub(crate) step: Option<M::Step>,
}

impl<'a, M: Model> Look<'a, M> {
    pub(crate) fn new(model: &'a M) -> Self {
        Self {
            model,
            known: SumSet::default(),
            count: M::Count::default(),
            reached: Vec::new(),
            objections: Vec::new(),
            next: Vec::new(),
            must_arrive: Vec::new(),
        }
    }

    /// A step leads to a state. Gives the state's sum.
    pub fn step(&mut self, step: M::Step, state: M::State) -> u128 {
        let key = self.model.key(&state);
        if self.known.insert(key) {
            self.reached.push(Reached { key, state, step });
        }
        key
    }

    /// A claim does not hold in this state; `seen` says what was seen instead.
    pub fn violates(&mut self, claim: M::Claim, seen: impl Into<String>) {
        self.object(claim, seen.into(), None);
    }

    /// A claim does not hold on a step from here, which is told as the last of the story. Where it leads is not looked at, unless it
    /// is given to [`step`](Self::step) as well.
    pub fn violates_on(&mut self, step: M::Step, claim: M::Claim, seen: impl Into<String>) {
        self.object(claim, seen.into(), Some(step));
    }

    fn object(&mut self, claim: M::Claim, seen: String, step: Option<M::Step>) {
        self.objections.push(Objection { claim, seen, step });
    }

    /// Whether a claim was said not to hold here.
    pub fn is_violated(&self) -> bool {
        !self.objections.is_empty()
    }

    /// A path leads from here to the state with this sum, at a cost. A path has one successor: the first that is given counts, and
    /// an end counts before any.
    pub fn continues(&mut self, path: M::Path, key: u128, cost: u32) {
        if self.next.iter().all(|(known, _)| *known != path) {
            self.next.push((path, Next::To { key, cost }));
        }
    }

    /// A path comes to its goal from here, at a cost.
    pub fn arrives(&mut self, path: M::Path, cost: u32) {
        self.end(path, Next::Goal { cost });
    }

    /// A path ends here, and not at its goal.
    pub fn ends(&mut self, path: M::Path, why: impl Into<String>) {
        self.end(path, Next::End { why: why.into() });
    }

    fn end(&mut self, path: M::Path, end: Next) {
        match self.next.iter_mut().find(|(known, _)| *known == path) {
            Some((_, next)) => *next = end,
            None => self.next.push((path, end)),
        }
    }

    /// The path must come to its goal from here.
    pub fn must_arrive(&mut self, path: M::Path) {
        self.must_arrive.push(path);
    }
}
