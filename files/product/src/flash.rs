//! Whether ranges suit the sectors of a flash.

use packstaff_document::Range;
use packstaff_parts::Part;

/// A flash at its place among the addresses.
pub(crate) struct Flash<'p> {
    part: &'p Part,
    base: u32,
}

impl<'p> Flash<'p> {
    /// The flash of a microcontroller, at its own address.
    pub(crate) const fn of(part: &'p Part) -> Self {
        Self { part, base: part.base }
    }

    /// A memory whose first byte a driver shows at `base`.
    pub(crate) const fn at(part: &'p Part, base: u32) -> Self {
        Self { part, base }
    }

    /// What the parts table calls it.
    pub(crate) fn id(&self) -> &'p str {
        &self.part.id
    }

    /// The core beside it, as the parts table spells it.
    pub(crate) fn core(&self) -> &'p str {
        self.part.core.as_deref().unwrap_or_default()
    }

    /// All of it; `None` if it reaches beyond 4 GiB.
    pub(crate) fn extent(&self) -> Option<Range> {
        Range::new(self.base, self.part.size_bytes).ok()
    }

    /// Start and end of the sector that holds `address`.
    fn sector_at(&self, address: u64) -> Option<(u64, u64)> {
        let mut run_start = u64::from(self.base);
        for run in &self.part.sectors {
            let (count, size) = (u64::from(run.count), u64::from(run.size));
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
