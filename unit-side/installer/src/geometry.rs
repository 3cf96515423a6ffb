//! Flash as the installer sees it: runs of equal sectors from a base address.

/// A run of equal sectors.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct SectorRun {
    /// How many sectors the run has.
    pub count: u32,
    /// Bytes in each of them.
    pub size: u32,
}

/// A range of flash addresses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Region {
    /// First address.
    pub base: u32,
    /// Bytes.
    pub size: u32,
}

impl Region {
    /// The first address behind the region; 64 bits, so that a region may reach the very end of the address space.
    pub const fn end(self) -> u64 {
        self.base as u64 + self.size as u64
    }

    /// Whether `address` lies inside.
    pub const fn contains(self, address: u32) -> bool {
        address >= self.base && (address as u64) < self.end()
    }

    /// Whether the two regions share a byte.
    pub const fn overlaps(self, other: Self) -> bool {
        (self.base as u64) < other.end() && (other.base as u64) < self.end()
    }
}

/// Where the sectors of a part lie, and in what portions it is programmed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Geometry<'a> {
    /// Address of the first sector.
    pub base: u32,
    /// The sectors, upward from `base`.
    pub runs: &'a [SectorRun],
    /// Smallest unit that may be programmed, in bytes: a power of two, at most [`crate::GRANULE_MAX`].
    pub granule: u32,
    /// What a byte reads after an erase.
    pub erased: u8,
}

impl<'a> Geometry<'a> {
    /// All sectors, upward.
    pub fn sectors(self) -> impl Iterator<Item = Region> + 'a {
        core::iter::successors(self.sector_at(self.base), move |sector| {
            self.sector_at(sector.base.checked_add(sector.size)?)
        })
    }

    /// The sector that holds `address`.
    pub fn sector_at(self, address: u32) -> Option<Region> {
        let mut base = self.base;
        for run in self.runs {
            // What lies before the run is no sector of it, nor of any later one.
            let within = address.checked_sub(base)?;
            match within.checked_div(run.size) {
                Some(number) if number < run.count => {
                    return Some(Region {
                        base: base.wrapping_add(number.wrapping_mul(run.size)),
                        size: run.size,
                    });
                }
                _ => base = base.checked_add(run.size.checked_mul(run.count)?)?,
            }
        }
        None
    }

    /// `bytes` rounded up to whole granules.
    pub const fn whole_granules(self, bytes: u32) -> u32 {
        match bytes.checked_next_multiple_of(self.granule) {
            Some(rounded) => rounded,
            None => bytes,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MIXED: Geometry<'static> = Geometry {
        base: 0x0800_0000,
        runs: &[
            SectorRun {
                count: 4,
                size: 16 << 10,
            },
            SectorRun {
                count: 1,
                size: 64 << 10,
            },
            SectorRun {
                count: 3,
                size: 128 << 10,
            },
        ],
        granule: 4,
        erased: 0xff,
    };

    /// Sector addresses of the 512 KiB STM32F405: RM0090 Table 5.
    #[test]
    fn mixed_sectors_start_where_the_reference_manual_says() {
        let starts = [
            0x0800_0000,
            0x0800_4000,
            0x0800_8000,
            0x0800_C000,
            0x0801_0000,
            0x0802_0000,
            0x0804_0000,
            0x0806_0000,
        ];
        assert!(MIXED.sectors().map(|sector| sector.base).eq(starts));
        for (sector, start) in MIXED.sectors().zip(starts) {
            assert_eq!(MIXED.sector_at(start), Some(sector));
            assert_eq!(MIXED.sector_at(start + sector.size - 1), Some(sector));
        }
        assert_eq!(MIXED.sector_at(0x0808_0000), None);
        assert_eq!(MIXED.sector_at(0x07ff_ffff), None);
    }

    #[test]
    fn regions_at_the_end_of_the_address_space_do_not_wrap() {
        let last = Region {
            base: 0xffff_f000,
            size: 0x1000,
        };
        assert_eq!(last.end(), 1 << 32);
        assert!(last.contains(u32::MAX));
        assert!(!last.contains(0));
        assert!(!last.overlaps(Region { base: 0, size: 0x1000 }));
    }
}
