//! What a unit with a maker's own loader is made of, for stories and pictures: the slot, the ranges that the description names, and
//! what else the loader may change.

use crate::description::Kind;
use installer::Region;
use rehearsal::areas::{Area, Areas, Holds, Reading, without};
use rehearsal::picture::contents;
use unit::flash::Flash;

/// The areas of a unit, upward. `installed` are units after an install to which nothing happened, each with the image's name: from
/// these it is known how the loader's records look when they are whole.
pub(crate) fn areas(kind: &Kind, installed: &[(String, Flash)]) -> Areas {
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
