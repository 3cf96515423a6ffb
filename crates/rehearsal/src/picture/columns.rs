//! Where each part of flash stands in the picture, from left to right.

use super::cells::{Cells, Content, Run, image_areas};
use installer::{Layout, Region};
use unit::blueprint::Blueprint;

/// Width of the whole map, in units of the picture.
pub(super) const WIDTH: f64 = 660.0;
const GAP: f64 = 10.0;
const INSTALLER: f64 = 56.0;
const REGISTER: f64 = 56.0;
const RECORD: f64 = 64.0;
const VOID: f64 = 30.0;
const OUTSIDE: f64 = 50.0;
/// Width of one column for many sectors that look alike all the time.
const FOLDED: f64 = 44.0;
/// So many alike sectors side by side become one column.
const FOLDED_MIN: usize = 3;

/// A part of the slot, and its column.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Column {
    pub(super) area: Region,
    /// Sectors in it: more than one look alike all the time.
    pub(super) sectors: usize,
    pub(super) x: f64,
    pub(super) width: f64,
}

impl Column {
    /// Where `address` stands; outside the column's area, at its nearer edge.
    fn x_of(&self, address: u64) -> f64 {
        let offset = address.clamp(u64::from(self.area.base), self.area.end()) - u64::from(self.area.base);
        self.x + self.width * offset as f64 / f64::from(self.area.size.max(1))
    }

    /// Left and right of a part of this column's area.
    pub(super) fn span(&self, area: Region) -> (f64, f64) {
        (self.x_of(u64::from(area.base)), self.x_of(area.end()))
    }
}

/// Left edge and width.
pub(super) type Extent = (f64, f64);

/// A range that may hold an image.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Place {
    /// What it is called.
    pub(super) name: &'static str,
    /// All of it, with its descriptor.
    pub(super) region: Region,
    pub(super) columns: Vec<Column>,
}

/// The whole map.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Map {
    pub(super) installer: Extent,
    pub(super) register: [Extent; 2],
    pub(super) places: Vec<Place>,
    /// The slot's descriptor and its void mark, where it has one.
    pub(super) descriptor: Option<(Extent, Extent)>,
    /// Everything else, where any of it changes in the story.
    pub(super) outside: Option<Extent>,
}

impl Map {
    /// The map for all the worlds of a story.
    pub(super) fn of(blueprint: &Blueprint, worlds: &[Cells]) -> Self {
        let first = INSTALLER + GAP;
        let second = first + REGISTER + 4.0;
        let left = second + REGISTER + GAP;
        let mut right = WIDTH;
        let mut from_right = |width: f64, gap: f64| {
            let x = right - width;
            right = x - gap;
            (x, width)
        };
        let outside = worlds.iter().any(|cells| !cells.outside_kept);
        let outside = outside.then(|| from_right(OUTSIDE, GAP));
        let described = !matches!(blueprint.slots, Layout::Paired { .. });
        let descriptor = described.then(|| {
            let void = from_right(VOID, 4.0);
            (from_right(RECORD, GAP), void)
        });
        let (slot, beside) = match blueprint.slots {
            Layout::Single => ("slot", ""),
            Layout::Staged { .. } => ("slot", "stage"),
            Layout::Paired { .. } => ("first slot", "second slot"),
        };
        let count = blueprint.places().count();
        let width = (right - left - GAP * (count.saturating_sub(1)) as f64) / count.max(1) as f64;
        let places = blueprint
            .places()
            .zip(image_areas(blueprint))
            .zip([slot, beside])
            .enumerate();
        let places = places.map(|(index, ((region, area), name))| {
            let x = left + (width + GAP) * index as f64;
            let sectors = sectors_of(blueprint, area);
            let bodies: Vec<_> = worlds
                .iter()
                .map(|cells| (cells, cells.places.get(index).map_or(&[][..], Vec::as_slice)))
                .collect();
            Place {
                name,
                region,
                columns: columns(&sectors, &bodies, x, x + width),
            }
        });
        Self {
            installer: (0.0, INSTALLER),
            register: [(first, REGISTER), (second, REGISTER)],
            places: places.collect(),
            descriptor,
            outside,
        }
    }
}

fn sectors_of(blueprint: &Blueprint, area: Region) -> Vec<Region> {
    let sectors = blueprint.layout.sectors().iter().filter_map(|sector| {
        let base = sector.base.max(area.base);
        let end = sector.end().min(area.end());
        let size = u32::try_from(end.checked_sub(u64::from(base))?).ok()?;
        (size > 0).then_some(Region { base, size })
    });
    sectors.collect()
}

/// A world, and what one place in it holds.
type Body<'a> = (&'a Cells, &'a [Run]);

fn columns(sectors: &[Region], worlds: &[Body<'_>], left: f64, right: f64) -> Vec<Column> {
    let histories: Vec<_> = sectors.iter().map(|sector| history(*sector, worlds)).collect();
    let mut groups = Vec::<(Region, usize)>::new();
    let mut at = 0;
    while let Some(sector) = sectors.get(at) {
        let alike = match &histories[at] {
            None => 1,
            some => histories[at..].iter().take_while(|history| *history == some).count(),
        };
        if alike >= FOLDED_MIN {
            let size = sectors[at..at + alike].iter().map(|sector| sector.size).sum();
            groups.push((Region { size, ..*sector }, alike));
            at += alike;
        } else {
            groups.push((*sector, 1));
            at += 1;
        }
    }
    let single = groups.iter().filter(|group| group.1 == 1).count();
    let folded = groups.len() - single;
    let room = right - left;
    // With nothing but folded columns, these share the room.
    let for_folded = match single {
        0 => room / folded.max(1) as f64,
        // Where there are few columns, all are as wide; where there are many, what is folded stays narrow.
        _ => FOLDED
            .min(room / 2.0 / folded.max(1) as f64)
            .max(room / groups.len() as f64),
    };
    let for_single = (room - for_folded * folded as f64) / single.max(1) as f64;
    let mut x = left;
    let mut columns = Vec::new();
    for (area, sectors) in groups {
        let width = if sectors > 1 { for_folded } else { for_single };
        columns.push(Column {
            area,
            sectors,
            x,
            width,
        });
        x += width;
    }
    columns
}

/// What a sector holds in each world, if that is one thing each time, and beyond doubt.
fn history(sector: Region, worlds: &[Body<'_>]) -> Option<Vec<Content>> {
    let of = |(cells, body): &Body<'_>| {
        let doubtful = cells.doubts.iter().any(|doubt| doubt.area.overlaps(sector));
        let run = body.iter().find(|run| covers(run, sector))?;
        (!doubtful).then_some(run.content)
    };
    worlds.iter().map(of).collect()
}

fn covers(run: &Run, sector: Region) -> bool {
    run.area.base <= sector.base && run.area.end() >= sector.end()
}
