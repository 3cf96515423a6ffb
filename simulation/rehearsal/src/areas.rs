//! What flash is divided into, for stories and pictures: stretches with names, and what each is for.

use packstaff_installer::{Layout as Slots, Region};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::FlashLayout;
use std::sync::Arc;

/// A stretch of flash that is told of by its name; or several that belong together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Area {
    /// What to call it.
    pub name: String,
    /// Which cells.
    pub regions: Vec<Region>,
    /// What it is for.
    pub holds: Holds,
}

/// What an area is for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Holds {
    /// Something that must stay as it was in the beginning.
    Kept,
    /// The same, of so little account that it is shown only where it changes.
    Rest,
    /// A record.
    Record(Reading),
    /// An image, from the first address on.
    Image,
}

/// How a record is read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reading {
    /// One of the two records of our register.
    Register,
    /// The descriptor of our slot.
    Descriptor,
    /// Its void mark.
    VoidMark,
    /// Somebody else's: whole if it holds one of these contents, each with what to call it.
    Known(Vec<(String, Vec<u8>)>),
}

/// All areas of a kind of unit.
#[derive(Clone, Debug)]
pub struct Areas {
    layout: Arc<FlashLayout>,
    areas: Vec<Area>,
}

impl Areas {
    /// These areas, in the order in which a picture shows them from left to right; what is in none of them is one more.
    pub fn new(layout: Arc<FlashLayout>, mut areas: Vec<Area>) -> Self {
        let taken: Vec<_> = areas.iter().flat_map(|area| area.regions.iter().copied()).collect();
        let rest = layout.sectors().iter().flat_map(|sector| without(*sector, &taken));
        let rest = Area {
            name: "others".to_owned(),
            regions: rest.collect(),
            holds: Holds::Rest,
        };
        if !rest.regions.is_empty() {
            areas.push(rest);
        }
        Self { layout, areas }
    }

    /// Those of a unit with our installer.
    pub fn of(blueprint: &Blueprint) -> Self {
        let area = |name: &str, region: Region, holds| Area {
            name: name.to_owned(),
            regions: vec![region],
            holds,
        };
        let record = |name: &str, region: Region, reading| area(name, region, Holds::Record(reading));
        let [first, second] = blueprint.floors;
        let mut areas = vec![
            area("installer", blueprint.installer, Holds::Kept),
            record("register A", first, Reading::Register),
            record("register B", second, Reading::Register),
        ];
        let slot = blueprint.slot;
        let place = blueprint.config().place();
        let body = Region {
            base: slot.base,
            size: place.record.base.saturating_sub(slot.base),
        };
        match blueprint.slots {
            Slots::Single => areas.push(area("slot", body, Holds::Image)),
            Slots::Staged { stage } => {
                areas.push(area("slot", body, Holds::Image));
                areas.push(area("stage", stage, Holds::Image));
            }
            Slots::Paired { second } => {
                areas.push(area("first slot", slot, Holds::Image));
                areas.push(area("second slot", second, Holds::Image));
            }
        }
        if !matches!(blueprint.slots, Slots::Paired { .. }) {
            areas.push(record("descriptor", place.record, Reading::Descriptor));
            areas.push(record("void", place.void, Reading::VoidMark));
        }
        Self::new(blueprint.layout.clone(), areas)
    }

    /// The flash.
    pub fn layout(&self) -> &FlashLayout {
        &self.layout
    }

    /// The areas, from left to right.
    pub fn all(&self) -> &[Area] {
        &self.areas
    }

    /// The sector at an address.
    pub fn sector_at(&self, address: u32) -> Option<Region> {
        self.layout.sector_at(address)
    }

    /// The names of the areas that some cells belong to, such as "slot, record"; nothing for those that are in none.
    pub fn names(&self, cells: &[Region]) -> Option<String> {
        let there = |area: &&Area| {
            let named = !matches!(area.holds, Holds::Rest);
            named
                && area
                    .regions
                    .iter()
                    .any(|region| cells.iter().any(|cells| region.overlaps(*cells)))
        };
        let names: Vec<_> = self.areas.iter().filter(there).map(|area| area.name.as_str()).collect();
        (!names.is_empty()).then(|| names.join(", "))
    }
}

/// What is left of a region without the cells that others take.
pub fn without(region: Region, taken: &[Region]) -> Vec<Region> {
    let mut left = vec![region];
    for other in taken {
        left = left.into_iter().flat_map(|part| around(part, *other)).collect();
    }
    left
}

/// What of `part` is before and behind `other`.
fn around(part: Region, other: Region) -> impl Iterator<Item = Region> {
    let (base, end) = (u64::from(part.base), part.end());
    let before = (base, end.min(u64::from(other.base)));
    let behind = (base.max(other.end()), end);
    let spans = match part.overlaps(other) {
        true => [before, behind],
        false => [(base, end), (end, end)],
    };
    spans.into_iter().filter_map(|(from, to)| {
        let size = u32::try_from(to.checked_sub(from)?).ok()?;
        let base = u32::try_from(from).ok()?;
        (size > 0).then_some(Region { base, size })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn region(base: u32, size: u32) -> Region {
        Region { base, size }
    }

    #[test]
    fn what_is_taken_is_left_out() {
        let all = region(100, 100);
        assert_eq!(without(all, &[]), [all]);
        assert_eq!(without(all, &[region(0, 100), region(200, 5)]), [all]);
        assert_eq!(without(all, &[region(120, 10)]), [region(100, 20), region(130, 70)]);
        assert_eq!(without(all, &[region(90, 20), region(190, 20)]), [region(110, 80)]);
        assert_eq!(without(all, &[region(0, 1000)]), []);
        let top = region(u32::MAX - 9, 10);
        assert_eq!(without(top, &[region(u32::MAX - 4, 5)]), [region(u32::MAX - 9, 5)]);
    }

    proptest! {
        /// Cell by cell, as one would count by hand.
        #[test]
        fn each_cell_is_left_or_taken(taken in prop::collection::vec((0_u32..60, 0_u32..30), 0..5)) {
            let taken: Vec<_> = taken.into_iter().map(|(base, size)| region(base, size)).collect();
            let left = without(region(10, 40), &taken);
            for cell in 0..100 {
                let wanted = (10..50).contains(&cell) && taken.iter().all(|taken| !taken.contains(cell));
                prop_assert_eq!(left.iter().filter(|left| left.contains(cell)).count(), usize::from(wanted), "{}", cell);
            }
        }
    }
}
