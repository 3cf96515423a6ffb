//! The boot sector: checks every field before any is used, then computes the geometry.
//!
//! Formulas: FAT specification, "FAT Data Structure" and "FAT Type Determination". Sums are in 64 bits: the largest, 255
//! FATs of 2^32 sectors of 8 blocks, stays below 2^44, so the wrapping operations here never wrap.

use crate::bytes::{array_at, u8_at, u16_at, u32_at};
use crate::detail::detail;
use crate::volume::{Kind, Volume};
use crate::{Block, Error};

/// Clusters from which a volume is no longer FAT12, and no longer FAT16.
const FAT16_FROM: u32 = 4085;
const FAT32_FROM: u32 = 65_525;
/// Above this, the bad-cluster mark 0FFFFFF7 would be a cluster's number.
const FAT32_MOST: u32 = 0x0FFF_FFF5;

/// Identifier of an encrypted volume that looks like FAT32 from outside, at byte 424 (from memory).
const BITLOCKER_TO_GO: [u8; 16] = [
    0x3B, 0xD6, 0x67, 0x49, 0x29, 0x2E, 0xD8, 0x4A, 0x83, 0x99, 0xF6, 0xA3, 0x39, 0xE3, 0xD0, 0x01,
];

/// Whether the block ends in 55 AA.
pub(crate) fn has_signature(block: &Block) -> bool {
    array_at::<2>(block, 510) == [0x55, 0xAA]
}

/// The format, if it is a known one that is not FAT.
pub(crate) fn other_format(block: &Block) -> Option<Error> {
    match &array_at::<8>(block, 3) {
        b"EXFAT   " => Some(Error::ExFat),
        b"NTFS    " => Some(Error::Ntfs),
        b"-FVE-FS-" => Some(Error::BitLocker),
        _ if array_at(block, 424) == BITLOCKER_TO_GO => Some(Error::BitLocker),
        _ => None,
    }
}

/// Whether the block begins a volume of a known format that is not FAT.
#[must_use]
pub fn is_other_format(block: &Block) -> bool {
    other_format(block).is_some()
}

/// Whether the block begins with a jump and its first fields are those of FAT: enough to take it for a boot sector even if it
/// could be a partition table as well.
#[must_use]
pub fn looks_like_volume(block: &Block) -> bool {
    has_jump(block)
        && sector_size(block).is_ok()
        && cluster_sectors(block).is_ok()
        && u16_at(block, 14) != 0
        && u8_at(block, 16) != 0
        && media(block).is_ok()
        && total_sectors(block) != 0
}

