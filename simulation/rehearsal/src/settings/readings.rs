//! What a store makes of its memory up to its next change, in every reading of doubtful cells.

use super::model::Explorer;
use super::plan::Version;
use super::store::{Store, Wish};
use super::world::On;
use crate::claims::Claim;
use packstaff_keeper::Reply;
use packstaff_search::Look;
use std::collections::HashSet;

/// Reads after which a store counts as going round in circles: the largest region is read in far fewer.
const READS_MAX: u32 = 1_000_000;

impl<S: Store> Explorer<'_, S> {
    /// Goes on up to the next change or the end, in every reading of doubtful cells.
    pub(super) fn follow(&self, on: On<S::State>, look: &mut Look<'_, Self>) -> Vec<(bool, On<S::State>)> {
        let mut open = vec![(false, on, 0_u32)];
        let mut ends = Vec::new();
        // Readings that come to the same are followed once, those without an odd reading first. Before anything was read in two
        // ways there is nothing to compare.
        let mut seen = HashSet::new();
        let mut parted = false;
        while let Some((wavered, mut on, mut steps)) = open.pop() {
            loop {
                if parted && !seen.insert(self.plan.key.hash(&(&on.state, &on.wish))) {
                    break;
                }
                let Wish::Read(address, len) = on.wish else {
                    ends.push((wavered, on));
                    break;
                };
                if steps > READS_MAX {
                    look.violates(Claim::Sane, "the store reads on and on without coming to rest");
                    break;
                }
                steps += 1;
                let Some(version) = self.plan.versions.get(on.version) else {
                    break;
                };
                if self.plan.faults.wavering && on.memory.wavers(address, len) {
                    parted = true;
                    let mut odd = on.clone();
                    self.answer(version, &mut odd, address, len, true);
                    open.push((true, odd, steps));
                }
                self.answer(version, &mut on, address, len, false);
            }
        }
        ends
    }

    fn answer(&self, version: &Version, on: &mut On<S::State>, address: u32, len: u32, otherwise: bool) {
        let bytes = on.memory.read(address, len, otherwise);
        let reply = bytes.as_deref().map_or(Reply::Failed, Reply::Bytes);
        on.wish = self.store.step(version, &mut on.state, reply);
    }
}
