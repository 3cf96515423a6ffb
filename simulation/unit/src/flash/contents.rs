//! What all cells hold, shared between copies: a change copies one page, one sector's list of pages, and two short lists above
//! it, whatever the size of the part.

use std::sync::Arc;

/// Bytes of a page, the portion in which contents are shared.
pub(super) const PAGE: usize = 512;

/// Sectors of a bank. With n sectors a change copies a list of n / 16 banks and one of 16 sectors.
const BANK: usize = 16;

pub(super) type Page = [u8; PAGE];

/// One sector.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Sector {
    pub(super) pages: Vec<Arc<Page>>,
    /// The keyed sum over its cells; 0 if all are erased.
    pub(super) sum: u128,
}

impl Sector {
    /// All cells erased.
    pub(super) fn blank(bytes: u32, page: &Arc<Page>) -> Arc<Self> {
        Arc::new(Self {
            pages: vec![page.clone(); (bytes as usize).div_ceil(PAGE)],
            sum: 0,
        })
    }
}

/// All sectors, and the sum over them.
#[derive(Clone, Debug)]
pub(super) struct Contents {
    banks: Arc<Vec<Arc<Vec<Arc<Sector>>>>>,
    sum: u128,
}

impl PartialEq for Contents {
    fn eq(&self, other: &Self) -> bool {
        self.sum == other.sum && (Arc::ptr_eq(&self.banks, &other.banks) || self.banks == other.banks)
    }
}

impl Eq for Contents {}

impl Contents {
    /// From the sectors in order.
    pub(super) fn new(sectors: &[Arc<Sector>]) -> Self {
        let sum = sectors.iter().fold(0_u128, |sum, sector| sum.wrapping_add(sector.sum));
        let banks = sectors.chunks(BANK).map(|bank| Arc::new(bank.to_vec())).collect();
        Self {
            banks: Arc::new(banks),
            sum,
        }
    }

    /// The keyed sum over all cells.
    pub(super) const fn sum(&self) -> u128 {
        self.sum
    }

    pub(super) fn sector(&self, index: usize) -> Option<&Arc<Sector>> {
        self.banks.get(index / BANK)?.get(index % BANK)
    }

    /// Puts a whole sector in the place of another. An index that is too large changes nothing.
    pub(super) fn replace(&mut self, index: usize, sector: Arc<Sector>) {
        self.change(index, |held| *held = sector);
    }

    /// Changes one sector in place, its sum included. An index that is too large changes nothing.
    pub(super) fn alter(&mut self, index: usize, alter: impl FnOnce(&mut Sector)) {
        self.change(index, |held| alter(Arc::make_mut(held)));
    }

    fn change(&mut self, index: usize, change: impl FnOnce(&mut Arc<Sector>)) {
        if self.sector(index).is_none() {
            return;
        }
        let bank = Arc::make_mut(&mut Arc::make_mut(&mut self.banks)[index / BANK]);
        let held = &mut bank[index % BANK];
        let before = held.sum;
        change(held);
        self.sum = self.sum.wrapping_sub(before).wrapping_add(held.sum);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sectors(count: usize) -> Contents {
        let page = Arc::new([0xff; PAGE]);
        let blank = Sector::blank(1024, &page);
        Contents::new(&vec![blank; count])
    }

    #[test]
    fn a_change_shows_in_one_copy_and_in_the_sum() {
        let before = sectors(40);
        let mut after = before.clone();
        after.alter(33, |sector| {
            Arc::make_mut(&mut sector.pages[1])[7] = 0;
            sector.sum = 5;
        });
        assert_ne!(before, after);
        assert_eq!((before.sum(), after.sum()), (0, 5));
        assert_eq!(after.sector(33).unwrap().pages[1][7], 0);
        assert_eq!(before.sector(33).unwrap().pages[1][7], 0xff);
        after.replace(33, before.sector(33).unwrap().clone());
        assert_eq!(before, after);
    }

    #[test]
    fn what_is_not_there_is_not_changed() {
        let mut contents = sectors(3);
        contents.alter(3, |sector| sector.sum = 1);
        assert_eq!(contents, sectors(3));
        assert!(contents.sector(3).is_none());
    }
}
