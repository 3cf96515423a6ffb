//! A mounted volume: where its parts lie.
//!
//! All arithmetic wraps in name only: a volume is made by `boot::read` alone, which has checked that every part lies within the
//! volume and the volume within the device.

use crate::bytes::{u16_at, u32_at};
use crate::{BLOCK, Block, DirectoryReader, Entry, FileReader, MAX_DIRECTORY_ENTRIES};

/// The three forms of FAT.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// 12-bit entries.
    Fat12,
    /// 16-bit entries.
    Fat16,
    /// 32-bit entries, of which 28 bits count.
    Fat32,
}

impl Kind {
    /// Bytes that a FAT needs for so many entries (the two reserved ones included).
    #[must_use]
    pub const fn fat_bytes(self, entries: u64) -> u64 {
        match self {
            Self::Fat12 => entries.saturating_mul(3).div_ceil(2),
            Self::Fat16 => entries.saturating_mul(2),
            Self::Fat32 => entries.saturating_mul(4),
        }
    }

    /// The value that marks a bad cluster; values above it end a chain.
    #[must_use]
    pub const fn bad_mark(self) -> u32 {
        match self {
            Self::Fat12 => 0xFF7,
            Self::Fat16 => 0xFFF7,
            Self::Fat32 => 0x0FFF_FFF7,
        }
    }
}

impl core::fmt::Display for Kind {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Fat12 => "FAT12",
            Self::Fat16 => "FAT16",
            Self::Fat32 => "FAT32",
        })
    }
}

/// What the second FAT entry of FAT16 and FAT32 tells (FAT specification, "FAT Data Structure").
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Marks {
    /// The volume was unmounted properly.
    pub clean: bool,
    /// No input or output error was met.
    pub no_errors: bool,
}

/// A mounted volume. Plain data; made by [`Mount`](crate::Mount).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Volume {
    pub(crate) kind: Kind,
    pub(crate) first_block: u64,
    pub(crate) blocks: u64,
    pub(crate) sector_size: u16,
    pub(crate) cluster_blocks: u16,
    pub(crate) clusters: u32,
    pub(crate) fats: u8,
    pub(crate) live_fat: u8,
    /// First block of the live FAT.
    pub(crate) fat_first: u64,
    /// Blocks of one FAT.
    pub(crate) fat_blocks: u64,
    /// First block of the fixed root; on FAT32, of the data.
    pub(crate) root_first: u64,
    pub(crate) root_entries: u16,
    /// 0 if the root is a fixed region.
    pub(crate) root_cluster: u32,
    pub(crate) data_first: u64,
    pub(crate) media: u8,
    pub(crate) dirty: bool,
    pub(crate) hidden_sectors: u32,
    pub(crate) id: Option<u32>,
    pub(crate) slot: Option<u8>,
}

