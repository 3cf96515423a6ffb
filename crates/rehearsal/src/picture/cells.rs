//! What flash holds, in the words of an install: which runs of cells are erased, or part of which image.

use installer::{DESCRIPTOR_LEN, Descriptor, Layout, REGISTER_LEN, Record, Region, VOID_MARK_LEN};
use unit::blueprint::Blueprint;
use unit::flash::{Doubt, Flash, Kind};

/// Bytes that are read at a time.
const PIECE: u32 = 512;

/// An image that cells are compared with.
#[derive(Clone, Debug)]
pub struct KnownImage {
    /// What to call it: its version.
    pub name: String,
    /// Its bytes, from its place's start.
    pub bytes: Vec<u8>,
}

/// What a run of cells holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Content {
    /// Erased.
    Erased,
    /// Part of the image of this number.
    Image(usize),
    /// Neither erased nor part of an image at this place.
    Neither,
    /// Something that nobody reads before it is erased, and that was not followed.
    NotFollowed,
}

/// Cells with the same contents.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    /// Which cells.
    pub area: Region,
    /// What they hold.
    pub content: Content,
}

/// What a record's place holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Entry<T> {
    /// Erased cells.
    Blank,
    /// A whole record.
    Whole(T),
    /// Something else.
    Remnant,
}

/// One world, in the words of an install.
#[derive(Clone, Debug, PartialEq)]
pub struct Cells {
    /// Whether the installer's region is as it was in the beginning.
    pub installer_kept: bool,
    /// Whether everything outside installer, register and slots is as it was in the beginning.
    pub outside_kept: bool,
    /// The two records of the register.
    pub register: [Entry<Record>; 2],
    /// What may hold an image, without the descriptor: the slot, and the stage or the second slot if there is one. Upward.
    pub places: Vec<Vec<Run>>,
    /// The slot's descriptor.
    pub descriptor: Entry<Descriptor>,
    /// Whether the void mark's cells are erased still: the descriptor stands only then.
    pub unvoided: bool,
    /// Cells that are not to be trusted.
    pub doubts: Vec<Doubt>,
}

impl Cells {
    /// Looks at a world. `first` is the world in the beginning.
    pub fn of(blueprint: &Blueprint, images: &[KnownImage], first: &Flash, flash: &Flash) -> Self {
        let place = blueprint.config().place();
        let kept = |region: Region| first.sum_of(region) == flash.sum_of(region);
        let ours = |sector: &Region| {
            blueprint.places().any(|place| place.overlaps(*sector))
                || blueprint.installer.overlaps(*sector)
                || blueprint.floors.contains(sector)
        };
        let sectors = flash.layout().sectors();
        let record = |region: Region| entry(flash, region, REGISTER_LEN as u32, Record::decode);
        Self {
            installer_kept: kept(blueprint.installer),
            outside_kept: sectors
                .iter()
                .filter(|sector| !ours(sector))
                .all(|sector| kept(*sector)),
            register: blueprint.floors.map(record),
            places: image_areas(blueprint).map(|area| runs(flash, area, images)).collect(),
            descriptor: entry(flash, place.record, DESCRIPTOR_LEN as u32, Descriptor::decode),
            unvoided: flash.is_blank(place.void.base, VOID_MARK_LEN as u32) == Ok(true),
            doubts: flash
                .doubts()
                .iter()
                .copied()
                .filter(|doubt| doubt.kind != Kind::Buried)
                .collect(),
        }
    }
}

/// Each range that may hold an image, without the descriptor behind it.
pub(super) fn image_areas(blueprint: &Blueprint) -> impl Iterator<Item = Region> + '_ {
    let record = blueprint.config().place().record;
    blueprint.places().map(move |place| match blueprint.slots {
        Layout::Single | Layout::Staged { .. } if place == blueprint.slot => Region {
            base: place.base,
            size: record.base.saturating_sub(place.base),
        },
        _ => place,
    })
}

fn entry<T>(flash: &Flash, area: Region, len: u32, decode: impl Fn(&[u8]) -> Option<T>) -> Entry<T> {
    let whole = flash.bytes(area.base, len).ok().and_then(|bytes| decode(&bytes));
    match whole {
        Some(record) => Entry::Whole(record),
        None if flash.is_blank(area.base, area.size) == Ok(true) => Entry::Blank,
        None => Entry::Remnant,
    }
}

/// Runs of one content, as long as can be: cells that could belong to two runs belong to the earlier one.
fn runs(flash: &Flash, area: Region, images: &[KnownImage]) -> Vec<Run> {
    let memory = flash.layout().memory_at(area.base);
    let (granule, erased) = (memory.granule(), memory.erased());
    let mut runs = Runs::default();
    let mut at = area.base;
    while u64::from(at) < area.end() {
        let size = PIECE.min((area.end() - u64::from(at)) as u32);
        let piece = Region { base: at, size };
        match flash.bytes(at, size) {
            Ok(bytes) => runs.take(&bytes, piece, granule, area.base, erased, images),
            // Somewhere in it is a cell that cannot be read; which one, the granules tell.
            Err(_) => {
                for base in (at..at + size).step_by(granule as usize) {
                    let size = granule.min(at + size - base);
                    let part = Region { base, size };
                    match flash.bytes(base, size) {
                        Ok(bytes) => runs.take(&bytes, part, granule, area.base, erased, images),
                        Err(_) if flash.is_buried(part) => runs.add(part, &[Content::NotFollowed]),
                        Err(_) => runs.add(part, &[Content::Neither]),
                    }
                }
            }
        }
        at += size;
    }
    runs.finished()
}

