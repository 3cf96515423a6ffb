//! Cells that are not to be trusted, and why.

use packstaff_installer::Region;

/// Why cells are not to be trusted. All but [`DoubtKind::DontCare`] end when the cells' sector is erased to the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DoubtKind {
    /// Their programming was begun: some bits have changed, others not. They read the same each time.
    Begun,
    /// Their check bits do not fit: the part reports an error when they are read.
    Unreadable,
    /// Their programming was cut at its end: they read as programmed now, and later so, as erased, or as neither.
    Wavering,
    /// Their erase was cut at its end: they read as erased now, and may be programmed; but later they may read otherwise, also
    /// once they are programmed.
    Faint,
    /// Their erase was cut after they were erased, and before other cells of their sector were. They read as erased.
    Parted,
    /// Their erase was cut in the middle: they read as anything, and not the same each time.
    Noise,
    /// Their contents do not matter, because nobody will read them before they are erased: see [`super::Flash::mark_dont_care`].
    DontCare,
}

impl DoubtKind {
    /// Whether such cells may read differently from one read to the next.
    pub const fn wavers(self) -> bool {
        matches!(self, Self::Wavering | Self::Faint | Self::Noise)
    }

    /// Whether such cells, whatever they read as now, may read as erased the next time.
    pub const fn may_read_erased(self) -> bool {
        matches!(self, Self::Wavering | Self::Faint)
    }

    /// Whether such cells were erased, as far as a part can tell that is asked to program them.
    pub const fn is_erased(self) -> bool {
        matches!(self, Self::Faint | Self::Parted)
    }

    /// Whether a program of such cells that is carried out to its end leaves them in no doubt.
    const fn ends_with_a_program(self) -> bool {
        matches!(self, Self::Begun | Self::Wavering | Self::Parted | Self::Noise)
    }
}

/// Cells that are not to be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Doubt {
    /// Which cells.
    pub area: Region,
    /// Why.
    pub kind: DoubtKind,
}

/// All doubts about a flash, upward, none overlapping another; neighbours of one kind are one, so that equal worlds have equal
/// doubts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Doubts(Vec<Doubt>);

impl Doubts {
    pub(super) fn as_slice(&self) -> &[Doubt] {
        &self.0
    }

    pub(super) fn over(&self, area: Region) -> impl Iterator<Item = &Doubt> {
        self.0.iter().filter(move |doubt| doubt.area.overlaps(area))
    }

    /// Doubts about cells of `area` end, those that `which` names; outside they stay.
    pub(super) fn end(&mut self, area: Region, which: impl Fn(DoubtKind) -> bool) {
        let ends = |doubt: &Doubt| doubt.area.overlaps(area) && which(doubt.kind);
        if !self.0.iter().any(ends) {
            return;
        }
        let mut kept = Vec::with_capacity(self.0.len() + 1);
        for doubt in &self.0 {
            if !ends(doubt) {
                kept.push(*doubt);
                continue;
            }
            let part = |base: u64, end: u64| {
                let size = u32::try_from(end.saturating_sub(base)).ok().filter(|size| *size > 0)?;
                let base = u32::try_from(base).ok()?;
                Some(Doubt {
                    area: Region { base, size },
                    kind: doubt.kind,
                })
            };
            kept.extend(part(u64::from(doubt.area.base), u64::from(area.base)));
            kept.extend(part(area.end(), doubt.area.end()));
        }
        self.0 = kept;
    }

    /// A program of `area` was carried out to its end.
    pub(super) fn programmed(&mut self, area: Region) {
        self.end(area, DoubtKind::ends_with_a_program);
    }

    /// From now on all cells of `area` are in this doubt, and no other.
    pub(super) fn add(&mut self, area: Region, kind: DoubtKind) {
        self.end(area, |_| true);
        let place = self.0.partition_point(|held| held.area.base < area.base);
        self.0.insert(place, Doubt { area, kind });
        self.join(place);
        if let Some(before) = place.checked_sub(1) {
            self.join(before);
        }
    }

    /// Joins a doubt with the one behind it, if they touch and are of one kind.
    fn join(&mut self, place: usize) {
        let (Some(one), Some(next)) = (self.0.get(place), self.0.get(place + 1)) else {
            return;
        };
        if one.kind == next.kind
            && one.area.end() == u64::from(next.area.base)
            && let Some(size) = one.area.size.checked_add(next.area.size)
        {
            self.0[place].area.size = size;
            self.0.remove(place + 1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const KINDS: [DoubtKind; 7] = [
        DoubtKind::Begun,
        DoubtKind::Unreadable,
        DoubtKind::Wavering,
        DoubtKind::Faint,
        DoubtKind::Parted,
        DoubtKind::Noise,
        DoubtKind::DontCare,
    ];

    proptest! {
        /// Against the plainest form there is: a kind, or none, for each cell.
        #[test]
        fn cell_by_cell(steps in proptest::collection::vec((0_u32..40, 1_u32..20, 0_usize..9), 0..30)) {
            let mut doubts = Doubts::default();
            let mut cells = [None; 60];
            for (base, size, what) in steps {
                let area = Region { base, size };
                let touched = &mut cells[base as usize..(base + size) as usize];
                match KINDS.get(what) {
                    Some(kind) => {
                        doubts.add(area, *kind);
                        touched.fill(Some(*kind));
                    }
                    None if what == 7 => {
                        doubts.programmed(area);
                        for cell in touched.iter_mut().filter(|cell| cell.is_some_and(DoubtKind::ends_with_a_program)) {
                            *cell = None;
                        }
                    }
                    None => {
                        doubts.end(area, |_| true);
                        touched.fill(None);
                    }
                }
            }
            let mut seen = [None; 60];
            for doubt in doubts.as_slice() {
                seen[doubt.area.base as usize..doubt.area.end() as usize].fill(Some(doubt.kind));
            }
            prop_assert_eq!(seen, cells);
            for pair in doubts.as_slice().windows(2) {
                let touch = pair[0].area.end() == u64::from(pair[1].area.base);
                prop_assert!(pair[0].area.end() <= u64::from(pair[1].area.base));
                prop_assert!(!touch || pair[0].kind != pair[1].kind);
            }
        }
    }
}
