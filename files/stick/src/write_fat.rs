//! Writing a stick: partition table, boot sector, FATs, root and files.
//!
//! Fields: FAT specification, "Boot Sector and BPB", "FAT32 FSInfo Sector and Backup Boot Sector", "FAT Directory Structure";
//! partition table: UEFI Specification 2.10, 5.2.1.

use std::collections::HashSet;

use packstaff_fat::{Kind, Stamp, attributes};

use crate::geometry::{ENTRY, Geometry};
use crate::{StickError, StickFile, StickImage, StickSpec, label, short_name};

/// What a fixed disk calls itself, and what the FATs begin with.
const MEDIA: u8 = 0xF8;
/// For the fields that ask for a disk's shape; every system ignores them by now.
const SECTORS_PER_TRACK: u32 = 63;
const HEADS: u32 = 255;
/// Sector of the volume at which FAT32 keeps what it knows of free space, and the copy of the first three sectors.
const INFO_SECTOR: u32 = 1;
const BACKUP_SECTOR: u32 = 6;
/// For a computer that starts from the stick: hand on to the next disk (int 18h), and if that comes back, halt for good.
const NOT_FOR_STARTING: [u8; 5] = [0xCD, 0x18, 0xF4, 0xEB, 0xFD];

/// A file with its place.
struct Placed<'a> {
    file: &'a StickFile,
    name: [u8; 11],
    first_cluster: u32,
    clusters: u32,
}

/// Makes the image of a stick.
///
/// Two FATs; on FAT32 a copy of the boot sector and the count of free clusters; every file in one piece; all unused bytes zero.
///
/// # Errors
///
/// If a name, the label, the date or the sizes cannot be, or the files do not fit.
pub fn build(spec: &StickSpec) -> Result<StickImage, StickError> {
    let geometry = Geometry::of(spec)?;
    let stamp = Stamp::from_calendar(spec.stamp).ok_or(StickError::Date(spec.stamp))?;
    let label = spec.label.as_deref().map(label).transpose()?;
    let names = names(&spec.files)?;

    let entries = spec.files.len() + usize::from(label.is_some());
    let most = match spec.kind {
        Kind::Fat32 => packstaff_fat::MAX_DIRECTORY_ENTRIES as usize,
        Kind::Fat12 | Kind::Fat16 => geometry.root_entries as usize,
    };
    if entries > most {
        return Err(StickError::TooManyFiles {
            files: spec.files.len(),
            most: most - usize::from(label.is_some()),
        });
    }
    let root_clusters = match spec.kind {
        Kind::Fat32 => (entries as u64 * u64::from(ENTRY))
            .div_ceil(geometry.cluster_bytes())
            .max(1) as u32,
        Kind::Fat12 | Kind::Fat16 => 0,
    };
    let placed = place(&spec.files, &names, &geometry, root_clusters)?;
    let used = root_clusters + placed.iter().map(|file| file.clusters).sum::<u32>();

    let mut image = StickImage::blank(spec.size, geometry.byte_of_cluster(2 + root_clusters));
    if spec.partitioned {
        image.put(0, partition_table(spec, &geometry));
    }
    let boot = boot_sector(spec, &geometry, label.as_ref());
    if spec.kind == Kind::Fat32 {
        let info = info_sector(&geometry, used);
        for copy in [0, BACKUP_SECTOR] {
            image.put(geometry.byte_of_sector(copy), boot.clone());
            image.put(geometry.byte_of_sector(copy + INFO_SECTOR), info.clone());
            image.put(geometry.byte_of_sector(copy + 2), signed_block(&[]));
        }
    } else {
        image.put(geometry.byte_of_sector(0), boot);
    }
    let fat = allocation(&geometry, root_clusters, &placed);
    for copy in 0..2 {
        image.put(
            geometry.byte_of_sector(geometry.reserved + copy * geometry.fat),
            fat.clone(),
        );
    }
    let root = match spec.kind {
        Kind::Fat32 => geometry.byte_of_cluster(2),
        Kind::Fat12 | Kind::Fat16 => geometry.byte_of_sector(geometry.first_root_sector()),
    };
    image.put(root, root_directory(label.as_ref(), &placed, stamp));
    for file in placed.iter().filter(|file| file.clusters != 0) {
        image.put(geometry.byte_of_cluster(file.first_cluster), file.file.contents.clone());
    }
    Ok(image)
}

