//! What a stick image is made from.

use packstaff_fat::{Calendar, DeviceBlock, Kind};

/// A file for the root of a stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StickFile {
    /// An upper-case name of at most 8 + 3 characters; see [`short_name`](crate::short_name).
    pub name: String,
    /// The contents, less than 4 GiB.
    pub contents: Vec<u8>,
}

/// What a stick image is made from. Equal specs make equal images.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StickSpec {
    /// Which form of FAT.
    pub kind: Kind,
    /// Bytes of the whole image, a multiple of the sector size.
    pub size: u64,
    /// Whether the volume stands in a partition, from 1 MiB on, or covers the whole stick.
    pub partitioned: bool,
    /// Bytes per sector, of the volume and of the stick alike. Sticks with other than 512 are rare, and not every system reads them.
    pub sector: DeviceBlock,
    /// Bytes per cluster: a power of two from one sector to 64 KiB (some systems read no more than 32 KiB). `None` for the usual
    /// size, by the FAT specification's tables.
    pub cluster: Option<u32>,
    /// The label: 1 to 11 characters, upper case. `None` for none.
    pub label: Option<String>,
    /// The volume's identifier. Derive it from the release, so that making it again gives the same image.
    pub volume_id: u32,
    /// The identifier in the partition table.
    pub disk_id: u32,
    /// The date and time of all entries, in the maker's local time.
    pub stamp: Calendar,
    /// The files, in the order in which they come to stand in the root and in the data.
    pub files: Vec<StickFile>,
}

impl StickSpec {
    /// Bytes of the stick that [`StickSpec::usual`] describes: 300 MiB, far from where the forms of FAT meet.
    pub const USUAL_SIZE: u64 = 300 << 20;

    /// The stick that the most units and computers read: one FAT32 partition of 4 KiB clusters.
    #[must_use]
    pub fn usual(volume_id: u32, stamp: Calendar) -> Self {
        Self {
            kind: Kind::Fat32,
            size: Self::USUAL_SIZE,
            partitioned: true,
            sector: DeviceBlock::B512,
            cluster: Some(4096),
            label: None,
            volume_id,
            disk_id: volume_id.rotate_left(16) ^ 0x5EED_0001,
            stamp,
            files: Vec::new(),
        }
    }

    /// Adds a file.
    #[must_use]
    pub fn with_file(mut self, name: impl Into<String>, contents: impl Into<Vec<u8>>) -> Self {
        self.files.push(StickFile {
            name: name.into(),
            contents: contents.into(),
        });
        self
    }
}
