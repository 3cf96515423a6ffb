//! How each state was first reached: a tree of shortest ways.

use crate::sums::SumMap;
use std::collections::hash_map::Entry;

/// The shortest way to every state that was reached.
#[derive(Clone, Debug)]
pub struct Tree<S> {
    origins: SumMap<Origin<S>>,
}

#[derive(Clone, Debug)]
struct Origin<S> {
    parent: Option<u128>,
    step: S,
}

impl<S: Clone> Tree<S> {
    pub(crate) fn new() -> Self {
        Self {
            origins: SumMap::default(),
        }
    }

    /// Whether the state was not there yet.
    pub(crate) fn insert(&mut self, key: u128, parent: Option<u128>, step: S) -> bool {
        match self.origins.entry(key) {
            Entry::Vacant(place) => {
                place.insert(Origin { parent, step });
                true
            }
            Entry::Occupied(_) => false,
        }
    }

    /// How many states were reached.
    pub fn len(&self) -> usize {
        self.origins.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.origins.is_empty()
    }

    /// The sums of all states, the smallest first.
    pub fn keys(&self) -> Vec<u128> {
        let mut keys: Vec<_> = self.origins.keys().copied().collect();
        keys.sort_unstable();
        keys
    }

    /// The steps of the shortest way to a state, from its beginning; none for a state that was not reached.
    pub fn story(&self, key: u128) -> Vec<S> {
        let mut steps: Vec<_> = self.upward(key).map(|origin| origin.step.clone()).collect();
        steps.reverse();
        steps
    }

    /// How many steps that way has, the beginning counted.
    pub fn depth(&self, key: u128) -> usize {
        self.upward(key).count()
    }

    fn upward(&self, key: u128) -> impl Iterator<Item = &Origin<S>> {
        std::iter::successors(self.origins.get(&key), |origin| self.origins.get(&origin.parent?))
    }
}
