//! Simulated flash: what cells hold, what may be done to them, and what a cut leaves behind.
//!
//! Contents are shared between copies and copied only where they are changed, and a keyed 128-bit sum over the cells is
//! kept up to date with every change, so that a search over many worlds can clone and compare them cheaply.
//!
//! What is modelled, and from where, is in [`Torn`]; what is not: wear, neighbour damage across sectors, and wild writes
//! of a processor in brown-out (the parts' brown-out reset must be on: see the porting guide).

mod contents;
mod doubt;
mod layout;
mod sum;
mod torn;

pub use doubt::{Doubt, DoubtKind};
pub use layout::{FlashLayout, Memory, runs_of};
pub use sum::SumKey;
pub use torn::{EraseCut, Inside, Torn, outcomes};

use contents::{Contents, PAGE, Sector};
use doubt::Doubts;
use packstaff_installer::Region;
use packstaff_parts::SecondProgram;
use std::sync::Arc;

/// One change of flash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// Erase the sector at this address.
    Erase {
        /// First address of the sector.
        address: u32,
    },
    /// Program whole granules from this address upward.
    Program {
        /// First address.
        address: u32,
        /// The bytes.
        data: Vec<u8>,
    },
}

/// A change that a part would not carry out as asked, or that a driver must never ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FlashFault {
    /// The address is in no sector, or the range leaves the part.
    #[error("{address:#010x} with {len} bytes is not inside the part's flash")]
    OutOfRange {
        /// First address.
        address: u32,
        /// Bytes.
        len: u32,
    },
    /// An erase that does not name a sector's first address.
    #[error("{address:#010x} is not the first address of a sector")]
    NotASector {
        /// The address.
        address: u32,
    },
    /// A program that does not consist of whole granules.
    #[error("programming {len} bytes at {address:#010x} is not whole granules of {granule} bytes")]
    NotWholeGranules {
        /// First address.
        address: u32,
        /// Bytes.
        len: u32,
        /// The granule.
        granule: u32,
    },
    /// A second program of a granule, where the part does not allow it.
    #[error("the granule at {address:#010x} is already programmed, and this part does not allow a second time")]
    AlreadyProgrammed {
        /// The granule.
        address: u32,
    },
    /// Don't-care cells: the search took for granted that nobody reads them.
    #[error("the cells at {address:#010x} were taken for contents that nobody reads")]
    DontCare {
        /// First of them.
        address: u32,
    },
    /// Cells whose check bits do not fit: the part reports an uncorrectable error.
    #[error("the cells at {address:#010x} cannot be read: their check bits do not fit")]
    Unreadable {
        /// First of them.
        address: u32,
    },
}

/// The contents of a flash.
#[derive(Clone)]
pub struct Flash {
    layout: Arc<FlashLayout>,
    key: SumKey,
    contents: Contents,
    doubts: Arc<Doubts>,
}

/// Not the contents, which are long: their sum, and what is in doubt.
impl std::fmt::Debug for Flash {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Flash")
            .field("sum", &format_args!("{:032x}", self.contents.sum()))
            .field("doubts", &self.doubts())
            .finish_non_exhaustive()
    }
}

impl PartialEq for Flash {
    fn eq(&self, other: &Self) -> bool {
        self.doubts == other.doubts && self.contents == other.contents
    }
}

impl Eq for Flash {}

impl Flash {
    /// A part as it leaves its maker: erased.
    pub fn erased(layout: Arc<FlashLayout>, key: SumKey) -> Self {
        let sectors: Vec<_> = layout
            .sectors
            .iter()
            .map(|sector| Sector::blank(sector.size, &layout.memory_at(sector.base).blank))
            .collect();
        Self {
            contents: Contents::new(&sectors),
            layout,
            key,
            doubts: Arc::default(),
        }
    }

    /// The fixed properties.
    pub fn layout(&self) -> &FlashLayout {
        &self.layout
    }

    /// Areas whose cells are not to be trusted.
    pub fn doubts(&self) -> &[Doubt] {
        self.doubts.as_slice()
    }

    /// A keyed 128-bit sum of all contents and doubts: equal contents have equal sums; see [`SumKey`] for how likely
    /// different ones are to have equal sums.
    pub fn sum(&self) -> u128 {
        self.doubts().iter().fold(self.contents.sum(), |sum, doubt| {
            sum.wrapping_add(self.key.doubt(doubt))
        })
    }

