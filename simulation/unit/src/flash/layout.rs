//! The fixed properties of flash: a part's own memory, and one beside it where there is one.

use super::contents::{PAGE, Page};
use packstaff_installer::{Geometry, Region, SectorRun};
use packstaff_parts::{Part, SecondProgram, Sectors};
use std::sync::Arc;

/// One memory.
#[derive(Clone, Debug)]
pub struct Memory {
    base: u32,
    runs: Vec<SectorRun>,
    granule: u32,
    erased: u8,
    check_bits: bool,
    pub(super) second_program: SecondProgram,
    /// An erased page, shared by all that is erased.
    pub(super) blank: Arc<Page>,
}

impl Memory {
    /// As the installer sees it.
    pub fn geometry(&self) -> Geometry<'_> {
        Geometry {
            base: self.base,
            runs: &self.runs,
            granule: self.granule,
            erased: self.erased,
        }
    }

    /// Smallest portion that is programmed, in bytes; at least 1.
    pub const fn granule(&self) -> u32 {
        if self.granule == 0 { 1 } else { self.granule }
    }

    /// What a byte reads after an erase.
    pub const fn erased(&self) -> u8 {
        self.erased
    }

    /// Whether each granule has check bits beside it, and cannot be read where they do not fit.
    pub const fn has_check_bits(&self) -> bool {
        self.check_bits
    }

    /// All of it.
    pub fn extent(&self) -> Region {
        let sizes = self.runs.iter().map(|run| run.size.saturating_mul(run.count));
        Region {
            base: self.base,
            size: sizes.fold(0, u32::saturating_add),
        }
    }
}

/// A part's sectors, as the installer wants them.
pub fn runs_of(part: &Part) -> Vec<SectorRun> {
    let run = |run: &Sectors| SectorRun {
        count: run.count,
        size: run.size,
    };
    part.sectors.iter().map(run).collect()
}

/// The fixed properties of a unit's flash.
#[derive(Clone, Debug)]
pub struct FlashLayout {
    own: Memory,
    beside: Option<Memory>,
    /// Of both, upward.
    pub(super) sectors: Vec<Region>,
}

impl FlashLayout {
    /// The layout of a part, programmed in portions of [`Part::portion_bytes`].
    pub fn of(part: &Part) -> Self {
        Self::new(
            part.base,
            runs_of(part),
            part.portion_bytes(),
            part.erased(),
            part.ecc,
            part.second_program,
        )
    }

    /// A layout of one's own, for small units.
    pub fn new(
        base: u32,
        runs: Vec<SectorRun>,
        granule: u32,
        erased: u8,
        check_bits: bool,
        second_program: SecondProgram,
    ) -> Self {
        Self::alone(Memory {
            base,
            runs,
            granule,
            erased,
            check_bits,
            second_program,
            blank: Arc::new([erased; PAGE]),
        })
    }

    fn alone(own: Memory) -> Self {
        Self {
            sectors: own.geometry().sectors().collect(),
            own,
            beside: None,
        }
    }

    /// The part's own memory at another address: one on a serial bus lies where its driver says.
    #[must_use]
    pub fn at(self, base: u32) -> Self {
        Self::alone(Memory { base, ..self.own })
    }

    /// The part's own memory with another's beside it. The two must share no address ([`packstaff_installer::Config::check`] finds it).
    #[must_use]
    pub fn with_beside(self, other: Self) -> Self {
        let mut both = Self::alone(self.own);
        both.sectors.extend(other.own.geometry().sectors());
        both.sectors.sort_by_key(|sector| sector.base);
        both.beside = Some(other.own);
        both
    }

    /// The part's own memory, as the installer sees it.
    pub fn geometry(&self) -> Geometry<'_> {
        self.own.geometry()
    }

    /// The part's own memory.
    pub const fn own(&self) -> &Memory {
        &self.own
    }

    /// The memory beside it.
    pub const fn beside(&self) -> Option<&Memory> {
        self.beside.as_ref()
    }

    /// Both memories, the part's own one first.
    pub fn memories(&self) -> impl Iterator<Item = &Memory> {
        [&self.own].into_iter().chain(&self.beside)
    }

    /// Whether `address` belongs to the memory beside the part's own one.
    pub fn is_beside(&self, address: u32) -> bool {
        self.beside_at(address).is_some()
    }

    fn beside_at(&self, address: u32) -> Option<&Memory> {
        self.beside.as_ref().filter(|beside| beside.extent().contains(address))
    }

    /// The memory that `address` belongs to; the part's own one, if it belongs to none.
    pub fn memory_at(&self, address: u32) -> &Memory {
        self.beside_at(address).unwrap_or(&self.own)
    }

    /// All sectors of both memories, upward.
    pub fn sectors(&self) -> &[Region] {
        &self.sectors
    }

    /// The sector that holds `address`.
    pub fn sector_at(&self, address: u32) -> Option<Region> {
        self.sector_index(address)
            .and_then(|index| self.sectors.get(index).copied())
    }

    pub(super) fn sector_index(&self, address: u32) -> Option<usize> {
        let index = self
            .sectors
            .partition_point(|sector| sector.end() <= u64::from(address));
        self.sectors
            .get(index)
            .filter(|sector| sector.contains(address))
            .map(|_| index)
    }

    /// Whether all of `region` lies in one memory.
    pub(super) fn holds(&self, region: Region) -> bool {
        self.memories().any(|memory| {
            let extent = memory.extent();
            region.base >= extent.base && region.end() <= extent.end()
        })
    }
}
