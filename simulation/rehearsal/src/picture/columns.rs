//! Where each part of flash stands in the picture, from left to right.

use super::cells::{Cells, Content, Held, Run};
use crate::areas::{Area, Areas, Holds, Reading};
use packstaff_installer::Region;

/// Width of the whole map, in units of the picture.
pub(super) const WIDTH: f64 = 660.0;
/// Width of a letter, about.
pub(super) const LETTER: f64 = 6.2;
/// Between areas; between records, which belong together.
const GAP: f64 = 10.0;
const NARROW_GAP: f64 = 4.0;
/// What an area with an image has at least, where the names of the others leave so much.
const IMAGE_MIN: f64 = 120.0;
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

/// Where one area stands.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Spot {
    /// Nowhere: nothing is to be seen there.
    Hidden,
    /// In one box, whatever its size.
    Box(Extent),
    /// In columns, sector by sector.
    Columns(Vec<Column>),
}

/// The whole map.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Map {
    /// Where each area stands, in the order of the areas.
    pub(super) spots: Vec<Spot>,
}

impl Map {
    /// The map for all the worlds of a story.
    pub(super) fn of(areas: &Areas, worlds: &[Cells]) -> Self {
        let held = |index: usize| worlds.iter().filter_map(move |cells| cells.areas.get(index));
        let all = areas.all().iter().enumerate();
        let shown: Vec<_> = all
            .filter(|(index, area)| {
                let changes = || held(*index).any(|held| *held == Held::Kept(false));
                area.holds != Holds::Rest || changes()
            })
            .collect();
        let gap = |pair: &[(usize, &Area)]| match pair {
            [(_, one), (_, other)] if is_record(one) && is_record(other) => NARROW_GAP,
            _ => GAP,
        };
        let gaps: f64 = shown.windows(2).map(gap).sum();
        let images = shown.iter().filter(|(_, area)| area.holds == Holds::Image).count() as f64;
        let boxes: f64 = shown.iter().map(|(_, area)| box_width(area)).sum();
        let scale = ((WIDTH - gaps - IMAGE_MIN * images) / boxes.max(1.0)).min(1.0);
        let image_width = (WIDTH - gaps - boxes * scale) / images.max(1.0);
        let mut spots = vec![Spot::Hidden; areas.all().len()];
        let mut x = 0.0;
        for (turn, (index, area)) in shown.iter().enumerate() {
            let width = match area.holds {
                Holds::Image => image_width,
                _ => box_width(area) * scale,
            };
            spots[*index] = match area.holds {
                Holds::Image => {
                    let bodies: Vec<Body<'_>> = worlds
                        .iter()
                        .map(|cells| match cells.areas.get(*index) {
                            Some(Held::Image(runs)) => (cells, runs.as_slice()),
                            _ => (cells, &[][..]),
                        })
                        .collect();
                    Spot::Columns(columns(&sectors_of(areas, area), &bodies, x, x + width))
                }
                _ => Spot::Box((x, width)),
            };
            x += width + shown.get(turn..turn + 2).map_or(0.0, gap);
        }
        Self { spots }
    }

    /// All columns of areas with images.
    pub(super) fn columns(&self) -> impl Iterator<Item = &Column> {
        self.spots.iter().flat_map(|spot| match spot {
            Spot::Columns(columns) => columns.as_slice(),
            _ => &[],
        })
    }
}

const fn is_record(area: &Area) -> bool {
    matches!(area.holds, Holds::Record(_))
}

/// So wide that its name and what is written into it have room; nothing for areas that stand in columns.
fn box_width(area: &Area) -> f64 {
    let words = match &area.holds {
        Holds::Image => return 0.0,
        Holds::Kept | Holds::Rest => super::strip::KEPT.len(),
        Holds::Record(Reading::VoidMark) => "void".len(),
        Holds::Record(_) => "issue 12".len(),
    };
    let name = area.name.chars().count() as f64 * LETTER;
    name.max(words as f64 * LETTER + 7.0)
}

/// The parts of sectors that belong to an area.
fn sectors_of(areas: &Areas, area: &Area) -> Vec<Region> {
    let parts = area.regions.iter().flat_map(|region| {
        areas.layout().sectors().iter().filter_map(move |sector| {
            let base = sector.base.max(region.base);
            let end = sector.end().min(region.end());
            let size = u32::try_from(end.checked_sub(u64::from(base))?).ok()?;
            (size > 0).then_some(Region { base, size })
        })
    });
    parts.collect()
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
