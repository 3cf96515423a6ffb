//! One place for images: what may be there, and what an install can have been doing to it.

use crate::cells::Cells;
use crate::compare::{Beginning, beginning, request, torn_program};
use crate::hypothesis::{Hypothesis, Where, Work};
use crate::known::{KindOfUnit, ReleaseId};
use crate::records::{DescriptorSeen, MarkSeen, Records};
use packstaff_envelope::sha256;
use packstaff_installer::{DESCRIPTOR_LEN, Descriptor, Region};
use packstaff_unit::blueprint::Blueprint;

/// All that is looked at.
pub(crate) struct Ground<'a> {
    pub(crate) kind: &'a KindOfUnit,
    pub(crate) blueprint: &'a Blueprint,
    pub(crate) cells: &'a Cells,
    pub(crate) records: &'a Records,
}

/// What the slot comes to, in one reading of what is not known.
pub(crate) enum Stood {
    /// The image of this descriptor stands.
    Stands(Descriptor),
    /// None stands, and this is why.
    Hypothesis(Hypothesis),
}

/// A descriptor as it may be.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Case {
    Whole(Descriptor),
    Blank,
    Remnant,
}

impl Ground<'_> {
    pub(crate) fn ids(&self, of: &[usize]) -> Vec<ReleaseId> {
        self.kind.ids(of)
    }

    pub(crate) fn id(&self, of: Option<usize>) -> Option<ReleaseId> {
        self.kind.ids(of.as_slice()).pop()
    }

    fn granule(&self, place: Region) -> u32 {
        self.blueprint.layout.memory_at(place.base).granule()
    }

    /// Whether the image of a descriptor lies at the start of a place; `None` if not all of it was read.
    pub(crate) fn holds(&self, place: Region, descriptor: &Descriptor) -> Option<bool> {
        let image = Region {
            base: place.base,
            size: descriptor.image_size,
        };
        if descriptor.image_size > place.size {
            return Some(false);
        }
        if let Some(bytes) = self.cells.bytes(image) {
            return Some(sha256(bytes) == descriptor.image_digest);
        }
        if self.cells.unsteady_count(image) > 0 || self.cells.unreadable_count(image) > 0 {
            return Some(false);
        }
        let known = self
            .kind
            .named(descriptor)
            .and_then(|index| self.kind.releases.get(index));
        let differs = known.is_some_and(|release| {
            let mut read = self.cells.each(image).zip(&release.image);
            read.any(|(read, wanted)| read.is_some_and(|read| read != *wanted))
        });
        differs.then_some(false)
    }

    pub(crate) fn blank(&self, place: Region) -> bool {
        self.cells.may_be_blank(place)
            && self.cells.unsteady_count(place) == 0
            && self.cells.unreadable_count(place) == 0
    }

    /// The slot without its descriptor.
    fn body(&self) -> Region {
        let slot = self.blueprint.slot;
        Region {
            base: slot.base,
            size: slot.size.saturating_sub(self.blueprint.config().place().size()),
        }
    }

    /// A slot with a descriptor at its end.
    pub(crate) fn slot(&self) -> Vec<Stood> {
        let marks: &[bool] = match self.records.mark {
            MarkSeen::Blank => &[true],
            MarkSeen::Programmed => &[false],
            MarkSeen::NotRead => &[true, false],
        };
        let mut found = Vec::new();
        for unvoided in marks {
            match unvoided {
                true => self
                    .descriptors()
                    .into_iter()
                    .for_each(|case| found.extend(self.unvoided(case))),
                false => found.push(Stood::Hypothesis(self.erasing(self.body(), Where::Slot))),
            }
        }
        if self.records.descriptor == DescriptorSeen::NotRead {
            // Damage is to be seen, not to be thought of wherever something was not read.
            found.retain(|stood| !matches!(stood, Stood::Hypothesis(hypothesis) if hypothesis.work == Work::Damaged));
        }
        found
    }

    /// What the descriptor may be.
    fn descriptors(&self) -> Vec<Case> {
        match self.records.descriptor {
            DescriptorSeen::Whole(descriptor) => vec![Case::Whole(descriptor)],
            DescriptorSeen::Blank => vec![Case::Blank],
            DescriptorSeen::Remnant => vec![Case::Remnant],
            DescriptorSeen::NotRead => {
                let record = self.record();
                let fits = |descriptor: &Descriptor| {
                    let mut read = self.cells.each(record).zip(descriptor.encode());
                    read.all(|(read, wanted)| read.is_none_or(|read| read == wanted))
                };
                let known = self.kind.releases.iter().map(crate::known::Release::descriptor);
                let blank = self.cells.may_be_blank(record).then_some(Case::Blank);
                known
                    .filter(fits)
                    .map(Case::Whole)
                    .chain(blank)
                    .chain([Case::Remnant])
                    .collect()
            }
        }
    }

    fn record(&self) -> Region {
        Region {
            base: self.blueprint.config().place().record.base,
            size: DESCRIPTOR_LEN as u32,
        }
    }

    /// The slot, its void mark being erased.
    fn unvoided(&self, case: Case) -> Vec<Stood> {
        let body = self.body();
        let damaged = || Stood::Hypothesis(Hypothesis::of(Work::Damaged, Where::Slot));
        match case {
            Case::Whole(descriptor) if descriptor.image_size > self.blueprint.config().usable() => vec![damaged()],
            Case::Whole(descriptor) => match self.holds(body, &descriptor) {
                Some(true) => vec![Stood::Stands(descriptor)],
                Some(false) => vec![damaged()],
                None => vec![Stood::Stands(descriptor), damaged()],
            },
            Case::Blank => {
                let new = self.blank(body) && self.records.register_may_be_new();
                let new = new.then(|| Hypothesis::of(Work::Nothing, Where::Slot));
                let changing = self.changing(body, Where::Slot, true);
                new.into_iter().chain(changing).map(Stood::Hypothesis).collect()
            }
            Case::Remnant => self.remnant(body).into_iter().map(Stood::Hypothesis).collect(),
        }
    }

    /// Something is in the descriptor's place that is none.
    fn remnant(&self, body: Region) -> Vec<Hypothesis> {
        let granule = self.granule(body);
        let place = self.blueprint.config().place();
        let mut found = Vec::new();
        for (index, release) in self.kind.releases.iter().enumerate() {
            let Some(there) = beginning(self.cells, body, &release.image, granule) else {
                continue;
            };
            if there.whole && torn_program(self.cells, place.record, &release.descriptor().encode(), granule) {
                let size = release.image.len() as u32;
                found.push(Hypothesis {
                    installing: self.ids(&[index]),
                    written: Some((size, size)),
                    ..Hypothesis::of(Work::Recording, Where::Slot)
                });
            }
        }
        merge(&mut found);
        // An erase that was cut in the middle of its sector can leave the lower part of a descriptor in front of an erased mark.
        let own = self.blueprint.layout.sector_at(place.record.base);
        let cuts_record = own.is_some_and(|own| {
            let middle = own.base.wrapping_add(own.size / 2);
            middle > place.record.base && u64::from(middle) < place.record.end()
        });
        if found.is_empty() || cuts_record {
            found.push(self.erasing(body, Where::Slot));
        }
        found
    }

    /// A place without a descriptor of its own, beside the image that runs.
    pub(crate) fn unmarked(&self, place: Region, name: Where, running: Option<usize>) -> Vec<Hypothesis> {
        let runs = self.id(running);
        let mut found = Vec::new();
        let whole = self.whole(place);
        let blank = self.blank(place);
        // What the last install left behind, or nothing yet.
        let before = !whole.is_empty() || blank;
        if before && (running.is_some() || (blank && self.records.register_may_be_new())) {
            found.push(Hypothesis::of(Work::Nothing, name));
        }
        // The first sector is erased first, so a whole image has not begun to be erased.
        let erasable = whole.is_empty() || self.cells.unknown_count(place) > 0;
        found.extend(self.changing(place, name, erasable));
        found
            .into_iter()
            .map(|hypothesis| Hypothesis {
                runs: runs.clone(),
                ..hypothesis
            })
            .collect()
    }

    /// Hypotheses in which what lies whole in a place is being recorded as the image that counts.
    pub(crate) fn being_recorded(&self, place: Region, name: Where, running: Option<usize>) -> Vec<Hypothesis> {
        let mut found: Vec<_> = self
            .whole(place)
            .into_iter()
            .map(|index| {
                let size = self
                    .kind
                    .releases
                    .get(index)
                    .map_or(0, |release| release.image.len() as u32);
                Hypothesis {
                    installing: self.ids(&[index]),
                    written: Some((size, size)),
                    runs: self.id(running),
                    ..Hypothesis::of(Work::Recording, name)
                }
            })
            .collect();
        merge(&mut found);
        found
    }

    /// The releases that lie in a place whole, with erased cells behind them.
    fn whole(&self, place: Region) -> Vec<usize> {
        let granule = self.granule(place);
        let releases = self.kind.releases.iter().enumerate();
        let there = releases.filter(|(_, release)| {
            beginning(self.cells, place, &release.image, granule).is_some_and(|there| there.whole && !there.blank)
        });
        there.map(|(index, _)| index).collect()
    }

    /// Hypotheses in which a place is being written.
    fn written(&self, body: Region, name: Where) -> Vec<Hypothesis> {
        let granule = self.granule(body);
        let first = Region {
            base: body.base,
            size: granule,
        };
        let mut there: Vec<(usize, Beginning)> = Vec::new();
        for (index, release) in self.kind.releases.iter().enumerate() {
            if let Some(found) = beginning(self.cells, body, &release.image, granule) {
                there.push((index, found));
            }
        }
        // A place that reads as erased was not begun to be written, unless its beginning was not read.
        let unread = self.cells.bytes(first).is_none();
        there.retain(|(_, found)| !found.blank || unread);
        let mut found: Vec<Hypothesis> = there
            .iter()
            .map(|(index, there)| {
                let size = self
                    .kind
                    .releases
                    .get(*index)
                    .map_or(0, |release| release.image.len() as u32);
                Hypothesis {
                    installing: self.ids(&[*index]),
                    written: Some((there.agrees, size)),
                    torn: there.torn,
                    ..Hypothesis::of(Work::Writing, name)
                }
            })
            .collect();
        merge(&mut found);
        found
    }

    /// Hypotheses in which a place is being written or erased, likelier first.
    fn changing(&self, body: Region, name: Where, erasable: bool) -> Vec<Hypothesis> {
        let mut found = self.written(body, name);
        let first = Region {
            base: body.base,
            size: request(self.granule(body)),
        };
        let erasing = erasable.then(|| self.erasing(body, name));
        if !found.is_empty() || self.blank(first) {
            found.extend(erasing);
            return found;
        }
        // A stick that is swapped between the two passes gives bytes that are of no release. They are written, and not started.
        let foreign = Hypothesis::of(Work::Writing, name);
        match erasing {
            Some(erasing) if !erasing.remains.is_empty() => vec![erasing, foreign],
            other => [foreign].into_iter().chain(other).collect(),
        }
    }

    /// The hypothesis in which a place is being erased.
    fn erasing(&self, body: Region, name: Where) -> Hypothesis {
        Hypothesis {
            remains: self.remains(body),
            ..Hypothesis::of(Work::Erasing, name)
        }
    }

    /// Releases of which at least one sector, erased ones not counted, lies in a place exactly.
    fn remains(&self, body: Region) -> Vec<ReleaseId> {
        let sectors = || {
            let all = self
                .blueprint
                .layout
                .sectors()
                .iter()
                .filter(|sector| sector.overlaps(body));
            all.map(|sector| {
                let end = sector.end().min(body.end());
                let base = sector.base.max(body.base);
                Region {
                    base,
                    size: (end - u64::from(base)) as u32,
                }
            })
        };
        let holds = |image: &[u8]| {
            sectors().any(|sector| {
                let from = sector.base.saturating_sub(body.base) as usize;
                let part = image.get(from..).unwrap_or_default();
                let part = part.get(..sector.size as usize).unwrap_or(part);
                let wanted = part.iter().copied().chain(std::iter::repeat(self.cells.erased(body)));
                !self.blank(sector)
                    && self
                        .cells
                        .bytes(sector)
                        .is_some_and(|bytes| bytes.iter().copied().zip(wanted).all(|(read, wanted)| read == wanted))
            })
        };
        let there = self
            .kind
            .releases
            .iter()
            .enumerate()
            .filter(|(_, release)| holds(&release.image));
        self.ids(&there.map(|(index, _)| index).collect::<Vec<_>>())
    }
}

/// Hypotheses that differ in the release alone are one.
fn merge(hypotheses: &mut Vec<Hypothesis>) {
    let mut merged = Vec::<Hypothesis>::new();
    for hypothesis in hypotheses.drain(..) {
        let same = |other: &&mut Hypothesis| {
            Hypothesis {
                installing: Vec::new(),
                ..(*other).clone()
            } == Hypothesis {
                installing: Vec::new(),
                ..hypothesis.clone()
            }
        };
        match merged.iter_mut().find(same) {
            Some(other) => {
                for id in hypothesis.installing {
                    if !other.installing.contains(&id) {
                        other.installing.push(id);
                    }
                }
            }
            None => merged.push(hypothesis),
        }
    }
    *hypotheses = merged;
}
