//! How large the parts of a volume are.
//!
//! Cluster sizes follow the two tables of the FAT specification ("FAT Volume Initialization"). Cluster counts stay 16 away from where
//! the forms of FAT meet, as it advises ("FAT Type Determination"), because systems differ there by a few. The FAT is exactly as long
//! as it must be.

use std::ops::RangeInclusive;

use packstaff_fat::Kind;

use crate::{StickError, StickSpec};

/// Entries of the fixed root of FAT12 and FAT16: 16 KiB, as the specification advises for FAT16.
const FIXED_ROOT_ENTRIES: u32 = 512;
/// Bytes of one directory entry.
pub(crate) const ENTRY: u32 = 32;
/// Where the partition begins.
const PARTITION_START: u64 = 1 << 20;

/// The parts of a stick, in sectors.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Geometry {
    pub(crate) kind: Kind,
    /// Bytes per sector.
    pub(crate) sector: u32,
    /// Sectors before the volume.
    pub(crate) start: u32,
    /// Sectors of the volume.
    pub(crate) total: u32,
    pub(crate) cluster_sectors: u32,
    pub(crate) reserved: u32,
    /// Sectors of one FAT; there are two.
    pub(crate) fat: u32,
    pub(crate) root_entries: u32,
    pub(crate) clusters: u32,
}

impl Geometry {
    pub(crate) fn of(spec: &StickSpec) -> Result<Self, StickError> {
        let sector = 512 * spec.sector.blocks() as u32;
        let wide = u64::from(sector);
        if !spec.size.is_multiple_of(wide) {
            return Err(StickError::SizeNotWhole {
                size: spec.size,
                sector,
            });
        }
        let start = if spec.partitioned { PARTITION_START / wide } else { 0 };
        let too_small = || StickError::TooSmall {
            size: spec.size,
            kind: spec.kind,
        };
        let total = (spec.size / wide).checked_sub(start).ok_or_else(too_small)?;
        if spec.size / wide > u64::from(u32::MAX) {
            return Err(StickError::TooLarge {
                size: spec.size,
                sector,
            });
        }
        let blank = Self {
            kind: spec.kind,
            sector,
            start: start as u32,
            total: total as u32,
            cluster_sectors: 0,
            reserved: if spec.kind == Kind::Fat32 { 32 } else { 1 },
            fat: 0,
            root_entries: if spec.kind == Kind::Fat32 {
                0
            } else {
                FIXED_ROOT_ENTRIES
            },
            clusters: 0,
        };
        match spec.cluster {
            Some(found) if !found.is_power_of_two() || found < sector || found > 65_536 => {
                Err(StickError::ClusterSize { found, sector })
            }
            Some(cluster) => {
                let geometry = blank.with_cluster(cluster).ok_or_else(too_small)?;
                let good = good_counts(spec.kind);
                if good.contains(&geometry.clusters) {
                    return Ok(geometry);
                }
                let (least, most) = (u64::from(*good.start()), u64::from(*good.end()));
                Err(StickError::ClusterCount {
                    kind: spec.kind,
                    clusters: geometry.clusters.into(),
                    least,
                    most,
                })
            }
            None => blank.with_usual_cluster().ok_or(StickError::NoClusterSize {
                kind: spec.kind,
                size: spec.size,
            }),
        }
    }

    /// The specification's cluster size; if its count of clusters will not do, the nearest larger size that does, else the nearest
    /// smaller.
    fn with_usual_cluster(self) -> Option<Self> {
        let usual = usual_cluster(self.kind, self.total, self.sector).max(self.sector);
        let larger = (0..).map(|shift| usual << shift).take_while(|&size| size <= 65_536);
        let smaller = (1..)
            .map(|shift| usual >> shift)
            .take_while(|&size| size >= self.sector);
        larger
            .chain(smaller)
            .filter_map(|size| self.with_cluster(size))
            .find(|geometry| good_counts(self.kind).contains(&geometry.clusters))
    }

    /// Settles the sizes that follow from the cluster size; `None` if there is no room for a cluster.
    fn with_cluster(mut self, cluster: u32) -> Option<Self> {
        self.cluster_sectors = cluster / self.sector;
        // The smallest FAT that numbers the clusters that it leaves room for. Longer FATs leave fewer, so the good lengths are all
        // those from the smallest on.
        let (mut low, mut high) = (1, self.total);
        while low < high {
            let middle = low + (high - low) / 2;
            if self.fat_needed(self.clusters_beside(middle)) <= u64::from(middle) {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        self.fat = low;
        self.clusters = self.clusters_beside(low);
        (self.clusters > 0).then_some(self)
    }

    fn clusters_beside(&self, fat: u32) -> u32 {
        let before = u64::from(self.reserved) + 2 * u64::from(fat) + u64::from(self.root_sectors());
        let data = u64::from(self.total).saturating_sub(before);
        (data / u64::from(self.cluster_sectors)) as u32
    }

    fn fat_needed(&self, clusters: u32) -> u64 {
        self.kind
            .fat_bytes(u64::from(clusters) + 2)
            .div_ceil(u64::from(self.sector))
    }

    /// Sectors of the fixed root.
    pub(crate) fn root_sectors(&self) -> u32 {
        (self.root_entries * ENTRY).div_ceil(self.sector)
    }

    pub(crate) fn cluster_bytes(&self) -> u64 {
        u64::from(self.cluster_sectors) * u64::from(self.sector)
    }

    /// Byte of the stick at which a sector of the volume begins.
    pub(crate) fn byte_of_sector(&self, sector: u32) -> u64 {
        (u64::from(self.start) + u64::from(sector)) * u64::from(self.sector)
    }

    pub(crate) fn first_root_sector(&self) -> u32 {
        self.reserved + 2 * self.fat
    }

    /// Byte of the stick at which a cluster begins.
    pub(crate) fn byte_of_cluster(&self, cluster: u32) -> u64 {
        let data = self.byte_of_sector(self.first_root_sector() + self.root_sectors());
        data + u64::from(cluster - 2) * self.cluster_bytes()
    }
}

/// Counts of clusters that every system takes for the same form of FAT.
fn good_counts(kind: Kind) -> RangeInclusive<u32> {
    match kind {
        Kind::Fat12 => 1..=4085 - 17,
        Kind::Fat16 => 4085 + 16..=65_525 - 17,
        Kind::Fat32 => 65_525 + 16..=0x0FFF_FFF5,
    }
}

/// The specification's tables, which count 512-byte sectors; FAT12 is not in them.
fn usual_cluster(kind: Kind, total: u32, sector: u32) -> u32 {
    let blocks = u64::from(total) * u64::from(sector / 512);
    let table: &[(u64, u32)] = match kind {
        Kind::Fat12 => &[],
        Kind::Fat16 => &[
            (32_680, 2),
            (262_144, 4),
            (524_288, 8),
            (1_048_576, 16),
            (2_097_152, 32),
            (4_194_304, 64),
            (u64::MAX, 128),
        ],
        Kind::Fat32 => &[
            (532_480, 1),
            (16_777_216, 8),
            (33_554_432, 16),
            (67_108_864, 32),
            (u64::MAX, 64),
        ],
    };
    512 * table
        .iter()
        .find(|(most, _)| blocks <= *most)
        .map_or(1, |(_, blocks)| *blocks)
}