impl Volume {
    /// Which form of FAT.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        self.kind
    }

    /// Where the volume starts, in blocks from the start of the device.
    #[must_use]
    pub const fn first_block(&self) -> u64 {
        self.first_block
    }

    /// Blocks of the volume, boot sector included.
    #[must_use]
    pub const fn blocks(&self) -> u64 {
        self.blocks
    }

    /// Bytes per sector: 512, 1024, 2048 or 4096.
    #[must_use]
    pub const fn sector_size(&self) -> u16 {
        self.sector_size
    }

    /// Blocks per cluster, 1 to 128.
    #[must_use]
    pub const fn cluster_blocks(&self) -> u16 {
        self.cluster_blocks
    }

    /// Bytes per cluster, 512 to 65,536.
    #[must_use]
    pub const fn cluster_size(&self) -> u32 {
        (self.cluster_blocks as u32).wrapping_mul(BLOCK as u32)
    }

    /// Clusters of the volume. They are numbered from 2 to this number plus 1.
    #[must_use]
    pub const fn clusters(&self) -> u32 {
        self.clusters
    }

    /// Bytes of all clusters.
    #[must_use]
    pub const fn data_bytes(&self) -> u64 {
        (self.clusters as u64).wrapping_mul(self.cluster_size() as u64)
    }

    /// The highest cluster number.
    #[must_use]
    pub const fn last_cluster(&self) -> u32 {
        self.clusters.wrapping_add(1)
    }

    /// How many FATs there are.
    #[must_use]
    pub const fn fats(&self) -> u8 {
        self.fats
    }

    /// Which FAT is read, from 0; not 0 only if FAT32's mirroring is off.
    #[must_use]
    pub const fn live_fat(&self) -> u8 {
        self.live_fat
    }

    /// First block of the FAT that is read.
    #[must_use]
    pub const fn fat_first_block(&self) -> u64 {
        self.fat_first
    }

    /// Blocks of one FAT.
    #[must_use]
    pub const fn fat_blocks(&self) -> u64 {
        self.fat_blocks
    }

    /// The media byte.
    #[must_use]
    pub const fn media(&self) -> u8 {
        self.media
    }

    /// Sectors before the volume, as the boot sector claims; not used in reading.
    #[must_use]
    pub const fn hidden_sectors(&self) -> u32 {
        self.hidden_sectors
    }

    /// The volume's identifier, if the boot sector has one.
    #[must_use]
    pub const fn id(&self) -> Option<u32> {
        self.id
    }

    /// Slot of the partition that holds the volume, 1 to 4; `None` without a partition table.
    #[must_use]
    pub const fn slot(&self) -> Option<u8> {
        self.slot
    }

    /// Whether the boot sector says that the volume was not unmounted properly. See also [`Volume::marks`].
    #[must_use]
    pub const fn is_marked_dirty(&self) -> bool {
        self.dirty
    }

    /// Whether this is a FAT32 volume with fewer clusters than FAT32 should have (65,525). Some systems do not read those.
    #[must_use]
    pub const fn is_undersized_fat32(&self) -> bool {
        matches!(self.kind, Kind::Fat32) && self.clusters < 65_525
    }

    /// What the FAT says of the last unmount, from the block [`Volume::fat_first_block`]. FAT12 says nothing.
    #[must_use]
    pub fn marks(&self, first_fat_block: &Block) -> Option<Marks> {
        match self.kind {
            Kind::Fat12 => None,
            Kind::Fat16 => {
                let second = u16_at(first_fat_block, 2);
                Some(Marks {
                    clean: second & 1 << 15 != 0,
                    no_errors: second & 1 << 14 != 0,
                })
            }
            Kind::Fat32 => {
                let second = u32_at(first_fat_block, 4);
                Some(Marks {
                    clean: second & 1 << 27 != 0,
                    no_errors: second & 1 << 26 != 0,
                })
            }
        }
    }

    /// A reader of the root's entries.
    #[must_use]
    pub const fn root(&self) -> DirectoryReader {
        DirectoryReader::root(self)
    }

    /// A reader of a folder's entries. If the entry is not that of a folder, the first step says so.
    #[must_use]
    pub const fn directory(&self, entry: &Entry) -> DirectoryReader {
        DirectoryReader::folder(self, entry)
    }

    /// A reader of a file's blocks. If the entry is not that of a file, the first step says so.
    #[must_use]
    pub const fn file(&self, entry: &Entry) -> FileReader {
        FileReader::new(entry)
    }

    /// The most blocks that reading a whole directory can ask for, whatever is on the stick: each of its blocks once and again
    /// after each entry given, and the FAT blocks of its chain.
    #[must_use]
    pub const fn max_directory_reads(&self) -> u64 {
        let entries = MAX_DIRECTORY_ENTRIES as u64;
        let blocks = entries.div_ceil(16);
        // Blocks per cluster are a power of two; a FAT12 entry may straddle two blocks.
        let links = (blocks >> self.cluster_blocks.trailing_zeros())
            .wrapping_add(1)
            .wrapping_mul(2);
        entries.wrapping_add(blocks).wrapping_add(links)
    }

    /// The most FAT blocks that reading one file can ask for, whatever is on the stick. A file in one piece asks for one FAT
    /// block in 128 clusters (FAT32), 256 (FAT16) or about 341 (FAT12).
    #[must_use]
    pub const fn max_file_reads(&self) -> u64 {
        let links = self.clusters as u64;
        match self.kind {
            Kind::Fat12 => links.wrapping_mul(2),
            Kind::Fat16 | Kind::Fat32 => links,
        }
    }

    pub(crate) const fn has_cluster(&self, cluster: u32) -> bool {
        cluster >= 2 && cluster <= self.last_cluster()
    }

    /// First block of a cluster, which must be one that the volume has: 2 to [`Volume::last_cluster`].
    #[must_use]
    pub const fn cluster_first_block(&self, cluster: u32) -> u64 {
        let index = cluster.wrapping_sub(2) as u64;
        self.data_first
            .wrapping_add(index.wrapping_mul(self.cluster_blocks as u64))
    }
}
