//! The port's map: where its flash lies, as the port's own configuration has it.
//!
//! `map base=0 granule=4 erased=ff runs=4*4000,1*10000,3*20000 installer=0+8000 slot=10000+70000 floors=8000+4000,c000+4000`, and
//! `stage=` or `twin=` where there is a second range. A memory beside the part's own flash is
//! `beside=90000000/100/ff/200*1000`: first address, granule, what it reads when erased, and its runs.

use crate::finding::Finding;
use crate::identity::{BOARD, EXTENSION, OTHER_BOARD, VENDOR, anchor, unit_key};
use packstaff_installer::{Layout as Slots, Region, SectorRun};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::FlashLayout;
use packstaff_unit::part::SecondProgram;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Largest flash that a judge simulates, in bytes.
const FLASH_MAX: u64 = 64 << 20;

/// Reads a map; the unit as the simulation has it, with the identity that the judge lends.
///
/// # Errors
/// [`Finding::Map`].
pub fn read(words: &str) -> Result<Blueprint, Finding> {
    let bad = |why: String| Finding::Map(why);
    let facts = words
        .strip_prefix("map ")
        .ok_or_else(|| bad(format!("{words:?} does not begin with \"map\"")))?;
    let mut stated = BTreeMap::new();
    for fact in facts.split(' ').filter(|fact| !fact.is_empty()) {
        let (name, value) = fact.split_once('=').ok_or_else(|| bad(format!("{fact:?} has no =")))?;
        if stated.insert(name, value).is_some() {
            return Err(bad(format!("{name} is there twice")));
        }
    }
    let mut take = |name: &str| {
        stated
            .remove(name)
            .ok_or_else(|| bad(format!("it does not say {name}=")))
    };
    let base = number(take("base")?)?;
    let granule = number(take("granule")?)?;
    let erased = u8::try_from(number(take("erased")?)?).map_err(|_| bad("erased= is more than a byte".to_owned()))?;
    let runs = take("runs")?.split(',').map(run).collect::<Result<Vec<_>, _>>()?;
    let installer = region(take("installer")?)?;
    let slot = region(take("slot")?)?;
    let floors = take("floors")?.split(',').map(region).collect::<Result<Vec<_>, _>>()?;
    let floors = <[Region; 2]>::try_from(floors).map_err(|_| bad("floors= must be two ranges".to_owned()))?;
    let beside = stated.remove("beside").map(beside).transpose()?;
    let slots = match (stated.remove("stage"), stated.remove("twin")) {
        (None, None) => Slots::Single,
        (Some(stage), None) => Slots::Staged { stage: region(stage)? },
        (None, Some(twin)) => Slots::Paired { second: region(twin)? },
        (Some(_), Some(_)) => return Err(bad("both stage= and twin=".to_owned())),
    };
    if let Some((name, _)) = stated.first_key_value() {
        return Err(bad(format!("{name}= is not known")));
    }
    let own = memory(base, granule, erased, runs)?;
    let blueprint = Blueprint {
        vendor: VENDOR,
        class: BOARD,
        siblings: vec![OTHER_BOARD],
        anchors: vec![anchor()],
        key: unit_key(),
        extension: EXTENSION,
        layout: Arc::new(match beside {
            Some(beside) => own.with_beside(beside),
            None => own,
        }),
        installer,
        slot,
        slots,
        floors,
    };
    blueprint.check().map_err(|error| bad(error.to_string()))?;
    Ok(blueprint)
}

fn beside(text: &str) -> Result<FlashLayout, Finding> {
    let bad = || Finding::Map(format!("{text:?} is no memory such as 90000000/100/ff/200*1000"));
    let parts: Vec<&str> = text.split('/').collect();
    let &[base, granule, erased, runs] = parts.as_slice() else {
        return Err(bad());
    };
    let erased = u8::try_from(number(erased)?).map_err(|_| bad())?;
    let runs = runs.split(',').map(run).collect::<Result<Vec<_>, _>>()?;
    memory(number(base)?, number(granule)?, erased, runs)
}

