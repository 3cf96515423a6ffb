//! Where the next record goes.

use super::{Ring, bit};
use crate::config::{Memory, Spots};

/// A place for a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) spot: u32,
    /// Its sector is erased first.
    pub(super) erase: bool,
}

impl Ring {
    /// Never the record that is relied on, nor a sector that holds it.
    pub(super) fn next_place(&self, spots: &Spots) -> Option<Place> {
        let sure = self.sure.map(|at| at.spot);
        let newest = self.newest.map(|at| at.spot);
        let usable = |spot: u32| self.worn & bit(spot) == 0;
        match spots.memory {
            Memory::Pages { .. } => {
                // One that is not relied on is written over, where another one is: its payload is in the buffer, and it was not
                // reported.
                let doubtful = newest.filter(|spot| sure.is_some_and(|sure| sure != *spot) && usable(*spot));
                let first = newest.map_or(0, |spot| spot.wrapping_add(1));
                let mut round = (0..spots.count)
                    .filter_map(|step| first.checked_add(step)?.checked_rem(spots.count))
                    .filter(|spot| Some(*spot) != sure && usable(*spot));
                let spot = doubtful.or_else(|| round.next())?;
                Some(Place { spot, erase: false })
            }
            Memory::Flash { .. } => {
                let sector = newest.map(|spot| spots.sector_of(spot));
                let here = |spot: &u32| Some(spots.sector_of(*spot)) == sector && self.free & bit(*spot) != 0;
                let behind = newest.map_or(0, |spot| spot.wrapping_add(1))..spots.count;
                let mut behind = behind.filter(|spot| usable(*spot) && here(spot));
                if let Some(spot) = behind.next() {
                    return Some(Place { spot, erase: false });
                }
                let holds_sure = |sector: u32| sure.map(|spot| spots.sector_of(spot)) == Some(sector);
                let count = spots.sectors();
                let first = sector.map_or(0, |sector| sector.wrapping_add(1));
                let mut round = (0..count)
                    .filter_map(|step| first.checked_add(step)?.checked_rem(count))
                    .filter(|sector| !holds_sure(*sector));
                let spot = round.find_map(|sector| {
                    let spot = sector.checked_mul(spots.per_sector)?;
                    usable(spot).then_some(spot)
                })?;
                Some(Place { spot, erase: true })
            }
        }
    }
}