/// The volume that the block describes.
///
/// `first_block` is where the block stands, `available` how many blocks there are from it to the end of its partition or of the
/// device.
pub(crate) fn read(block: &Block, first_block: u64, available: u64) -> Result<Volume, Error> {
    if !has_signature(block) {
        return Err(Error::NoSignature {
            block: detail(first_block),
        });
    }
    if let Some(other) = other_format(block) {
        return Err(other);
    }
    // Without a jump, wild values say that this is no boot sector rather than that it is a damaged one.
    let unlike = |error| {
        if has_jump(block) {
            error
        } else {
            Error::NotFat {
                block: detail(first_block),
            }
        }
    };
    let sector_size = sector_size(block).map_err(unlike)?;
    let cluster_sectors = cluster_sectors(block).map_err(unlike)?;
    let reserved = u16_at(block, 14);
    if reserved == 0 {
        return Err(Error::NoReservedSectors);
    }
    let fats = u8_at(block, 16);
    if fats == 0 {
        return Err(Error::NoFats);
    }
    let media = media(block)?;
    let fat_size_16 = u16_at(block, 22);
    let is_32 = fat_size_16 == 0;
    let fat_sectors = if is_32 {
        u32_at(block, 36)
    } else {
        u32::from(fat_size_16)
    };
    if fat_sectors == 0 {
        return Err(Error::NoFatSize);
    }
    let total = total_sectors(block);
    if total == 0 {
        return Err(Error::NoTotal);
    }
    let root_entries = u16_at(block, 17);
    if is_32 != (root_entries == 0) {
        return Err(Error::RootEntries {
            found: detail(root_entries),
        });
    }

    // Rounded up to whole sectors, whose size is a power of two.
    let root_bytes = u64::from(root_entries).wrapping_mul(32);
    let root_sectors = root_bytes.wrapping_add(u64::from(sector_size).wrapping_sub(1)) >> sector_size.trailing_zeros();
    let first_root = u64::from(reserved).wrapping_add(u64::from(fats).wrapping_mul(u64::from(fat_sectors)));
    let first_data = first_root.wrapping_add(root_sectors);
    let data = u64::from(total).checked_sub(first_data).filter(|&sectors| sectors != 0);
    let data = data.ok_or(Error::NoDataRegion {
        first_data: detail(first_data),
        total: detail(total),
    })?;
    // At most the u32 total, so the conversion cannot fail.
    let clusters = u32::try_from(data >> cluster_sectors.trailing_zeros()).unwrap_or(u32::MAX);
    if clusters == 0 {
        return Err(Error::NoClusters);
    }
    let kind = match clusters {
        _ if is_32 => Kind::Fat32,
        ..FAT16_FROM => Kind::Fat12,
        FAT16_FROM..FAT32_FROM => Kind::Fat16,
        FAT32_FROM.. => {
            return Err(Error::TypeConflict {
                clusters: detail(clusters),
            });
        }
    };
    if clusters > FAT32_MOST {
        return Err(Error::TooManyClusters {
            clusters: detail(clusters),
        });
    }
    let entries = u64::from(clusters).wrapping_add(2);
    let found = u64::from(fat_sectors).wrapping_mul(u64::from(sector_size));
    let needed = kind.fat_bytes(entries);
    if found < needed {
        return Err(Error::FatTooShort {
            found: detail(found),
            needed: detail(needed),
        });
    }

    let mut live_fat = 0;
    let mut root_cluster = 0;
    if is_32 {
        let flags = u16_at(block, 40);
        if flags & 0x80 != 0 {
            live_fat = u8_at(block, 40) & 0x0F;
        }
        if live_fat >= fats {
            return Err(Error::LiveFat {
                found: detail(live_fat),
                fats: detail(fats),
            });
        }
        let version = u16_at(block, 42);
        if version != 0 {
            return Err(Error::Version { found: detail(version) });
        }
        root_cluster = u32_at(block, 44);
        let last = clusters.wrapping_add(1);
        if !(2..=last).contains(&root_cluster) {
            return Err(Error::RootCluster {
                found: detail(root_cluster),
                last: detail(last),
            });
        }
    }

    let sector_blocks = sector_size >> 9;
    let in_blocks = |sectors: u64| sectors.wrapping_mul(u64::from(sector_blocks));
    let blocks = in_blocks(u64::from(total));
    if blocks > available {
        return Err(Error::VolumePastEnd {
            claimed: detail(blocks),
            available: detail(available),
        });
    }
    let at = |sector: u64| first_block.wrapping_add(in_blocks(sector));
    let live_first = u64::from(reserved).wrapping_add(u64::from(live_fat).wrapping_mul(u64::from(fat_sectors)));
    // The extended fields stand 28 bytes further on with FAT32.
    let extended = if is_32 { 64 } else { 36 };
    let named = u8_at(block, extended | 2) == 0x29;
    Ok(Volume {
        kind,
        first_block,
        blocks,
        sector_size,
        cluster_blocks: u16::from(cluster_sectors).wrapping_mul(sector_blocks),
        clusters,
        fats,
        live_fat,
        fat_first: at(live_first),
        fat_blocks: in_blocks(u64::from(fat_sectors)),
        root_first: at(first_root),
        root_entries,
        root_cluster,
        data_first: at(first_data),
        media,
        dirty: u8_at(block, extended | 1) & 1 != 0,
        hidden_sectors: u32_at(block, 28),
        id: named.then(|| u32_at(block, extended | 3)),
        slot: None,
    })
}

fn has_jump(block: &Block) -> bool {
    let [first, _, third] = array_at(block, 0);
    first == 0xE9 || first == 0xEB && third == 0x90
}

fn sector_size(block: &Block) -> Result<u16, Error> {
    match u16_at(block, 11) {
        found @ (512 | 1024 | 2048 | 4096) => Ok(found),
        found => Err(Error::SectorSize { found: detail(found) }),
    }
}

/// Sectors per cluster; needs a valid sector size.
fn cluster_sectors(block: &Block) -> Result<u8, Error> {
    let found = u8_at(block, 13);
    let sector_size = sector_size(block)?;
    let bytes = u32::from(found).wrapping_mul(u32::from(sector_size));
    if found.is_power_of_two() && bytes <= 65_536 {
        Ok(found)
    } else {
        Err(Error::ClusterSize {
            found: detail(found),
            sector_size: detail(sector_size),
        })
    }
}

fn media(block: &Block) -> Result<u8, Error> {
    match u8_at(block, 21) {
        found @ (0xF0 | 0xF8..) => Ok(found),
        found => Err(Error::MediaByte { found: detail(found) }),
    }
}

fn total_sectors(block: &Block) -> u32 {
    match u16_at(block, 19) {
        0 => u32_at(block, 32),
        total => u32::from(total),
    }
}