/// The installer never programs a granule twice between two erases; a void mark is a granule of its own.
fn memory(base: u32, granule: u32, erased: u8, runs: Vec<SectorRun>) -> Result<FlashLayout, Finding> {
    let bad = |why: String| Finding::Map(why);
    let size: u64 = runs.iter().map(|run| u64::from(run.count) * u64::from(run.size)).sum();
    if size > FLASH_MAX || u64::from(base) + size > 1 << 32 {
        return Err(bad(format!("{size} bytes of flash are more than is simulated")));
    }
    if runs.iter().any(|run| run.size == 0 || run.count == 0) || !granule.is_power_of_two() {
        return Err(bad("a run or a granule of nothing".to_owned()));
    }
    Ok(FlashLayout::new(
        base,
        runs,
        granule,
        erased,
        false,
        SecondProgram::Zeros,
    ))
}

fn number(digits: &str) -> Result<u32, Finding> {
    u32::from_str_radix(digits, 16).map_err(|_| Finding::Map(format!("{digits:?} is no number of at most 8 digits")))
}

fn region(text: &str) -> Result<Region, Finding> {
    let (base, size) = text
        .split_once('+')
        .ok_or_else(|| Finding::Map(format!("{text:?} is no range such as 8000+4000")))?;
    Ok(Region {
        base: number(base)?,
        size: number(size)?,
    })
}

fn run(text: &str) -> Result<SectorRun, Finding> {
    let (count, size) = text
        .split_once('*')
        .ok_or_else(|| Finding::Map(format!("{text:?} is no run such as 4*4000")))?;
    Ok(SectorRun {
        count: number(count)?,
        size: number(size)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const MAP: &str = "map base=0 granule=4 erased=ff runs=4*4000,1*10000,3*20000 installer=0+8000 slot=10000+70000 floors=8000+4000,c000+4000";

    #[test]
    fn a_map_is_read() {
        let blueprint = read(MAP).unwrap();
        assert_eq!(blueprint.layout.sectors().len(), 8);
        assert_eq!(blueprint.slot.end(), 0x8_0000);
    }

    #[test]
    fn a_memory_beside_is_read() {
        let words = format!("{MAP} stage=90005000+2000 beside=90000000/100/ff/200*1000");
        let blueprint = read(&words).unwrap();
        assert_eq!(blueprint.layout.sectors().len(), 8 + 512);
        assert_eq!(blueprint.layout.memory_at(0x9000_5000).granule(), 256);
        let told = |beside: &str| {
            let words = format!("{MAP} stage=90005000+2000 beside={beside}");
            read(&words).unwrap_err().to_string()
        };
        assert!(told("90000000/100/ff").contains("no memory"));
        assert!(told("90000000/0/ff/200*1000").contains("granule"));
        assert!(told("40000/100/ff/200*1000").contains("suit"));
    }

    #[test]
    fn what_is_wrong_with_a_map_is_told() {
        let told = |from: &str, to: &str| read(&MAP.replace(from, to)).unwrap_err().to_string();
        assert!(told(" erased=ff", "").contains("erased="));
        assert!(told("granule=4", "granule=6").contains("granule"));
        assert!(told("3*20000", "3x20000").contains("no run"));
        assert!(
            told("slot=10000", "slot=c000").contains("suit"),
            "{}",
            told("slot=10000", "slot=c000")
        );
        assert!(told("base=0", "base=0 base=1").contains("twice"));
        assert!(told("base=0", "base=0 colour=1").contains("colour"));
        assert!(told("3*20000", "ffffffff*20000").contains("simulated"));
    }

    proptest! {
        #[test]
        fn no_map_is_too_much(words in "map( [a-z]{0,9}=[0-9a-f+*,]{0,12}){0,9}") {
            let _ = read(&words);
        }
    }
}
