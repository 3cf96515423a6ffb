//! Everything that can be found wrong with a stick, one variant per finding.

use crate::detail::Detail;
use core::fmt;

/// A finding that stops the reader.
///
/// Block numbers count 512-byte blocks from the start of the device. Slots count from 1, as people do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Error {
    /// The device has no blocks.
    EmptyDevice,
    /// The block does not end in 55 AA, so it is neither a partition table nor the start of a FAT volume.
    NoSignature {
        /// The block looked at.
        block: Detail<u64>,
    },
    /// The volume is exFAT.
    ExFat,
    /// The volume is NTFS.
    Ntfs,
    /// The volume is encrypted with BitLocker.
    BitLocker,
    /// The device has a GUID partition table and no FAT partition in its protective table.
    Gpt,
    /// The block ends in 55 AA but is neither a FAT boot sector nor a partition table.
    NotFat {
        /// The block looked at.
        block: Detail<u64>,
    },
    /// The only partition that could be FAT is an EFI system partition: a stick made for starting computers.
    StartUpOnly,
    /// The table lists only extended partitions, which are not followed.
    ExtendedOnly,
    /// A partition starts at block 0 or has no length.
    PartitionEmpty {
        /// Slot in the table, 1 to 4.
        slot: Detail<u8>,
    },
    /// A partition starts beyond the end of the device.
    PartitionOutside {
        /// Slot in the table, 1 to 4.
        slot: Detail<u8>,
        /// Where it starts.
        start: Detail<u64>,
        /// Blocks of the device.
        blocks: Detail<u64>,
    },
    /// Bytes per sector is not 512, 1024, 2048 or 4096.
    SectorSize {
        /// The value.
        found: Detail<u16>,
    },
    /// Sectors per cluster is not a power of two from 1 to 128, or the cluster is over 64 KiB.
    ClusterSize {
        /// Sectors per cluster.
        found: Detail<u8>,
        /// Bytes per sector.
        sector_size: Detail<u16>,
    },
    /// No reserved sectors: the boot sector itself would lie in the FAT.
    NoReservedSectors,
    /// No FATs.
    NoFats,
    /// The media byte is not F0 or F8 to FF.
    MediaByte {
        /// The value.
        found: Detail<u8>,
    },
    /// Both FAT sizes are zero.
    NoFatSize,
    /// Both sector totals are zero.
    NoTotal,
    /// Reserved sectors, FATs and root leave no room for data.
    NoDataRegion {
        /// First data sector, as computed.
        first_data: Detail<u64>,
        /// Sectors of the volume.
        total: Detail<u32>,
    },
    /// The data region is smaller than one cluster.
    NoClusters,
    /// Root entries is zero on FAT12/16, or not zero on FAT32.
    RootEntries {
        /// The value.
        found: Detail<u16>,
    },
    /// A volume with a 16-bit FAT size has more clusters than FAT16 can number.
    TypeConflict {
        /// The clusters of the volume.
        clusters: Detail<u32>,
    },
    /// More clusters than FAT32 can number (268,435,445).
    TooManyClusters {
        /// The clusters of the volume.
        clusters: Detail<u32>,
    },
    /// The FAT has fewer entries than there are clusters.
    FatTooShort {
        /// Bytes of one FAT.
        found: Detail<u64>,
        /// Bytes that the clusters need.
        needed: Detail<u64>,
    },
    /// The live FAT named by the FAT32 flags does not exist.
    LiveFat {
        /// Number of the live FAT, from 0.
        found: Detail<u8>,
        /// FATs of the volume.
        fats: Detail<u8>,
    },
    /// A FAT32 version other than 0.0.
    Version {
        /// The value; the high byte is the major number.
        found: Detail<u16>,
    },
    /// The FAT32 root cluster is outside the volume.
    RootCluster {
        /// The value.
        found: Detail<u32>,
        /// Highest valid cluster.
        last: Detail<u32>,
    },
    /// The volume claims more blocks than its partition or the device has.
    VolumePastEnd {
        /// Blocks claimed.
        claimed: Detail<u64>,
        /// Blocks there are.
        available: Detail<u64>,
    },
    /// A file or folder starts in a cluster that is not there (0 included, if it has contents).
    FirstCluster {
        /// The value.
        found: Detail<u32>,
        /// Highest valid cluster.
        last: Detail<u32>,
    },
    /// A chain leads to a cluster that is not there.
    ChainOutside {
        /// The cluster whose FAT entry is wrong.
        cluster: Detail<u32>,
        /// The entry.
        found: Detail<u32>,
        /// Highest valid cluster.
        last: Detail<u32>,
    },
    /// A cluster within a chain is marked free.
    ChainFree {
        /// The cluster.
        cluster: Detail<u32>,
    },
    /// A cluster within a chain is marked bad.
    ChainBad {
        /// The cluster.
        cluster: Detail<u32>,
    },
    /// A chain comes back to a cluster that it has been through.
    ChainLoop {
        /// A cluster on the loop.
        cluster: Detail<u32>,
    },
    /// A chain ends before the file does.
    ChainShort {
        /// Bytes of the file that have no cluster.
        missing: Detail<u32>,
    },
    /// A file claims more clusters than the volume has.
    FileTooLarge {
        /// Bytes claimed.
        size: Detail<u32>,
    },
    /// A folder has more than 65,536 entries.
    DirectoryTooLong,
    /// A folder was to be read as a file.
    IsDirectory,
    /// A file was to be read as a folder.
    IsFile,
}

