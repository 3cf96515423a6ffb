//! What a unit with a maker's own loader is made of, for stories and pictures: the slot, the ranges that the description names, and
//! what else the loader may change.

use crate::description::UnitKind;
use packstaff_installer::Region;
use packstaff_rehearsal::areas::{Area, Areas, Holds, Reading, without};
use packstaff_rehearsal::picture::contents;
use packstaff_unit::flash::Flash;

/// The areas of a unit, upward. `installed` are units after an install to which nothing happened, each with the image's name: from
/// these it is known how the loader's records look when they are whole.
pub(crate) fn areas(kind: &UnitKind, installed: &[(String, Flash)]) -> Areas {
    let record = |regions: &[Region]| Holds::Record(Reading::Known(known(regions, installed)));
    let named: Vec<_> = kind.named.iter().map(|named| named.range).collect();
    let mut areas: Vec<_> = kind
        .named
        .iter()
        .map(|named| Area {
            name: named.name.clone(),
            regions: vec![named.range],
            holds: match kind.may_be_changed(named.range) {
                true => record(&[named.range]),
                false => Holds::Kept,
            },
        })
        .collect();
    areas.push(Area {
        name: "slot".to_owned(),
        regions: without(kind.slot, &named),
        holds: Holds::Image,
    });
    let told: Vec<_> = named.iter().copied().chain([kind.slot]).collect();
    let mut more = Vec::new();
    for range in &kind.may_change {
        // Ranges may overlap.
        let taken: Vec<_> = told.iter().chain(&more).copied().collect();
        more.extend(without(*range, &taken));
    }
    if !more.is_empty() {
        areas.push(Area {
            name: "records".to_owned(),
            holds: record(&more),
            regions: more,
        });
    }
    areas.sort_by_key(|area| area.regions.first().map(|region| region.base));
    Areas::new(kind.layout.clone(), areas)
}

/// What a record holds after an install of each image.
fn known(regions: &[Region], installed: &[(String, Flash)]) -> Vec<(String, Vec<u8>)> {
    let mut known = Vec::<(String, Vec<u8>)>::new();
    for (image, flash) in installed {
        let blank = |region: &Region| flash.is_blank(region.base, region.size) == Ok(true);
        let Some(bytes) = contents(flash, regions).filter(|_| !regions.iter().all(blank)) else {
            continue;
        };
        match known.iter_mut().find(|(_, held)| *held == bytes) {
            // What two images have in common says nothing about which one it is.
            Some((name, _)) if name != image => "whole".clone_into(name),
            Some(_) => {}
            None => known.push((image.clone(), bytes)),
        }
    }
    known
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::description::{NamedRange, read};
    use proptest::prelude::*;
    use std::path::Path;

    /// Cells of the example's part, from its first.
    fn region(base: u32, end: u32) -> Region {
        Region {
            base: 0x0800_0000 + base,
            size: end - base,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Whatever a description names and allows, each cell is in one area.
        #[test]
        fn each_cell_is_in_one_area(
            names in prop::collection::btree_set(0_u32..=1024, 0..8),
            may_change in prop::collection::vec((0_u32..1024, 1_u32..512), 1..5),
        ) {
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/own-loader");
            let mut kind = read(&folder).unwrap();
            let names: Vec<_> = names.into_iter().collect();
            let ranges = names.chunks_exact(2).map(|pair| region(pair[0], pair[1]));
            let ranges = ranges.filter(|range| !range.contains(kind.slot.base));
            let named = ranges.map(|range| NamedRange {
                name: format!("{:x}", range.base),
                range,
            });
            kind.named = named.collect();
            let ranges = may_change.into_iter().map(|(base, size)| region(base, (base + size).min(1024)));
            kind.may_change = ranges.collect();
            let areas = areas(&kind, &[]);
            for cell in (0..1024).map(|cell| 0x0800_0000 + cell) {
                let holds = |area: &&Area| area.regions.iter().filter(|region| region.contains(cell)).count() == 1;
                prop_assert_eq!(areas.all().iter().filter(holds).count(), 1, "{:#010x}: {:?}", cell, areas.all());
                let found = areas.all().iter().find(holds).unwrap();
                let one = Region { base: cell, size: 1 };
                let image = kind.slot.contains(cell) && kind.named.iter().all(|named| !named.range.contains(cell));
                prop_assert_eq!(found.holds == Holds::Image, image);
                if matches!(found.holds, Holds::Rest) {
                    prop_assert!(!kind.may_be_changed(one));
                }
            }
        }
    }
}