fn names(files: &[StickFile]) -> Result<Vec<[u8; 11]>, StickError> {
    let mut seen = HashSet::new();
    let distinct = |file: &StickFile| {
        let stored = short_name(&file.name)?;
        if seen.insert(stored) {
            Ok(stored)
        } else {
            Err(StickError::NameTwice {
                name: file.name.clone(),
            })
        }
    };
    files.iter().map(distinct).collect()
}

/// Gives every file its clusters, one after another from the first that the root leaves.
fn place<'a>(
    files: &'a [StickFile],
    names: &[[u8; 11]],
    geometry: &Geometry,
    root_clusters: u32,
) -> Result<Vec<Placed<'a>>, StickError> {
    let cluster = geometry.cluster_bytes();
    let mut used = u64::from(root_clusters);
    let mut placed = Vec::with_capacity(files.len());
    for (file, &name) in files.iter().zip(names) {
        let size = file.contents.len() as u64;
        if size > u64::from(u32::MAX) {
            return Err(StickError::FileTooLarge {
                name: file.name.clone(),
                size,
            });
        }
        let clusters = size.div_ceil(cluster) as u32;
        // Past the end, this number means nothing; the sum below finds that.
        let first_cluster = if clusters == 0 { 0 } else { (used + 2) as u32 };
        used += u64::from(clusters);
        placed.push(Placed {
            file,
            name,
            first_cluster,
            clusters,
        });
    }
    if used > u64::from(geometry.clusters) {
        let available = u64::from(geometry.clusters) * cluster;
        return Err(StickError::Full {
            needed: used * cluster,
            available,
        });
    }
    Ok(placed)
}

/// Bytes of a block, laid down at their offsets.
fn fields(parts: &[(usize, &[u8])]) -> Vec<u8> {
    let mut block = vec![0; packstaff_fat::BLOCK];
    for (at, bytes) in parts {
        block[*at..*at + bytes.len()].copy_from_slice(bytes);
    }
    block
}

/// The same, with 55 AA at the end.
fn signed_block(parts: &[(usize, &[u8])]) -> Vec<u8> {
    let mut block = fields(parts);
    block[510..].copy_from_slice(&[0x55, 0xAA]);
    block
}

fn partition_table(spec: &StickSpec, geometry: &Geometry) -> Vec<u8> {
    // Types for partitions that are found by block number rather than by cylinder, head and sector.
    let kind = match spec.kind {
        Kind::Fat12 => 0x01,
        Kind::Fat16 => 0x0E,
        Kind::Fat32 => 0x0C,
    };
    let [h1, s1, c1] = cylinder_head_sector(geometry.start);
    let [h2, s2, c2] = cylinder_head_sector(geometry.start + (geometry.total - 1));
    signed_block(&[
        (0, &NOT_FOR_STARTING),
        (440, &spec.disk_id.to_le_bytes()),
        (446, &[0x00, h1, s1, c1, kind, h2, s2, c2]),
        (454, &geometry.start.to_le_bytes()),
        (458, &geometry.total.to_le_bytes()),
    ])
}

/// The old way to say where a sector is; FE FF FF beyond its reach.
fn cylinder_head_sector(sector: u32) -> [u8; 3] {
    let cylinder = sector / (SECTORS_PER_TRACK * HEADS);
    if cylinder > 1023 {
        return [0xFE, 0xFF, 0xFF];
    }
    let head = sector / SECTORS_PER_TRACK % HEADS;
    let in_track = sector % SECTORS_PER_TRACK + 1;
    [head as u8, (in_track | cylinder >> 8 << 6) as u8, cylinder as u8]
}

