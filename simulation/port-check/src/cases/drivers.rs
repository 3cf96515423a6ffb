//! Cases of the flash driver alone.

use super::Case;
use super::files::Files;
use crate::finding::Finding;
use crate::rig::Rig;
use packstaff_installer::Region;
use packstaff_unit::drive::Wish;
use packstaff_unit::flash::Change;

pub(super) const CASES: [Case; 5] = [
    Case {
        id: "erase",
        title: "erases every sector that an install may change",
        run: erase,
    },
    Case {
        id: "program",
        title: "programs what it is given, and nothing beside it",
        run: program,
    },
    Case {
        id: "one-sector",
        title: "erases the one sector that is named, and no other",
        run: one_sector,
    },
    Case {
        id: "blank",
        title: "sees a single programmed granule anywhere in a range",
        run: blank,
    },
    Case {
        id: "read",
        title: "reads what the cells hold now, at any address and length",
        run: read,
    },
];

fn erase(rig: &mut Rig, _: &Files) -> Result<String, Finding> {
    rig.afresh()?;
    Ok(format!("{} sectors", rig.sectors().len()))
}

/// Bytes in whole granules that are different everywhere.
fn pattern(rig: &Rig, address: u32, granules: u32) -> Change {
    let len = granules * granule_at(rig, address);
    let byte = |at: u32| (at.wrapping_add(address).wrapping_mul(0x9e37_79b1) >> 24) as u8;
    Change::Program {
        address,
        data: (0..len).map(byte).collect(),
    }
}

fn granule_at(rig: &Rig, address: u32) -> u32 {
    rig.blueprint.layout.memory_at(address).granule()
}

fn last_granule(rig: &Rig, sector: Region) -> u32 {
    let granule = granule_at(rig, sector.base);
    (sector.end() - u64::from(granule)) as u32
}

fn program(rig: &mut Rig, _: &Files) -> Result<String, Finding> {
    let mut count = 0;
    for sector in rig.sectors() {
        let granule = granule_at(rig, sector.base);
        // Some granules at once, one alone, and the sector's last.
        let several = (512 / granule).clamp(1, sector.size / granule / 4);
        for (address, granules) in [
            (sector.base, several),
            (sector.base + (several + 1) * granule, 1),
            (last_granule(rig, sector), 1),
        ] {
            rig.change_directly(&pattern(rig, address, granules))?;
            count += 1;
        }
    }
    rig.all_sectors("programming in every sector")?;
    Ok(format!("{count} programs"))
}

fn one_sector(rig: &mut Rig, _: &Files) -> Result<String, Finding> {
    let sectors = rig.sectors();
    for sector in &sectors {
        rig.change_directly(&Change::Erase { address: sector.base })?;
        rig.all_sectors(&format!("erasing the sector at {:#x}", sector.base))?;
        // So that every other sector holds something while the next one is erased.
        rig.change_directly(&pattern(rig, sector.base, 1))?;
    }
    rig.afresh()?;
    Ok(format!("{} sectors, looked at after each", sectors.len()))
}

fn blank(rig: &mut Rig, _: &Files) -> Result<String, Finding> {
    let mut count = 0;
    for sector in rig.sectors() {
        let granule = granule_at(rig, sector.base);
        let middle = sector.base + sector.size / granule / 2 * granule;
        for address in [last_granule(rig, sector), middle, sector.base] {
            rig.change_directly(&pattern(rig, address, 1))?;
            rig.look_directly(&Wish::CheckBlank(sector))?;
            count += 1;
        }
        rig.change_directly(&Change::Erase { address: sector.base })?;
    }
    Ok(format!("{count} places"))
}

fn read(rig: &mut Rig, _: &Files) -> Result<String, Finding> {
    let mut memories: Vec<Region> = rig.blueprint.places().collect();
    // Two places of one memory are read by one driver.
    memories.dedup_by_key(|place| rig.blueprint.layout.is_beside(place.base));
    let ranges = [(0, 1), (1, 1), (3, 5), (0, 64), (0, 88), (7, 249), (0, 256), (0, 512)];
    for place in &memories {
        let granule = granule_at(rig, place.base);
        let granules = 512_u32.div_ceil(granule).min(place.size / granule / 4).max(1);
        for (offset, size) in ranges {
            let region = Region {
                base: place.base + offset,
                size,
            };
            // What is programmed and erased was read just before: a cache that keeps it gives itself away.
            let change = pattern(rig, place.base, granules);
            for change in [change, Change::Erase { address: place.base }] {
                rig.look_directly(&Wish::DigestFlash(region))?;
                rig.look_directly(&Wish::ReadFlash(region))?;
                rig.change_unseen(&change)?;
                rig.look_directly(&Wish::ReadFlash(region))?;
                rig.look_directly(&Wish::DigestFlash(region))?;
            }
        }
    }
    Ok(format!(
        "{} ranges, erased and programmed",
        ranges.len() * memories.len()
    ))
}
