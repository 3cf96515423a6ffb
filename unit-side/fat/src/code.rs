//! Numbers for findings: short enough for a unit's display, and never changed once released.

use crate::Error;

impl Error {
    /// The finding's number: 10 to 29 the format, 30 to 59 the volume, 60 to 79 a chain or a directory.
    #[must_use]
    pub const fn code(&self) -> u16 {
        match self {
            Self::EmptyDevice => 10,
            Self::NoSignature { .. } => 11,
            Self::ExFat => 12,
            Self::Ntfs => 13,
            Self::BitLocker => 14,
            Self::Gpt => 15,
            Self::NotFat { .. } => 16,
            Self::StartUpOnly => 17,
            Self::ExtendedOnly => 18,
            Self::PartitionEmpty { .. } => 19,
            Self::PartitionOutside { .. } => 20,
            Self::SectorSize { .. } => 30,
            Self::ClusterSize { .. } => 31,
            Self::NoReservedSectors => 32,
            Self::NoFats => 33,
            Self::MediaByte { .. } => 34,
            Self::NoFatSize => 35,
            Self::NoTotal => 36,
            Self::NoDataRegion { .. } => 37,
            Self::NoClusters => 38,
            Self::RootEntries { .. } => 39,
            Self::TypeConflict { .. } => 40,
            Self::TooManyClusters { .. } => 41,
            Self::FatTooShort { .. } => 42,
            Self::LiveFat { .. } => 43,
            Self::Version { .. } => 44,
            Self::RootCluster { .. } => 45,
            Self::VolumePastEnd { .. } => 46,
            Self::FirstCluster { .. } => 60,
            Self::ChainOutside { .. } => 61,
            Self::ChainFree { .. } => 62,
            Self::ChainBad { .. } => 63,
            Self::ChainLoop { .. } => 64,
            Self::ChainShort { .. } => 65,
            Self::FileTooLarge { .. } => 66,
            Self::DirectoryTooLong => 67,
            Self::IsDirectory => 68,
            Self::IsFile => 69,
        }
    }
}
