//! Nodes of the search: worlds with power off, and powered stores about to change their memory, or at rest.

use super::ideal::Ideal;
use super::model::Explorer;
use super::store::{Store, Wish};
use packstaff_unit::settings_memory::SettingsMemory;
use std::collections::BTreeSet;

/// What the settings may be.
pub(super) type Ideals = BTreeSet<Ideal>;

/// A node of the search.
pub(super) enum Node<S> {
    Off {
        memory: SettingsMemory,
        ideals: Ideals,
        so_far: SoFar,
    },
    On(Box<On<S>>),
}

/// A powered store about to change its memory, or at rest.
#[derive(Clone)]
pub(super) struct On<S> {
    pub(super) memory: SettingsMemory,
    pub(super) state: S,
    /// The installed version.
    pub(super) version: usize,
    pub(super) wish: Wish,
    /// What the settings may be if power fails now.
    pub(super) ideals: Ideals,
    /// What is being saved, or was saved last.
    pub(super) saved: Option<Ideals>,
    pub(super) saves: u8,
    pub(super) so_far: SoFar,
}

/// How often something has happened, where the plan bounds it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(super) struct SoFar {
    pub(super) cuts: u8,
    pub(super) powers: u8,
}

impl<S: Store> Explorer<'_, S> {
    /// Settings that are nowhere in the memory any more cannot come back, and if they do, that is found.
    pub(super) fn off(&self, mut memory: SettingsMemory, mut ideals: Ideals, so_far: SoFar) -> Node<S::State> {
        if let Some(held) = self.alike.settle(&mut memory) {
            let layout = |ideal: &Ideal| self.plan.versions.get(ideal.version).map(|version| version.layout);
            let is_held = |ideal: &Ideal| match &ideal.value {
                None => true,
                Some(value) => held
                    .iter()
                    .any(|(number, bytes)| layout(ideal) == Some(*number) && bytes == value),
            };
            if ideals.iter().any(is_held) {
                ideals.retain(is_held);
            }
        }
        Node::Off { memory, ideals, so_far }
    }

    pub(super) fn key_of(&self, node: &Node<S::State>) -> u128 {
        let key = &self.plan.key;
        match node {
            Node::Off { memory, ideals, so_far } => key.hash(&(memory.sum(key), ideals, so_far)),
            Node::On(on) => key.hash(&(
                (on.memory.sum(key), &on.state, on.version),
                (&on.wish, &on.ideals, &on.saved, on.saves, on.so_far),
            )),
        }
    }
}
