//! Findings without their figures: what a unit can show, and what an owner can report. Each has a number that is short enough
//! for a unit's display and never changes once released.

use crate::Error;
use core::fmt;

/// Declares every kind with its number and its short name; the compiler refuses an [`Error`] that is not among them.
macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident = $number:literal, $short:literal;)*) => {
        /// A finding without its figures.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[repr(u8)]
        pub enum ErrorKind {
            $($(#[$doc])* $name = $number,)*
        }

        impl ErrorKind {
            /// Every kind, by its number upward.
            pub const ALL: &'static [Self] = &[$(Self::$name),*];
        }

        impl Error {
            /// The finding without its figures.
            #[must_use]
            pub const fn kind(&self) -> ErrorKind {
                match self {
                    $(Self::$name { .. } => ErrorKind::$name,)*
                }
            }
        }

        /// A short name, for a display or a log.
        impl fmt::Display for ErrorKind {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(match self {
                    $(Self::$name => $short,)*
                })
            }
        }
    };
}

kinds! {
    /// As [`Error::EmptyDevice`].
    EmptyDevice = 10, "no blocks";
    /// As [`Error::NoSignature`].
    NoSignature = 11, "no 55 AA mark";
    /// As [`Error::ExFat`].
    ExFat = 12, "exFAT";
    /// As [`Error::Ntfs`].
    Ntfs = 13, "NTFS";
    /// As [`Error::BitLocker`].
    BitLocker = 14, "encrypted";
    /// As [`Error::Gpt`].
    Gpt = 15, "GUID partition table";
    /// As [`Error::NotFat`].
    NotFat = 16, "no FAT volume";
    /// As [`Error::StartUpOnly`].
    StartUpOnly = 17, "start-up partition only";
    /// As [`Error::ExtendedOnly`].
    ExtendedOnly = 18, "extended partitions only";
    /// As [`Error::PartitionEmpty`].
    PartitionEmpty = 19, "empty partition";
    /// As [`Error::PartitionOutside`].
    PartitionOutside = 20, "partition past the end";
    /// As [`Error::SectorSize`].
    SectorSize = 30, "sector size";
    /// As [`Error::ClusterSize`].
    ClusterSize = 31, "cluster size";
    /// As [`Error::NoReservedSectors`].
    NoReservedSectors = 32, "no reserved sectors";
    /// As [`Error::NoFats`].
    NoFats = 33, "no FATs";
    /// As [`Error::MediaByte`].
    MediaByte = 34, "media byte";
    /// As [`Error::NoFatSize`].
    NoFatSize = 35, "FAT size 0";
    /// As [`Error::NoTotal`].
    NoTotal = 36, "sector total 0";
    /// As [`Error::NoDataRegion`].
    NoDataRegion = 37, "no data region";
    /// As [`Error::NoClusters`].
    NoClusters = 38, "no clusters";
    /// As [`Error::RootEntries`].
    RootEntries = 39, "root entries";
    /// As [`Error::TypeConflict`].
    TypeConflict = 40, "too many clusters for FAT16";
    /// As [`Error::TooManyClusters`].
    TooManyClusters = 41, "too many clusters";
    /// As [`Error::FatTooShort`].
    FatTooShort = 42, "FAT too short";
    /// As [`Error::LiveFat`].
    LiveFat = 43, "no such live FAT";
    /// As [`Error::Version`].
    Version = 44, "FAT32 version";
    /// As [`Error::RootCluster`].
    RootCluster = 45, "root cluster";
    /// As [`Error::VolumePastEnd`].
    VolumePastEnd = 46, "volume past the end";
    /// As [`Error::FirstCluster`].
    FirstCluster = 60, "first cluster";
    /// As [`Error::ChainOutside`].
    ChainOutside = 61, "chain out of the volume";
    /// As [`Error::ChainFree`].
    ChainFree = 62, "free cluster in a chain";
    /// As [`Error::ChainBad`].
    ChainBad = 63, "bad cluster in a chain";
    /// As [`Error::ChainLoop`].
    ChainLoop = 64, "chain in a loop";
    /// As [`Error::ChainShort`].
    ChainShort = 65, "chain too short";
    /// As [`Error::FileTooLarge`].
    FileTooLarge = 66, "file larger than the volume";
    /// As [`Error::DirectoryTooLong`].
    DirectoryTooLong = 67, "folder too long";
    /// As [`Error::IsDirectory`].
    IsDirectory = 68, "folder read as a file";
    /// As [`Error::IsFile`].
    IsFile = 69, "file read as a folder";
}

impl ErrorKind {
    /// The number: 10 to 29 the format, 30 to 59 the volume, 60 to 79 a chain or a directory.
    #[must_use]
    pub const fn code(self) -> u16 {
        self as u16
    }
}

impl Error {
    /// The number of the finding's [kind](ErrorKind::code).
    #[must_use]
    pub const fn code(&self) -> u16 {
        self.kind().code()
    }
}

impl From<Error> for ErrorKind {
    fn from(error: Error) -> Self {
        error.kind()
    }
}