impl Error {
    /// How much the finding says about a partition, for choosing which of several to report: a broken FAT volume says more
    /// than another format, and that says more than nothing recognised.
    pub(crate) const fn weight(&self) -> u8 {
        match self {
            Self::NoSignature { .. } | Self::NotFat { .. } => 0,
            Self::PartitionEmpty { .. } | Self::PartitionOutside { .. } => 1,
            Self::StartUpOnly => 2,
            Self::Gpt => 3,
            Self::ExFat | Self::Ntfs | Self::BitLocker => 4,
            _ => 5,
        }
    }
}

/// A unit has no use for sentences: its code for the display.
#[cfg(target_os = "none")]
impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "finding {}", self.code())
    }
}

/// What was found, with its figures. What an owner does about it is no affair of a reader.
#[cfg(not(target_os = "none"))]
impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::EmptyDevice => f.write_str("the stick reports no blocks at all"),
            Self::NoSignature { block } => {
                write!(
                    f,
                    "block {block} does not end in 55 AA, so no FAT volume and no partition table begins there"
                )
            }
            Self::ExFat => f.write_str("the stick is formatted as exFAT; FAT12, FAT16 and FAT32 can be read"),
            Self::Ntfs => f.write_str("the stick is formatted as NTFS; FAT12, FAT16 and FAT32 can be read"),
            Self::BitLocker => f.write_str("the stick is encrypted; an unlocked FAT stick can be read"),
            Self::Gpt => f.write_str("the stick has a GUID partition table; a master boot record can be read"),
            Self::NotFat { block } => {
                write!(f, "block {block} begins neither a FAT volume nor a partition table")
            }
            Self::StartUpOnly => {
                f.write_str("the stick was made to start a computer, and has no FAT partition beside the one for that")
            }
            Self::ExtendedOnly => {
                f.write_str("the partition table lists only extended partitions; a primary one can be read")
            }
            Self::PartitionEmpty { slot } => {
                write!(f, "partition {slot} starts at block 0 or has no length")
            }
            Self::PartitionOutside { slot, start, blocks } => {
                write!(
                    f,
                    "partition {slot} starts at block {start}, but the stick has {blocks} blocks"
                )
            }
            Self::SectorSize { found } => {
                write!(
                    f,
                    "boot sector, byte 11: {found} bytes per sector; expected 512, 1024, 2048 or 4096"
                )
            }
            Self::ClusterSize { found, sector_size } => write!(
                f,
                "boot sector, byte 13: {found} sectors of {sector_size} bytes per cluster; expected a power of two and at most 64 KiB"
            ),
            Self::NoReservedSectors => f.write_str("boot sector, byte 14: no reserved sectors; expected 1 or more"),
            Self::NoFats => f.write_str("boot sector, byte 16: no FATs; expected 1 or more"),
            Self::MediaByte { found } => {
                write!(
                    f,
                    "boot sector, byte 21: media byte {found:02X}; expected F0 or F8 to FF"
                )
            }
            Self::NoFatSize => f.write_str("boot sector, bytes 22 and 36: FAT size 0; expected one that is not"),
            Self::NoTotal => f.write_str("boot sector, bytes 19 and 32: 0 sectors in all; expected one that is not"),
            Self::NoDataRegion { first_data, total } => {
                write!(
                    f,
                    "the data would begin at sector {first_data}, but the volume has {total} sectors"
                )
            }
            Self::NoClusters => f.write_str("the volume has room for no cluster at all"),
            Self::RootEntries { found } => write!(
                f,
                "boot sector, byte 17: {found} root entries; expected 0 on FAT32 and more than 0 on FAT12 and FAT16"
            ),
            Self::TypeConflict { clusters } => write!(
                f,
                "the volume has {clusters} clusters, but its boot sector is that of FAT12 or FAT16, which number at most 65524"
            ),
            Self::TooManyClusters { clusters } => {
                write!(
                    f,
                    "the volume has {clusters} clusters, but FAT32 numbers at most 268435445"
                )
            }
            Self::FatTooShort { found, needed } => {
                write!(
                    f,
                    "one FAT has {found} bytes, but the clusters of the volume need {needed}"
                )
            }
            Self::LiveFat { found, fats } => {
                write!(
                    f,
                    "boot sector, byte 40: FAT number {found} is to be used, but there are {fats}, counted from 0"
                )
            }
            Self::Version { found } => {
                write!(
                    f,
                    "boot sector, byte 42: FAT32 version {}.{}; expected 0.0",
                    found >> 8,
                    found & 0xFF
                )
            }
            Self::RootCluster { found, last } => {
                write!(
                    f,
                    "boot sector, byte 44: the root begins in cluster {found}; expected 2 to {last}"
                )
            }
            Self::VolumePastEnd { claimed, available } => write!(
                f,
                "the volume claims {claimed} blocks of 512 bytes, but its partition or the stick ends after {available}"
            ),
            Self::FirstCluster { found, last } => {
                write!(f, "the directory entry says cluster {found}; expected 2 to {last}")
            }
            Self::ChainOutside { cluster, found, last } => {
                write!(
                    f,
                    "the chain leads from cluster {cluster} to {found}; expected 2 to {last} or an end mark"
                )
            }
            Self::ChainFree { cluster } => write!(f, "cluster {cluster} is in use but marked free"),
            Self::ChainBad { cluster } => write!(f, "cluster {cluster} is in use but its successor is marked bad"),
            Self::ChainLoop { cluster } => write!(f, "the chain comes back to cluster {cluster} and never ends"),
            Self::ChainShort { missing } => write!(f, "the chain ends {missing} bytes before the file does"),
            Self::FileTooLarge { size } => write!(f, "the file claims {size} bytes, more than the volume has"),
            Self::DirectoryTooLong => f.write_str("the folder has more than 65536 entries"),
            Self::IsDirectory => f.write_str("this is a folder, not a file"),
            Self::IsFile => f.write_str("this is a file, not a folder"),
        }
    }
}

impl core::error::Error for Error {}
