//! A simulated EEPROM or FRAM.

use super::torn::PageCut;
use crate::flash::SumKey;
use std::collections::BTreeSet;
use std::sync::Arc;

/// What kind it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PageKind {
    /// Writes are refreshed by the page.
    Eeprom,
    /// Each byte is stored as it arrives.
    Fram,
}

/// The contents of an EEPROM or an FRAM.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pages {
    kind: PageKind,
    base: u32,
    page: u32,
    cells: Arc<Vec<u8>>,
    /// Numbers of pages that may read differently from one read to the next.
    wavering: BTreeSet<u32>,
    /// Number of a page that no longer holds what is written into it.
    worn: Option<u32>,
}

impl Pages {
    /// A new part, all bytes 0xff, of `size` bytes from the address `base`, in pages of `page` bytes.
    pub fn new(kind: PageKind, base: u32, size: u32, page: u32) -> Self {
        Self {
            kind,
            base,
            page: page.max(1),
            cells: Arc::new(vec![0xff; size as usize]),
            wavering: BTreeSet::new(),
            worn: None,
        }
    }

    fn range(&self, address: u32, len: u32) -> Option<std::ops::Range<usize>> {
        let start = address.checked_sub(self.base)? as usize;
        let end = start.checked_add(len as usize)?;
        (end <= self.cells.len()).then_some(start..end)
    }

    /// The page of an address.
    fn page_of(&self, address: u32) -> u32 {
        address.wrapping_sub(self.base) / self.page
    }

    fn extent(&self, page: u32) -> std::ops::Range<usize> {
        let start = (page * self.page) as usize;
        start..(start + self.page as usize).min(self.cells.len())
    }

    /// Why the part would not carry out a write: outside of it, or across the end of a page, where a real part goes on at the
    /// page's own beginning (DS20001203W, 6.2, note).
    pub(super) fn refuses(&self, address: u32, len: u32) -> Option<String> {
        if self.range(address, len).is_none() || len == 0 {
            return Some(format!(
                "{len} bytes at {address:#06x} are not inside the settings memory"
            ));
        }
        let crosses = self.kind == PageKind::Eeprom && self.page_of(address) != self.page_of(address + len - 1);
        crosses.then(|| {
            format!(
                "{len} bytes at {address:#06x} cross the end of a page of {} bytes",
                self.page
            )
        })
    }

    /// Bytes as they stand, or, where they waver, as they may read otherwise.
    pub(super) fn read(&self, address: u32, len: u32, otherwise: bool) -> Option<Vec<u8>> {
        let range = self.range(address, len)?;
        let mut bytes = self.cells.get(range)?.to_vec();
        if otherwise {
            for (byte, at) in bytes.iter_mut().zip(address..) {
                if self.wavering.contains(&self.page_of(at)) {
                    *byte ^= 0xa5;
                }
            }
        }
        Some(bytes)
    }

    pub(super) fn wavers(&self, address: u32, len: u32) -> bool {
        let last = self.page_of(address + len.saturating_sub(1));
        self.wavering.range(self.page_of(address)..=last).next().is_some()
    }

    /// Carries a write out to its end: the page is as good as new after that, unless it is worn out.
    pub(super) fn write(&mut self, address: u32, data: &[u8]) {
        let Some(range) = self.range(address, data.len() as u32) else {
            return;
        };
        let cells = Arc::make_mut(&mut self.cells);
        cells[range.clone()].copy_from_slice(data);
        let pages = self.page_of(address)..=self.page_of(address + data.len() as u32 - 1);
        if self.worn.is_some_and(|worn| pages.contains(&worn)) {
            // One bit that no longer holds, in the last byte that was sent: the least that can be wrong.
            Arc::make_mut(&mut self.cells)[range.end - 1] ^= 1;
        }
        pages.for_each(|page| {
            self.wavering.remove(&page);
        });
    }

    /// Declares the page of this address worn out, from the next write on. Only one page can be.
    pub fn wear_out(&mut self, address: u32) {
        self.worn = Some(self.page_of(address));
    }

    /// Whether a page is worn out.
    pub fn is_worn(&self) -> bool {
        self.worn.is_some()
    }

    /// Every way in which a cut can fall inside a write of so many bytes.
    pub(super) fn outcomes(&self, len: u32) -> Vec<PageCut> {
        let fronts = (1..len).map(PageCut::Front);
        if self.kind == PageKind::Fram {
            return fronts.collect();
        }
        let neighbours = (len < self.page).then_some(PageCut::Neighbours);
        fronts
            .chain((1..len).map(PageCut::Back))
            .chain([PageCut::Erased, PageCut::Noise, PageCut::Wavering])
            .chain(neighbours)
            .collect()
    }

    /// What a cut inside a write leaves.
    pub(super) fn tear(&mut self, address: u32, data: &[u8], cut: PageCut) {
        let Some(range) = self.range(address, data.len() as u32) else {
            return;
        };
        let page = self.page_of(address);
        let extent = self.extent(page);
        let cells = Arc::make_mut(&mut self.cells);
        let noise = |at: usize| (at as u8).wrapping_mul(0x9d) ^ 0x6b;
        let wavers = match cut {
            PageCut::Front(bytes) => {
                let bytes = (bytes as usize).min(data.len());
                cells[range.start..range.start + bytes].copy_from_slice(&data[..bytes]);
                false
            }
            PageCut::Back(bytes) => {
                let kept = data.len().saturating_sub(bytes as usize);
                cells[range.start + kept..range.end].copy_from_slice(&data[kept..]);
                false
            }
            PageCut::Erased => {
                cells[extent].fill(0xff);
                false
            }
            PageCut::Neighbours => {
                extent.for_each(|at| cells[at] = noise(at));
                cells[range].copy_from_slice(data);
                false
            }
            PageCut::Noise => {
                extent.for_each(|at| cells[at] = noise(at));
                true
            }
            PageCut::Wavering => {
                cells[range].copy_from_slice(data);
                true
            }
        };
        if wavers {
            self.wavering.insert(page);
        }
    }

    pub(super) fn sum(&self, key: &SumKey) -> u128 {
        key.hash(&(&*self.cells, &self.wavering, self.worn))
    }

    /// Takes back every doubt about a range of whole pages.
    pub fn trust(&mut self, address: u32, len: u32) {
        let last = self.page_of(address + len.saturating_sub(1));
        let first = self.page_of(address);
        self.wavering.retain(|page| *page < first || *page > last);
    }

    /// Puts the page of an address in doubt.
    pub fn doubt(&mut self, address: u32) {
        self.wavering.insert(self.page_of(address));
    }

    /// Puts bytes in place without a write: for starting points, and for taking alike worlds together.
    pub fn hold(&mut self, address: u32, bytes: &[u8]) {
        if let Some(range) = self.range(address, bytes.len() as u32) {
            Arc::make_mut(&mut self.cells)[range].copy_from_slice(bytes);
        }
    }
}