    /// Reads `out.len()` bytes from `address`, as the cells stand.
    ///
    /// # Errors
    /// [`FlashFault::OutOfRange`], or [`FlashFault::Unreadable`] where check bits do not fit.
    pub fn read(&self, address: u32, out: &mut [u8]) -> Result<(), FlashFault> {
        let mut filled = 0;
        self.for_each_portion(address, out.len() as u32, |bytes| {
            out[filled..filled + bytes.len()].copy_from_slice(bytes);
            filled += bytes.len();
        })
    }

    /// The cells as they stand, whatever is in doubt.
    fn cells(&self, region: Region) -> Vec<u8> {
        let mut cells = Vec::with_capacity(region.size as usize);
        let mut at = region.base;
        while let Some((page, within)) = self.page(at).filter(|_| cells.len() < region.size as usize) {
            let taken = (page.len() - within).min(region.size as usize - cells.len());
            cells.extend_from_slice(&page[within..within + taken]);
            at = at.wrapping_add(taken as u32);
        }
        cells
    }

    /// Reads `len` bytes from `address` into a new vector.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn bytes(&self, address: u32, len: u32) -> Result<Vec<u8>, FlashFault> {
        self.inside(address, len)?;
        let mut out = vec![0; len as usize];
        self.read(address, &mut out)?;
        Ok(out)
    }

    /// The portions of a range in turn, for digests that need not copy them.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn for_each_portion(&self, address: u32, len: u32, mut take: impl FnMut(&[u8])) -> Result<(), FlashFault> {
        let region = self.inside(address, len)?;
        if let Some(doubt) = self.doubts.over(region).find(|doubt| doubt.kind == DoubtKind::DontCare) {
            return Err(FlashFault::DontCare {
                address: doubt.area.base.max(address),
            });
        }
        if let Some(doubt) = self
            .doubts
            .over(region)
            .find(|doubt| doubt.kind == DoubtKind::Unreadable)
        {
            return Err(FlashFault::Unreadable {
                address: doubt.area.base.max(address),
            });
        }
        let (mut at, mut left) = (address, len as usize);
        while left > 0 {
            let (page, within) = self.page(at).ok_or(FlashFault::OutOfRange {
                address: at,
                len: left as u32,
            })?;
            let taken = left.min(page.len() - within);
            take(&page[within..within + taken]);
            left -= taken;
            at = at.wrapping_add(taken as u32);
        }
        Ok(())
    }

    /// Whether all of a range reads as erased.
    ///
    /// # Errors
    /// [`FlashFault::OutOfRange`].
    pub fn is_blank(&self, address: u32, len: u32) -> Result<bool, FlashFault> {
        let erased = self.layout.memory_at(address).erased();
        let mut blank = true;
        match self.for_each_portion(address, len, |bytes| blank &= bytes.iter().all(|byte| *byte == erased)) {
            Ok(()) => Ok(blank),
            Err(FlashFault::Unreadable { .. }) => Ok(false),
            Err(fault) => Err(fault),
        }
    }

    /// Whether a change is one that the part carries out.
    ///
    /// # Errors
    /// Why it is not.
    pub fn check(&self, change: &Change) -> Result<(), FlashFault> {
        match change {
            Change::Erase { address } => {
                let sector = self.layout.sector_at(*address);
                sector
                    .filter(|sector| sector.base == *address)
                    .map(|_| ())
                    .ok_or(FlashFault::NotASector { address: *address })
            }
            Change::Program { address, data } => {
                let granule = self.layout.memory_at(*address).granule();
                let len = data.len() as u32;
                self.inside(*address, len)?;
                if !address.is_multiple_of(granule) || !len.is_multiple_of(granule) || len == 0 {
                    return Err(FlashFault::NotWholeGranules {
                        address: *address,
                        len,
                        granule,
                    });
                }
                for (index, wanted) in data.chunks_exact(granule as usize).enumerate() {
                    let at = address + index as u32 * granule;
                    if !self.may_program(at, wanted) {
                        return Err(FlashFault::AlreadyProgrammed { address: at });
                    }
                }
                Ok(())
            }
        }
    }

    fn may_program(&self, address: u32, wanted: &[u8]) -> bool {
        let region = Region {
            base: address,
            size: wanted.len() as u32,
        };
        // What a cut has left in doubt was begun: it is programmed, whatever it reads as.
        let doubtful = self.doubts.over(region).any(|doubt| !doubt.kind.is_erased());
        let mut held = vec![0; wanted.len()];
        let readable = self.read(address, &mut held).is_ok();
        let memory = self.layout.memory_at(address);
        let blank = readable && !doubtful && held.iter().all(|byte| *byte == memory.erased());
        blank
            || match memory.second_program {
                SecondProgram::Free => true,
                SecondProgram::Zeros => wanted.iter().all(|byte| *byte == 0),
                SecondProgram::Clears | SecondProgram::Limited => {
                    readable && held.iter().zip(wanted).all(|(held, wanted)| held & wanted == *wanted)
                }
                SecondProgram::Never | SecondProgram::Unknown => false,
            }
    }

    /// Carries a change out to its end.
    ///
    /// # Errors
    /// Why the part would not; nothing is changed then.
    pub fn apply(&mut self, change: &Change) -> Result<(), FlashFault> {
        self.check(change)?;
        match change {
            Change::Erase { address } => self.erase(*address),
            Change::Program { address, data } => self.program(*address, data),
        }
        Ok(())
    }

    /// What a cut inside a change leaves.
    ///
    /// # Errors
    /// Why the part would not have begun the change.
    pub fn tear(&mut self, change: &Change, torn: Torn) -> Result<(), FlashFault> {
        self.check(change)?;
        torn::tear(self, change, torn);
        Ok(())
    }

    /// Declares that the contents of `area` do not matter: whoever runs on this flash erases them before reading them. Flashes
    /// that differ in don't-care cells only are equal. Reading such cells, or programming them, is a fault of its own, so
    /// that a wrong declaration cannot go unnoticed.
    pub fn mark_dont_care(&mut self, area: Region) {
        if self.is_dont_care(area) {
            return;
        }
        let layout = self.layout.clone();
        for sector in layout.sectors.iter().filter(|sector| sector.overlaps(area)) {
            let base = sector.base.max(area.base);
            let end = sector.end().min(area.end());
            self.blank(Region {
                base,
                size: (end - u64::from(base)) as u32,
            });
        }
        self.doubt(area, Some(DoubtKind::DontCare));
    }

    /// Makes cells read as erased, at little cost where they do already.
    fn blank(&mut self, area: Region) {
        let Some(index) = self.layout.sector_index(area.base) else {
            return;
        };
        if self.contents.sector(index).is_none_or(|sector| sector.sum == 0) {
            return;
        }
        let memory = self.layout.memory_at(area.base);
        if self.layout.sectors[index] == area {
            self.contents.replace(index, Sector::blank(area.size, &memory.blank));
        } else {
            let erased = memory.erased();
            self.store(area.base, &vec![erased; area.size as usize]);
        }
    }

    /// Puts one representative in the place of all contents of `area` that are alike to whoever reads them: erased cells, or
    /// cells that were begun and read as nothing whole; in this doubt.
    pub fn stand_in(&mut self, area: Region, blank: bool, kind: Option<DoubtKind>) {
        if blank {
            self.blank(area);
        } else {
            let programmed = !self.layout.memory_at(area.base).erased();
            self.store(area.base, &vec![programmed; area.size as usize]);
        }
        self.doubt(area, kind);
    }

    /// Puts bytes into cells, in this doubt, or in none: as if they had been programmed to the end.
    pub fn hold(&mut self, address: u32, bytes: &[u8], kind: Option<DoubtKind>) {
        let area = Region {
            base: address,
            size: bytes.len() as u32,
        };
        self.store(address, bytes);
        self.doubt(area, kind);
    }

    /// Whether any of `area` is don't-care.
    pub fn has_dont_care(&self, area: Region) -> bool {
        self.doubts.over(area).any(|doubt| doubt.kind == DoubtKind::DontCare)
    }

    /// Whether all of `area` is don't-care. Ranges that touch are one, so one holds all of it or none does.
    pub fn is_dont_care(&self, area: Region) -> bool {
        let covers = |doubt: &Doubt| doubt.area.base <= area.base && doubt.area.end() >= area.end();
        let mut here = self.doubts.over(area);
        here.any(|doubt| doubt.kind == DoubtKind::DontCare && covers(doubt))
    }

    /// Whether any of `area` may read differently from one read to the next.
    pub fn wavers(&self, area: Region) -> bool {
        self.doubts.over(area).any(|doubt| doubt.kind.wavers())
    }

    /// The doubts about cells of `area`.
    pub fn doubts_over(&self, area: Region) -> impl Iterator<Item = &Doubt> {
        self.doubts.over(area)
    }

    /// The sum of the sectors that `area` touches, as [`sum`](Self::sum) is of all.
    pub fn sum_of(&self, area: Region) -> u128 {
        let sectors = &self.layout.sectors;
        let first = sectors.partition_point(|sector| sector.end() <= u64::from(area.base));
        let behind = sectors.partition_point(|sector| u64::from(sector.base) < area.end());
        let touched = (first..behind).filter_map(|index| self.contents.sector(index));
        let cells = touched.fold(0_u128, |sum, sector| sum.wrapping_add(sector.sum));
        self.doubts
            .over(area)
            .fold(cells, |sum, doubt| sum.wrapping_add(self.key.doubt(doubt)))
    }

    fn inside(&self, address: u32, len: u32) -> Result<Region, FlashFault> {
        let region = Region {
            base: address,
            size: len,
        };
        if self.layout.holds(region) {
            Ok(region)
        } else {
            Err(FlashFault::OutOfRange { address, len })
        }
    }

    /// The page that holds `address`, and where in it; cut at the sector's end.
    fn page(&self, address: u32) -> Option<(&[u8], usize)> {
        let index = self.layout.sector_index(address)?;
        let sector = self.layout.sectors.get(index)?;
        let offset = (address - sector.base) as usize;
        let page = self.contents.sector(index)?.pages.get(offset / PAGE)?;
        let used = (sector.size as usize - offset / PAGE * PAGE).min(PAGE);
        Some((&page[..used], offset % PAGE))
    }

    fn erase(&mut self, address: u32) {
        let Some(index) = self.layout.sector_index(address) else {
            return;
        };
        let sector = self.layout.sectors[index];
        let blank = &self.layout.memory_at(address).blank;
        self.contents.replace(index, Sector::blank(sector.size, blank));
        self.doubt(sector, None);
    }

    /// From now on the cells of `area` are in this doubt and no other, or in none.
    fn doubt(&mut self, area: Region, kind: Option<DoubtKind>) {
        match kind {
            Some(kind) => Arc::make_mut(&mut self.doubts).add(area, kind),
            None if self.doubts.over(area).next().is_some() => Arc::make_mut(&mut self.doubts).end(area, |_| true),
            None => {}
        }
    }

    /// Programs cells to the end.
    fn program(&mut self, address: u32, data: &[u8]) {
        self.store(address, data);
        let area = Region {
            base: address,
            size: data.len() as u32,
        };
        if self.doubts.over(area).next().is_some() {
            Arc::make_mut(&mut self.doubts).programmed(area);
        }
    }

    /// Puts bytes into cells, whatever they held, and keeps the sums.
    fn store(&mut self, address: u32, data: &[u8]) {
        let layout = self.layout.clone();
        let key = self.key;
        let (mut at, mut data) = (address, data);
        while !data.is_empty() {
            let Some(index) = layout.sector_index(at) else { return };
            let region = layout.sectors[index];
            let offset = (at - region.base) as usize;
            let within = offset % PAGE;
            let taken = data.len().min(PAGE - within).min(region.size as usize - offset);
            let new = &data[..taken];
            let memory = layout.memory_at(at);
            let (granule, erased) = (memory.granule(), memory.erased());
            self.contents.alter(index, |sector| {
                let cells = &mut Arc::make_mut(&mut sector.pages[offset / PAGE])[within..within + taken];
                sector.sum = sector
                    .sum
                    .wrapping_sub(key.cells(at, cells, granule, erased))
                    .wrapping_add(key.cells(at, new, granule, erased));
                cells.copy_from_slice(new);
            });
            data = &data[taken..];
            at = at.wrapping_add(taken as u32);
        }
    }
}

#[cfg(test)]
mod tests;