#[derive(Default)]
struct Runs {
    done: Vec<Run>,
    open: Option<(Region, Vec<Content>)>,
}

impl Runs {
    fn take(&mut self, bytes: &[u8], area: Region, granule: u32, start: u32, erased: u8, images: &[KnownImage]) {
        let mut base = area.base;
        for cells in bytes.chunks(granule as usize) {
            let offset = base.saturating_sub(start) as usize;
            let mut could_be = Vec::with_capacity(2);
            if cells.iter().all(|byte| *byte == erased) {
                could_be.push(Content::Erased);
            }
            let matches = |image: &KnownImage| {
                let part = image.bytes.get(offset..).unwrap_or_default();
                let part = &part[..part.len().min(cells.len())];
                // Behind the image's last byte its granule is filled up with erased cells.
                let (image, rest) = cells.split_at(part.len());
                !part.is_empty() && image == part && rest.iter().all(|byte| *byte == erased)
            };
            let matching = images.iter().enumerate().filter(|(_, image)| matches(image));
            could_be.extend(matching.map(|(index, _)| Content::Image(index)));
            if could_be.is_empty() {
                could_be.push(Content::Neither);
            }
            let size = cells.len() as u32;
            self.add(Region { base, size }, &could_be);
            base += size;
        }
    }

    fn add(&mut self, area: Region, could_be: &[Content]) {
        if let Some((open, contents)) = &mut self.open {
            let both = || contents.iter().filter(|content| could_be.contains(content));
            if both().next().is_some() {
                let both = both().copied().collect();
                *contents = both;
                open.size += area.size;
                return;
            }
        }
        self.close();
        self.open = Some((area, could_be.to_vec()));
    }

    fn close(&mut self) {
        if let Some((area, contents)) = self.open.take() {
            let content = contents.into_iter().min().unwrap_or(Content::Neither);
            self.done.push(Run { area, content });
        }
    }

    fn finished(mut self) -> Vec<Run> {
        self.close();
        self.done
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;
    use unit::flash::{Change, Inside, Layout, SumKey, Torn};
    use unit::part::SecondProgram;

    fn image(fill: u8) -> KnownImage {
        KnownImage {
            name: fill.to_string(),
            bytes: (0..100).map(|at| if at % 16 == 0 { 0xff } else { fill }).collect(),
        }
    }

    fn flash() -> Flash {
        let run = installer::SectorRun { count: 4, size: 256 };
        let layout = Layout::new(0x1000, vec![run], 8, 0xff, true, SecondProgram::Zeros);
        Flash::erased(Arc::new(layout), SumKey::fixed())
    }

    const BODY: Region = Region {
        base: 0x1000,
        size: 1000,
    };

    fn seen(flash: &Flash) -> Vec<(u32, Content)> {
        let runs = runs(flash, BODY, &[image(1), image(2)]);
        runs.iter().map(|run| (run.area.size, run.content)).collect()
    }

    #[test]
    fn runs_are_told_apart() {
        let mut flash = flash();
        assert_eq!(seen(&flash), [(1000, Content::Erased)]);
        let mut data = image(2).bytes;
        data.resize(104, 0xff);
        let change = Change::Program { address: 0x1000, data };
        let mut torn = flash.clone();
        flash.apply(&change).unwrap();
        assert_eq!(seen(&flash), [(104, Content::Image(1)), (896, Content::Erased)]);

        let inside = Inside::Unreadable;
        torn.tear(&change, Torn::Program { whole: 3, inside }).unwrap();
        let expected = [(24, Content::Image(1)), (8, Content::Neither), (968, Content::Erased)];
        assert_eq!(seen(&torn), expected);
        torn.bury(Region {
            base: 0x1000,
            size: 256,
        });
        assert_eq!(seen(&torn), [(256, Content::NotFollowed), (744, Content::Erased)]);
    }

    #[test]
    fn runs_cover_the_area_without_gaps() {
        let mut flash = flash();
        flash.hold(0x1000 + 40, &[7; 16], None);
        let runs = runs(&flash, BODY, &[image(1)]);
        assert_eq!(runs.iter().map(|run| u64::from(run.area.size)).sum::<u64>(), 1000);
        assert!(
            runs.windows(2)
                .all(|pair| pair[0].area.end() == u64::from(pair[1].area.base))
        );
        assert!(runs.windows(2).all(|pair| pair[0].content != pair[1].content));
    }
}
