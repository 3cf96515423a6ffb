//! Where a unit keeps its settings, and what of.

use crate::record::FRAME;

/// Most bytes that one request writes.
pub const CHUNK_MAX: usize = 128;
/// Most records that a region can hold.
pub const SPOTS_MAX: u32 = 32;

/// A range of addresses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Region {
    /// First address.
    pub base: u32,
    /// Bytes.
    pub size: u32,
}

/// What kind of memory it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Memory {
    /// Any byte can be written, in pages of this many bytes, a power of two: EEPROM, and FRAM with any number.
    Pages {
        /// Bytes of a page.
        page: u32,
    },
    /// Flash: programmed once after each erase.
    Flash {
        /// Bytes of an erasable sector: all of the region's are of one size.
        sector: u32,
        /// Bytes that are programmed together at the least, a power of two, at most [`CHUNK_MAX`].
        granule: u32,
        /// What a byte reads after an erase.
        erased: u8,
    },
}

/// What a unit's keeper works with; constant for a version.
#[derive(Clone, Copy, Debug)]
pub struct Config<'a> {
    /// The kind of memory.
    pub memory: Memory,
    /// Where the settings are: from a page's or a sector's first address; the same in all versions.
    pub region: Region,
    /// Bytes of the longest payload that any version may have: the same in all versions, because records lie at multiples.
    pub room: u32,
    /// Where what an older version cannot hold is kept, with the ways back to older layouts.
    pub aside: Option<AsideConfig>,
    /// This version's layout.
    pub layout: u16,
    /// Bytes of its payload.
    pub len: u16,
    /// Carry-over tables to this layout.
    pub tables: &'a [&'a [u8]],
    /// Carry-over tables from this layout to older ones, for older versions to run: each behind its length in two bytes,
    /// little-endian. Empty where there is no region aside.
    pub ways_back: &'a [u8],
}

/// Where what an older version cannot hold is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct AsideConfig {
    /// Where: from a page's or a sector's first address; the same in all versions.
    pub region: Region,
    /// Bytes of the longest ways back and the longest payload of any version together, and two more; the same in all versions.
    pub room: u32,
}

/// Why a keeper cannot work with a [`Config`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ConfigFault {
    /// The page, sector or granule is not a power of two, or too large.
    Unit,
    /// A region has no room for two records, or for two sectors.
    TooSmall,
    /// The payload is longer than the room for it, here or in the keeper's buffers.
    TooLong,
}

impl core::fmt::Display for ConfigFault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Unit => "a page or granule of the settings memory is no power of two, or larger than 128 bytes",
            Self::TooSmall => {
                "the settings memory's region has no room for two records (or two sectors): make it larger"
            }
            Self::TooLong => "the settings are longer than the room for them: raise the room",
        })
    }
}

impl core::error::Error for ConfigFault {}

/// Where records lie in a region: computed from a [`Config`] whenever it is needed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Spots {
    /// The kind of memory.
    pub memory: Memory,
    /// The region.
    pub region: Region,
    /// Bytes from one record's first to the next one's.
    pub pitch: u32,
    /// How many there are.
    pub count: u32,
    /// How many there are in a sector; all of them where there are no sectors.
    pub per_sector: u32,
    /// Bytes that are written together.
    pub chunk: u32,
    /// Bytes before a record that mark it as void when they are programmed; flash only.
    pub mark: u32,
}

impl Spots {
    /// Where records of up to `room` bytes of payload lie in `region`.
    ///
    /// # Errors
    /// Why that cannot be.
    pub fn new(memory: Memory, region: Region, room: u32) -> Result<Self, ConfigFault> {
        let record = room.checked_add(FRAME as u32).ok_or(ConfigFault::TooLong)?;
        let max = CHUNK_MAX as u32;
        let (unit, sector, mark) = match memory {
            Memory::Pages { page } => (page, region.size, 0),
            Memory::Flash { sector, granule, .. } => (granule, sector, granule),
        };
        if !unit.is_power_of_two() || (mark > max) {
            return Err(ConfigFault::Unit);
        }
        let pitch = record.checked_add(mark).ok_or(ConfigFault::TooLong)?;
        let pitch = pitch.checked_next_multiple_of(unit).ok_or(ConfigFault::TooLong)?;
        let chunk = match memory {
            Memory::Pages { .. } => unit.min(max),
            Memory::Flash { .. } => max,
        };
        let per_sector = sector.checked_div(pitch).unwrap_or(0);
        let sectors = region.size.checked_div(sector).unwrap_or(0);
        let least = if mark > 0 { 2 } else { 1 };
        let count = per_sector.checked_mul(sectors).ok_or(ConfigFault::TooLong)?;
        if sectors < least || count < 2 {
            return Err(ConfigFault::TooSmall);
        }
        // Further ones are left alone: in whole sectors.
        let (per_sector, count) = match memory {
            Memory::Pages { .. } => (count.min(SPOTS_MAX), count.min(SPOTS_MAX)),
            Memory::Flash { .. } => {
                let sectors = sectors.min(SPOTS_MAX);
                let per_sector = per_sector.min(SPOTS_MAX.checked_div(sectors).unwrap_or(1));
                (per_sector, per_sector.saturating_mul(sectors))
            }
        };
        Ok(Self {
            memory,
            region,
            pitch,
            count,
            per_sector,
            chunk,
            mark,
        })
    }

    /// The first address of a spot.
    pub fn address(&self, spot: u32) -> u32 {
        let sector = self.sector_of(spot);
        let within = spot.wrapping_sub(sector.wrapping_mul(self.per_sector));
        self.sector_address(sector)
            .wrapping_add(within.wrapping_mul(self.pitch))
    }

    /// The first address of a spot's record.
    pub fn record(&self, spot: u32) -> u32 {
        self.address(spot).wrapping_add(self.mark)
    }

    /// Which sector a spot is in; 0 where there are none.
    pub fn sector_of(&self, spot: u32) -> u32 {
        spot.checked_div(self.per_sector).unwrap_or(0)
    }

    /// How many sectors there are.
    pub fn sectors(&self) -> u32 {
        self.count.checked_div(self.per_sector).unwrap_or(1)
    }

    /// The first address of a sector.
    pub fn sector_address(&self, sector: u32) -> u32 {
        let size = match self.memory {
            Memory::Pages { .. } => 0,
            Memory::Flash { sector, .. } => sector,
        };
        self.region.base.wrapping_add(sector.wrapping_mul(size))
    }

    /// What an unwritten byte is filled up with.
    pub fn erased(&self) -> u8 {
        match self.memory {
            Memory::Pages { .. } => 0xff,
            Memory::Flash { erased, .. } => erased,
        }
    }
}
