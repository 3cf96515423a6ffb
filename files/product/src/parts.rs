//! What the product file needs to know of electronic parts. The parts table itself is the caller's.

use packstaff_document::Range;

/// A table of parts.
pub trait PartBook {
    /// The flash of the microcontroller, or of the memory, with this identifier.
    fn flash(&self, id: &str) -> Option<FlashPart>;

    /// Whether this identifier is a memory that can hold settings.
    fn is_settings_memory(&self, id: &str) -> bool;

    /// Every identifier, to tell a maker which one was probably meant.
    fn identifiers(&self) -> Vec<String>;
}

/// The flash of a microcontroller, or a memory of its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FlashPart {
    /// The core, as the parts table spells it.
    pub core: String,
    /// Address of the first sector.
    pub base: u32,
    /// How many sectors of how many bytes, upward from `base`.
    pub sectors: Vec<(u32, u32)>,
}

impl FlashPart {
    /// All of it; `None` if it reaches beyond 4 GiB.
    pub(crate) fn extent(&self) -> Option<Range> {
        let sizes = self.sectors.iter().map(|(count, size)| count.checked_mul(*size));
        let size = sizes.into_iter().try_fold(0_u32, |sum, size| sum.checked_add(size?))?;
        Range::new(self.base, size).ok()
    }

    /// Start and end of the sector that holds `address`.
    fn sector_at(&self, address: u64) -> Option<(u64, u64)> {
        let mut run_start = u64::from(self.base);
        for &(count, size) in &self.sectors {
            let (count, size) = (u64::from(count), u64::from(size));
            let run_end = run_start.checked_add(count.checked_mul(size)?)?;
            if (run_start..run_end).contains(&address) {
                let start = run_start + (address - run_start) / size * size;
                return Some((start, start + size));
            }
            run_start = run_end;
        }
        None
    }

    /// Why `range` is not made of whole sectors, if it is not.
    pub(crate) fn against_whole_sectors(&self, range: Range) -> Option<String> {
        let (first, last) = (u64::from(range.start()), range.end() - 1);
        let Some((start, _)) = self.sector_at(first) else {
            return Some(format!("there is no flash at {first:#010x}"));
        };
        let Some((_, end)) = self.sector_at(last) else {
            return Some(format!("there is no flash at {last:#010x}"));
        };
        if start != first {
            return Some(format!("it starts inside the sector that begins at {start:#010x}"));
        }
        (end != range.end()).then(|| format!("it ends inside the sector that ends at {:#010x}", end - 1))
    }

    /// Why `range` is not exactly one sector, if it is not.
    pub(crate) fn against_one_sector(&self, range: Range) -> Option<String> {
        let whole = self.against_whole_sectors(range);
        let one = self
            .sector_at(u64::from(range.start()))
            .is_some_and(|(_, end)| end == range.end());
        whole.or_else(|| (!one).then(|| "it must be exactly one sector".to_owned()))
    }
}
