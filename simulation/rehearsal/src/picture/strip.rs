//! One world as a strip: the flash map at one step of a story.

use super::cells::{Cells, Content, Entry, Held, KnownImage, Run};
use super::columns::{Column, Extent, LETTER, Map, Spot, WIDTH};
use super::patterns::{Fill, Patterns};
use crate::areas::{Area, Areas, Holds, Reading};
use maud::{Markup, html};
use packstaff_installer::Region;
use packstaff_unit::flash::{Doubt, DoubtKind};

const HEIGHT: f64 = 30.0;
/// Doubtful cells are drawn at least so wide: a granule would not be seen otherwise.
const DOUBT_MIN: f64 = 8.0;
const RUN_MIN: f64 = 1.5;
/// What is written into an area that must stay as it was, and did.
pub(super) const KEPT: &str = "as it was";

/// What all strips of a story have in common.
pub(super) struct Strips<'a> {
    pub(super) areas: &'a Areas,
    pub(super) images: &'a [KnownImage],
    pub(super) map: Map,
    pub(super) patterns: Patterns,
}

impl Strips<'_> {
    /// Each area, and where it stands.
    fn spots(&self) -> impl Iterator<Item = (&Area, &Spot)> {
        self.areas.all().iter().zip(&self.map.spots)
    }

    /// The names above the columns.
    pub(super) fn heading(&self) -> Markup {
        let label = |extent: Extent, text: &str| {
            html! { text x=(number(extent.0 + extent.1 / 2.0)) y="11" text-anchor="middle" { (text) } }
        };
        html! {
            svg.strip.names viewBox={ "-1 0 " (WIDTH + 2.0) " 30" } width=(WIDTH) height="30" role="img" aria-label="The columns of the map" {
                @for (area, spot) in self.spots() {
                    @match spot {
                        Spot::Hidden => {}
                        Spot::Box(extent) => (label(*extent, &area.name)),
                        Spot::Columns(columns) => {
                            (label(extent_of(columns), &place_words(area, extent_of(columns).1)))
                            @for column in columns.iter().filter(|column| column.sectors > 1) {
                                text x=(number(column.x + column.width / 2.0)) y="25" text-anchor="middle" { (column.sectors) " alike" }
                            }
                            @for column in columns.iter().filter(|column| column.sectors == 1 && column.width > 50.0) {
                                text x=(number(column.x + column.width / 2.0)) y="25" text-anchor="middle" { (size_words(column.area.size)) }
                            }
                        }
                    }
                }
            }
        }
    }

    /// One world. `changed` is what the step changed, or began to change; `torn` says that a cut came inside that.
    pub(super) fn strip(&self, cells: &Cells, changed: &[Region], torn: bool, label: &str) -> Markup {
        let boxes = self.boxes(cells);
        html! {
            svg.strip viewBox={ "-1 -1 " (WIDTH + 2.0) " " (HEIGHT + 8.0) } width=(WIDTH) height=(HEIGHT + 8.0) role="img" aria-label=(label) {
                @for run in cells.runs() { (self.run(run)) }
                @for column in self.map.columns() {
                    rect.edge x=(number(column.x)) y="0" width=(number(column.width)) height=(HEIGHT) {}
                    @if column.sectors > 1 { (fold(column.x + column.width / 2.0)) }
                }
                @for (extent, fill, _) in &boxes {
                    rect.edge fill=(self.patterns.paint(*fill)) x=(number(extent.0)) y="0" width=(number(extent.1)) height=(HEIGHT) {}
                }
                @for doubt in &cells.doubts { (self.doubt(doubt)) }
                @for run in cells.runs() { (self.name(run)) }
                @for (extent, _, words) in &boxes { (text(*extent, words)) }
                @for area in changed {
                    @for (x, width) in self.extents(*area) {
                        @if torn {
                            path.torn d=(teeth(x, width.max(DOUBT_MIN))) {}
                        } @else {
                            rect.changed x=(number(x)) y=(HEIGHT + 2.0) width=(number(width.max(DOUBT_MIN))) height="4" {}
                        }
                    }
                }
            }
        }
    }

    /// Everything but images, each in a place of its own.
    fn boxes<'a>(&self, cells: &'a Cells) -> Vec<(Extent, Fill, &'a str)> {
        let held = self.spots().zip(&cells.areas);
        let boxes = held.filter_map(|((area, spot), held)| {
            let Spot::Box(extent) = spot else { return None };
            let (fill, words) = match held {
                Held::Kept(true) => (Fill::Installer, KEPT),
                Held::Kept(false) => (Fill::Broken, "changed!"),
                Held::Record(Entry::Blank) => (Fill::Erased, ""),
                Held::Record(Entry::Whole(words)) => (whole_fill(area), words.as_str()),
                Held::Record(Entry::Remnant) => (Fill::Neither, "?"),
                Held::Image(_) => return None,
            };
            Some((*extent, fill, words))
        });
        boxes.collect()
    }

    fn run(&self, run: &Run) -> Markup {
        let fill = match run.content {
            Content::Erased => Fill::Erased,
            Content::Image(index) => Fill::Image(index),
            Content::Neither => Fill::Neither,
            Content::NotFollowed => Fill::NotFollowed,
        };
        html! {
            @for (x, width) in self.in_columns(run.area) {
                rect fill=(self.patterns.paint(fill)) x=(number(x)) y="0" width=(number(width.max(RUN_MIN))) height=(HEIGHT) {}
            }
        }
    }

    /// The name of the image that a run is part of.
    fn name(&self, run: &Run) -> Markup {
        let Content::Image(index) = run.content else {
            return html! {};
        };
        let parts = self.in_columns(run.area);
        let left = parts.first().map_or(0.0, |part| part.0);
        let width = parts.last().map_or(0.0, |part| part.0 + part.1 - left);
        let name = self.images.get(index).map_or("", |image| image.name.as_str());
        text((left, width), name)
    }

    fn doubt(&self, doubt: &Doubt) -> Markup {
        let words = doubt_words(doubt);
        html! {
            @for (x, width) in self.extents(doubt.area) {
                @let wide = width.clamp(DOUBT_MIN, WIDTH);
                @let x = (x + width / 2.0 - wide / 2.0).clamp(0.0, WIDTH - wide);
                rect.doubt fill=(self.patterns.paint(Fill::Doubt)) x=(number(x)) y="1.5" width=(number(wide)) height=(HEIGHT - 3.0) {
                    title { (words) }
                }
            }
        }
    }

    /// Where some cells stand: in one place, or in several if they reach over some.
    fn extents(&self, cells: Region) -> Vec<Extent> {
        let boxes = self.spots().filter_map(|(area, spot)| match spot {
            Spot::Box(extent) if area.regions.iter().any(|region| region.overlaps(cells)) => Some(*extent),
            _ => None,
        });
        self.in_columns(cells).into_iter().chain(boxes).collect()
    }

    fn in_columns(&self, cells: Region) -> Vec<Extent> {
        let mut extents = Vec::<Extent>::new();
        for column in self.map.columns().filter(|column| column.area.overlaps(cells)) {
            let (left, right) = column.span(cells);
            match extents.last_mut() {
                Some(last) if (last.0 + last.1 - left).abs() < 0.01 => last.1 = right - last.0,
                _ => extents.push((left, right - left)),
            }
        }
        extents
    }
}

