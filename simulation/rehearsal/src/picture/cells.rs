//! What flash holds, in the words of an install: which runs of cells are erased, or part of which image.

use crate::areas::{Area, Areas, Holds, Reading};
use packstaff_installer::{DESCRIPTOR_LEN, Descriptor, REGISTER_LEN, Record, Region};
use packstaff_unit::flash::{Doubt, DoubtKind, Flash};

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
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Entry {
    /// Erased cells.
    Blank,
    /// A whole record, in as few letters as can be.
    Whole(String),
    /// Something else.
    Remnant,
}

/// What one area holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Held {
    /// Whether it is as it was in the beginning.
    Kept(bool),
    /// A record, or what is in its place.
    Record(Entry),
    /// Images, and parts of them.
    Image(Vec<Run>),
}

/// One world, in the words of an install.
#[derive(Clone, Debug, PartialEq)]
pub struct Cells {
    /// What each area holds, in the order of the areas.
    pub areas: Vec<Held>,
    /// Cells that are not to be trusted.
    pub doubts: Vec<Doubt>,
}

impl Cells {
    /// Looks at a world. `first` is the world in the beginning.
    pub fn of(areas: &Areas, images: &[KnownImage], first: &Flash, flash: &Flash) -> Self {
        let held = |area: &Area| match &area.holds {
            Holds::Kept | Holds::Rest => Held::Kept(area.regions.iter().all(|region| is_kept(*region, first, flash))),
            Holds::Record(reading) => Held::Record(entry(flash, area, reading)),
            Holds::Image => Held::Image(image_runs(flash, &area.regions, images)),
        };
        Self {
            areas: areas.all().iter().map(held).collect(),
            doubts: flash
                .doubts()
                .iter()
                .copied()
                .filter(|doubt| doubt.kind != DoubtKind::DontCare)
                .collect(),
        }
    }

    /// Runs in all areas that hold images.
    pub(super) fn runs(&self) -> impl Iterator<Item = &Run> {
        self.areas.iter().flat_map(|held| match held {
            Held::Image(runs) => runs.as_slice(),
            _ => &[],
        })
    }
}

fn is_kept(region: Region, first: &Flash, flash: &Flash) -> bool {
    // Sums are of whole sectors, which others may share.
    let alike = || match (
        first.bytes(region.base, region.size),
        flash.bytes(region.base, region.size),
    ) {
        (Ok(before), Ok(now)) => before == now && flash.doubts_over(region).eq(first.doubts_over(region)),
        _ => false,
    };
    first.sum_of(region) == flash.sum_of(region) || alike()
}

fn entry(flash: &Flash, area: &Area, reading: &Reading) -> Entry {
    // What is behind a record, to the end of its area, does not count.
    let head = |len: usize| flash.bytes(area.regions.first()?.base, len as u32).ok();
    let blank = |region: &Region| flash.is_blank(region.base, region.size) == Ok(true);
    let all_blank = area.regions.iter().all(blank);
    let whole = match reading {
        Reading::Register => head(REGISTER_LEN).and_then(|bytes| Some(record_words(&Record::decode(&bytes)?))),
        Reading::Descriptor => {
            head(DESCRIPTOR_LEN).and_then(|bytes| Some(Descriptor::decode(&bytes)?.version.to_string()))
        }
        Reading::VoidMark => (!all_blank).then(|| "void".to_owned()),
        Reading::Known(known) => contents(flash, &area.regions).and_then(|bytes| {
            let known = known.iter().find(|(_, contents)| *contents == bytes);
            known.map(|(name, _)| name.clone())
        }),
    };
    match whole {
        Some(words) => Entry::Whole(words),
        None if all_blank => Entry::Blank,
        None => Entry::Remnant,
    }
}

/// The bytes of some regions, one after the other; `None` where any cannot be read.
pub fn contents(flash: &Flash, regions: &[Region]) -> Option<Vec<u8>> {
    let parts = regions.iter().map(|region| flash.bytes(region.base, region.size));
    Some(parts.collect::<Result<Vec<_>, _>>().ok()?.concat())
}

/// What a record of the register says, in as few letters as can be.
fn record_words(record: &Record) -> String {
    match record.value.held {
        None => format!("issue {}", record.value.issue),
        Some(held) => format!(
            "{}: {}",
            if held.second { "2nd" } else { "1st" },
            held.descriptor.version
        ),
    }
}

fn image_runs(flash: &Flash, regions: &[Region], images: &[KnownImage]) -> Vec<Run> {
    let start = regions.first().map_or(0, |region| region.base);
    regions
        .iter()
        .flat_map(|region| runs(flash, *region, start, images))
        .collect()
}

/// Runs of one content, as long as can be: cells that could belong to two runs belong to the earlier one. An image's first byte
/// is at `start`.
fn runs(flash: &Flash, area: Region, start: u32, images: &[KnownImage]) -> Vec<Run> {
    let memory = flash.layout().memory_at(area.base);
    let (granule, erased) = (memory.granule(), memory.erased());
    let mut runs = Runs::default();
    let mut at = area.base;
    while u64::from(at) < area.end() {
        let size = PIECE.min((area.end() - u64::from(at)) as u32);
        let piece = Region { base: at, size };
        match flash.bytes(at, size) {
            Ok(bytes) => runs.take(&bytes, piece, granule, start, erased, images),
            // Somewhere in it is a cell that cannot be read; which one, the granules tell.
            Err(_) => {
                for base in (at..at + size).step_by(granule as usize) {
                    let size = granule.min(at + size - base);
                    let part = Region { base, size };
                    match flash.bytes(base, size) {
                        Ok(bytes) => runs.take(&bytes, part, granule, start, erased, images),
                        Err(_) if flash.has_dont_care(part) => runs.add(part, &[Content::NotFollowed]),
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
    use packstaff_unit::flash::{Change, FlashLayout, Inside, SumKey, Torn};
    use packstaff_unit::part::SecondProgram;
    use std::sync::Arc;

    fn image(fill: u8) -> KnownImage {
        KnownImage {
            name: fill.to_string(),
            bytes: (0..100).map(|at| if at % 16 == 0 { 0xff } else { fill }).collect(),
        }
    }

    fn flash() -> Flash {
        let run = packstaff_installer::SectorRun { count: 4, size: 256 };
        let layout = FlashLayout::new(0x1000, vec![run], 8, 0xff, true, SecondProgram::Zeros);
        Flash::erased(Arc::new(layout), SumKey::fixed())
    }

    const BODY: Region = Region {
        base: 0x1000,
        size: 1000,
    };

    fn seen(flash: &Flash) -> Vec<(u32, Content)> {
        let runs = runs(flash, BODY, BODY.base, &[image(1), image(2)]);
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
        torn.mark_dont_care(Region {
            base: 0x1000,
            size: 256,
        });
        assert_eq!(seen(&torn), [(256, Content::NotFollowed), (744, Content::Erased)]);
    }

    #[test]
    fn runs_cover_the_area_without_gaps() {
        let mut flash = flash();
        flash.hold(0x1000 + 40, &[7; 16], None);
        let runs = runs(&flash, BODY, BODY.base, &[image(1)]);
        assert_eq!(runs.iter().map(|run| u64::from(run.area.size)).sum::<u64>(), 1000);
        assert!(
            runs.windows(2)
                .all(|pair| pair[0].area.end() == u64::from(pair[1].area.base))
        );
        assert!(runs.windows(2).all(|pair| pair[0].content != pair[1].content));
    }
}
