//! How often an install erases the sector that it erases most.

use packstaff_unit::flash::{Change, FlashLayout};
use std::collections::BTreeMap;

/// Erases of each sector, as they happen.
#[derive(Debug, Default)]
pub struct Wear(BTreeMap<u32, u64>);

/// The most erases of any sector.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Most {
    /// Of the part's own flash.
    pub own: u64,
    /// Of the memory beside it.
    pub beside: u64,
}

impl Wear {
    /// Takes note of a change.
    pub fn see(&mut self, change: &Change) {
        if let Change::Erase { address } = change {
            *self.0.entry(*address).or_default() += 1;
        }
    }

    /// The most that a sector of each memory was erased.
    pub fn most(&self, layout: &FlashLayout) -> Most {
        let most = |is_beside| {
            let here = self
                .0
                .iter()
                .filter(|(address, _)| layout.is_beside(**address) == is_beside);
            here.map(|(_, count)| *count).max().unwrap_or(0)
        };
        Most {
            own: most(false),
            beside: most(true),
        }
    }
}

impl Most {
    /// The larger of two, memory by memory.
    #[must_use]
    pub fn max(self, other: Self) -> Self {
        Self {
            own: self.own.max(other.own),
            beside: self.beside.max(other.beside),
        }
    }
}