/// What a whole record in an area is painted with.
pub(super) const fn whole_fill(area: &Area) -> Fill {
    match area.holds {
        Holds::Record(Reading::Descriptor) => Fill::Descriptor,
        Holds::Record(Reading::VoidMark) => Fill::Void,
        _ => Fill::Register,
    }
}

/// What stands above an area in columns: its name, and as much of its addresses as there is room for.
fn place_words(area: &Area, width: f64) -> String {
    let first = area.regions.first().map_or(0, |region| region.base);
    let end = area.regions.last().map_or(0, |region| region.end());
    let begins = format!("{}, {first:#010x}", area.name);
    let whole = format!("{begins} to {:#010x}", end.saturating_sub(1));
    let fits = |words: &String| words.chars().count() as f64 * LETTER <= width;
    [whole, begins].into_iter().find(fits).unwrap_or(area.name.clone())
}

fn extent_of(columns: &[Column]) -> Extent {
    let left = columns.first().map_or(0.0, |column| column.x);
    let right = columns.last().map_or(left, |column| column.x + column.width);
    (left, right - left)
}

/// What is doubtful about cells.
pub(super) fn doubt_words(doubt: &Doubt) -> &'static str {
    match doubt.kind {
        DoubtKind::Unreadable => "cannot be read: check bits do not fit",
        DoubtKind::Faint => "reads as erased, and is not erased to the end",
        DoubtKind::Wavering | DoubtKind::Noise => "reads one way now, and otherwise later",
        DoubtKind::Parted => "erased in part",
        DoubtKind::Begun => "programmed in part",
        DoubtKind::DontCare => "of no account",
    }
}

/// A word in the middle of a place, if it has room there.
fn text((x, width): Extent, words: &str) -> Markup {
    let long = words.chars().count() as f64 * LETTER;
    html! {
        @if !words.is_empty() && long + 6.0 <= width {
            @let middle = x + width / 2.0;
            rect.under x=(number(middle - long / 2.0 - 2.0)) y="8" width=(number(long + 4.0)) height="14" {}
            text x=(number(middle)) y="19" text-anchor="middle" { (words) }
        }
    }
}

/// A jagged line beneath the map.
fn teeth(left: f64, width: f64) -> String {
    let count = (width / 4.0).round().max(2.0);
    let mut path = format!("M{} {}", number(left), number(HEIGHT + 6.0));
    for tooth in 1..=count as u32 {
        let y = HEIGHT + if tooth.is_multiple_of(2) { 6.0 } else { 2.0 };
        path += &format!(" L{} {}", number(left + width * f64::from(tooth) / count), number(y));
    }
    path
}

/// Two slanting strokes: something is left out here.
fn fold(middle: f64) -> Markup {
    let stroke = |x: f64| format!("M{} {} L{} -1", number(x - 3.0), HEIGHT + 1.0, number(x + 3.0));
    html! {
        path.fold d=(stroke(middle - 2.0)) {}
        path.fold d=(stroke(middle + 2.0)) {}
    }
}

fn size_words(bytes: u32) -> String {
    match bytes {
        0..1024 => format!("{bytes} bytes"),
        _ if bytes.is_multiple_of(1024) => format!("{} KiB", bytes / 1024),
        _ => format!("{:.1} KiB", f64::from(bytes) / 1024.0),
    }
}

/// A length in the picture, short.
fn number(length: f64) -> String {
    let text = format!("{length:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_short() {
        assert_eq!(number(12.0), "12");
        assert_eq!(number(0.126), "0.13");
        assert_eq!(size_words(256), "256 bytes");
        assert_eq!(size_words(16384), "16 KiB");
        assert_eq!(size_words(131_000), "127.9 KiB");
    }
}
