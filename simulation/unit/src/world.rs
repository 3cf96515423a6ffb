//! The world: everything that survives a power cut.

use crate::flash::{Flash, SumKey};
use crate::stick::Stick;
use std::sync::Arc;

/// A settings memory: bytes that the installer never touches.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings(Arc<Vec<u8>>);

impl Settings {
    /// A memory that holds `bytes`.
    pub fn new(bytes: Vec<u8>) -> Self {
        Self(Arc::new(bytes))
    }

    /// What it holds.
    pub fn bytes(&self) -> &[u8] {
        &self.0
    }
}

/// Everything that survives a power cut.
#[derive(Clone, Debug)]
pub struct World {
    /// Program flash: installer, floor, slot.
    pub flash: Flash,
    /// Settings and calibration.
    pub settings: Settings,
    /// The stick in the unit, if there is one.
    pub stick: Option<Stick>,
}

impl World {
    /// A keyed sum of what the unit itself holds; the stick is told apart by [`Stick::is`].
    pub fn sum(&self, key: &SumKey) -> u128 {
        self.flash.sum().wrapping_add(key.hash(&self.settings.0))
    }
}