fn boot_sector(spec: &StickSpec, geometry: &Geometry, label: Option<&[u8; 11]>) -> Vec<u8> {
    let is_32 = spec.kind == Kind::Fat32;
    let total_16 = if is_32 {
        0
    } else {
        u16::try_from(geometry.total).unwrap_or(0)
    };
    let total_32 = if total_16 == 0 { geometry.total } else { 0 };
    let (fat_16, kind): (u16, &[u8; 8]) = match spec.kind {
        Kind::Fat12 => (geometry.fat as u16, b"FAT12   "),
        Kind::Fat16 => (geometry.fat as u16, b"FAT16   "),
        Kind::Fat32 => (0, b"FAT32   "),
    };
    // The extended fields end where the start-up code begins.
    let (extended, code) = if is_32 { (64, 90) } else { (36, 62) };
    let [id1, id2, id3, id4] = spec.volume_id.to_le_bytes();
    let mut block = signed_block(&[
        (0, &[0xEB, code - 2, 0x90]),
        // The name that the FAT specification recommends, since some systems go by it.
        (3, b"MSWIN4.1"),
        (11, &(geometry.sector as u16).to_le_bytes()),
        (13, &[geometry.cluster_sectors as u8]),
        (14, &(geometry.reserved as u16).to_le_bytes()),
        (16, &[2]),
        (17, &(geometry.root_entries as u16).to_le_bytes()),
        (19, &total_16.to_le_bytes()),
        (21, &[MEDIA]),
        (22, &fat_16.to_le_bytes()),
        (24, &(SECTORS_PER_TRACK as u16).to_le_bytes()),
        (26, &(HEADS as u16).to_le_bytes()),
        (28, &geometry.start.to_le_bytes()),
        (32, &total_32.to_le_bytes()),
        (extended, &[0x80, 0x00, 0x29, id1, id2, id3, id4]),
        (extended + 7, label.unwrap_or(b"NO NAME    ")),
        (extended + 18, kind),
        (usize::from(code), &NOT_FOR_STARTING),
    ]);
    if is_32 {
        block[36..40].copy_from_slice(&geometry.fat.to_le_bytes());
        block[44..48].copy_from_slice(&2u32.to_le_bytes());
        block[48..50].copy_from_slice(&(INFO_SECTOR as u16).to_le_bytes());
        block[50..52].copy_from_slice(&(BACKUP_SECTOR as u16).to_le_bytes());
    }
    block
}

/// What FAT32 keeps about free space.
fn info_sector(geometry: &Geometry, used: u32) -> Vec<u8> {
    let free = geometry.clusters - used;
    // FFFFFFFF: not known, because there is none.
    let next = if free == 0 { u32::MAX } else { used + 2 };
    signed_block(&[
        (0, b"RRaA"),
        (484, b"rrAa"),
        (488, &free.to_le_bytes()),
        (492, &next.to_le_bytes()),
    ])
}

/// One FAT, up to the last entry that is not free.
fn allocation(geometry: &Geometry, root_clusters: u32, placed: &[Placed<'_>]) -> Vec<u8> {
    // Every bit of the second entry set: the end mark, "cleanly unmounted" and "no errors".
    let mut entries: Vec<u32> = vec![0x0FFF_FF00 | u32::from(MEDIA), 0x0FFF_FFFF];
    let mut chain = |first: u32, clusters: u32| {
        if clusters != 0 {
            entries.extend(first + 1..first + clusters);
            entries.push(0x0FFF_FFFF);
        }
    };
    chain(2, root_clusters);
    for file in placed {
        chain(file.first_cluster, file.clusters);
    }
    match geometry.kind {
        Kind::Fat32 => entries.iter().flat_map(|entry| entry.to_le_bytes()).collect(),
        Kind::Fat16 => entries.iter().flat_map(|entry| (*entry as u16).to_le_bytes()).collect(),
        // Two entries of 12 bits in three bytes, the lower one first.
        Kind::Fat12 => entries
            .chunks(2)
            .flat_map(|pair| {
                let (even, odd) = (pair[0] & 0xFFF, pair.get(1).map_or(0, |odd| odd & 0xFFF));
                [even as u8, (even >> 8 | odd << 4) as u8, (odd >> 4) as u8]
            })
            .collect(),
    }
}

fn root_directory(label: Option<&[u8; 11]>, placed: &[Placed<'_>], stamp: Stamp) -> Vec<u8> {
    let entry = |name: &[u8; 11], attributes: u8, first_cluster: u32, size: u32| {
        let [c0, c1, c2, c3] = first_cluster.to_le_bytes();
        let [d0, d1] = stamp.date.to_le_bytes();
        let [t0, t1] = stamp.time.to_le_bytes();
        let mut raw = [0u8; ENTRY as usize];
        raw[..11].copy_from_slice(name);
        raw[11] = attributes;
        raw[14..20].copy_from_slice(&[t0, t1, d0, d1, d0, d1]);
        raw[20..28].copy_from_slice(&[c2, c3, t0, t1, d0, d1, c0, c1]);
        raw[28..].copy_from_slice(&size.to_le_bytes());
        raw
    };
    let label = label.map(|name| entry(name, attributes::LABEL, 0, 0));
    let files = placed.iter().map(|placed| {
        entry(
            &placed.name,
            attributes::ARCHIVE,
            placed.first_cluster,
            placed.file.contents.len() as u32,
        )
    });
    label.into_iter().chain(files).flatten().collect()
}
