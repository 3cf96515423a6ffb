//! One world as a strip: the flash map at one step of a story.

use super::cells::{Cells, Content, Entry, KnownImage, Run};
use super::columns::{Column, Extent, Map, WIDTH};
use super::patterns::{Fill, Patterns};
use installer::{Descriptor, Record, Region};
use maud::{Markup, html};
use unit::blueprint::Blueprint;
use unit::flash::{Doubt, Kind};

const HEIGHT: f64 = 30.0;
/// Doubtful cells are drawn at least so wide: a granule would not be seen otherwise.
const DOUBT_MIN: f64 = 8.0;
const RUN_MIN: f64 = 1.5;
/// Width of a letter, about.
const LETTER: f64 = 6.2;

/// What all strips of a story have in common.
pub(super) struct Strips<'a> {
    pub(super) blueprint: &'a Blueprint,
    pub(super) images: &'a [KnownImage],
    pub(super) map: Map,
    pub(super) patterns: Patterns,
}

impl Strips<'_> {
    /// The names above the columns.
    pub(super) fn heading(&self) -> Markup {
        let map = &self.map;
        let label = |extent: Extent, text: &str| {
            html! { text x=(number(extent.0 + extent.1 / 2.0)) y="11" text-anchor="middle" { (text) } }
        };
        html! {
            svg.strip.names viewBox={ "0 0 " (WIDTH) " 30" } width=(WIDTH) height="30" role="img" aria-label="The columns of the map" {
                (label(map.installer, "installer"))
                (label(map.register[0], "register A"))
                (label(map.register[1], "register B"))
                @for place in &map.places {
                    @let (left, width) = extent_of(&place.columns);
                    @let region = place.region;
                    (label((left, width), &format!("{}, {:#010x} to {:#010x}", place.name, region.base, region.end().saturating_sub(1))))
                    @for column in place.columns.iter().filter(|column| column.sectors > 1) {
                        text x=(number(column.x + column.width / 2.0)) y="25" text-anchor="middle" { (column.sectors) " alike" }
                    }
                    @for column in place.columns.iter().filter(|column| column.sectors == 1 && column.width > 50.0) {
                        text x=(number(column.x + column.width / 2.0)) y="25" text-anchor="middle" { (kib(column.area.size)) }
                    }
                }
                @if let Some((record, void)) = map.descriptor {
                    (label(record, "descriptor"))
                    (label(void, "void"))
                }
                @if let Some(outside) = map.outside { (label(outside, "others")) }
            }
        }
    }

    /// One world. `changed` is what the step changed, or began to change.
    pub(super) fn strip(&self, cells: &Cells, changed: &[Region], label: &str) -> Markup {
        let boxes = self.boxes(cells);
        html! {
            svg.strip viewBox={ "0 -1 " (WIDTH) " " (HEIGHT + 8.0) } width=(WIDTH) height=(HEIGHT + 8.0) role="img" aria-label=(label) {
                @for run in cells.places.iter().flatten() { (self.run(run)) }
                @for column in self.map.places.iter().flat_map(|place| &place.columns) {
                    rect.edge x=(number(column.x)) y="0" width=(number(column.width)) height=(HEIGHT) {}
                    @if column.sectors > 1 { (fold(column.x + column.width / 2.0)) }
                }
                @for (extent, fill, _) in &boxes {
                    rect.edge fill=(self.patterns.paint(*fill)) x=(number(extent.0)) y="0" width=(number(extent.1)) height=(HEIGHT) {}
                }
                @for doubt in &cells.doubts { (self.doubt(doubt)) }
                @for run in cells.places.iter().flatten() { (self.name(run)) }
                @for (extent, _, words) in &boxes { (text(*extent, words)) }
                @for area in changed {
                    @for (x, width) in self.extents(*area) {
                        rect.changed x=(number(x)) y=(HEIGHT + 2.0) width=(number(width.max(DOUBT_MIN))) height="4" {}
                    }
                }
            }
        }
    }

    /// Everything but images, each in a place of its own.
    fn boxes(&self, cells: &Cells) -> Vec<(Extent, Fill, String)> {
        let part = |extent: Extent, kept: bool, words: &str| match kept {
            true => (extent, Fill::Installer, words.to_owned()),
            false => (extent, Fill::Broken, "changed!".to_owned()),
        };
        let mut boxes = vec![part(self.map.installer, cells.installer_kept, "as built")];
        boxes.extend(
            self.map
                .outside
                .map(|outside| part(outside, cells.outside_kept, "as it was")),
        );
        for (extent, record) in self.map.register.iter().zip(&cells.register) {
            boxes.push(entry(*extent, record, Fill::Register, record_words));
        }
        if let Some((record, void)) = self.map.descriptor {
            let version = |descriptor: &Descriptor| descriptor.version.to_string();
            boxes.push(entry(record, &cells.descriptor, Fill::Descriptor, version));
            boxes.push(match cells.unvoided {
                true => (void, Fill::Erased, String::new()),
                false => (void, Fill::Void, "void".to_owned()),
            });
        }
        boxes
    }

    fn run(&self, run: &Run) -> Markup {
        let fill = match run.content {
            Content::Erased => Fill::Erased,
            Content::Image(index) => Fill::Image(index),
            Content::Neither => Fill::Neither,
            Content::NotFollowed => Fill::NotFollowed,
        };
        html! {
            @for (x, width) in self.in_places(run.area) {
                rect fill=(self.patterns.paint(fill)) x=(number(x)) y="0" width=(number(width.max(RUN_MIN))) height=(HEIGHT) {}
            }
        }
    }

    /// The name of the image that a run is part of.
    fn name(&self, run: &Run) -> Markup {
        let Content::Image(index) = run.content else {
            return html! {};
        };
        let parts = self.in_places(run.area);
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

    /// Where an area stands: in one place, or in several if it reaches over some.
    fn extents(&self, area: Region) -> Vec<Extent> {
        let place = self.blueprint.config().place();
        let mut fixed = vec![
            (self.blueprint.installer, self.map.installer),
            (self.blueprint.floors[0], self.map.register[0]),
            (self.blueprint.floors[1], self.map.register[1]),
        ];
        if let Some((record, void)) = self.map.descriptor {
            fixed.extend([(place.record, record), (place.void, void)]);
        }
        let mut extents = self.in_places(area);
        extents.extend(
            fixed
                .into_iter()
                .filter(|(region, _)| region.overlaps(area))
                .map(|it| it.1),
        );
        if let (true, Some(outside)) = (extents.is_empty(), self.map.outside) {
            extents.push(outside);
        }
        extents
    }

    fn in_places(&self, area: Region) -> Vec<Extent> {
        let columns = self.map.places.iter().flat_map(|place| &place.columns);
        let mut extents = Vec::<Extent>::new();
        for column in columns.filter(|column| column.area.overlaps(area)) {
            let (left, right) = column.span(area);
            match extents.last_mut() {
                Some(last) if (last.0 + last.1 - left).abs() < 0.01 => last.1 = right - last.0,
                _ => extents.push((left, right - left)),
            }
        }
        extents
    }
}

fn extent_of(columns: &[Column]) -> Extent {
    let left = columns.first().map_or(0.0, |column| column.x);
    let right = columns.last().map_or(left, |column| column.x + column.width);
    (left, right - left)
}

fn entry<T>(extent: Extent, entry: &Entry<T>, whole: Fill, words: impl Fn(&T) -> String) -> (Extent, Fill, String) {
    match entry {
        Entry::Blank => (extent, Fill::Erased, String::new()),
        Entry::Whole(record) => (extent, whole, words(record)),
        Entry::Remnant => (extent, Fill::Neither, "?".to_owned()),
    }
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

/// What is doubtful about cells.
pub(super) fn doubt_words(doubt: &Doubt) -> &'static str {
    match doubt.kind {
        Kind::Unreadable => "cannot be read: check bits do not fit",
        Kind::Faint => "reads as erased, and is not erased to the end",
        Kind::Wavering | Kind::Noise => "reads one way now, and otherwise later",
        Kind::Parted => "erased in part",
        Kind::Begun => "programmed in part",
        Kind::Buried => "of no account",
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

/// Two slanting strokes: something is left out here.
fn fold(middle: f64) -> Markup {
    let stroke = |x: f64| format!("M{} {} L{} -1", number(x - 3.0), HEIGHT + 1.0, number(x + 3.0));
    html! {
        path.fold d=(stroke(middle - 2.0)) {}
        path.fold d=(stroke(middle + 2.0)) {}
    }
}

fn kib(bytes: u32) -> String {
    match bytes.is_multiple_of(1024) {
        true => format!("{} KiB", bytes / 1024),
        false => format!("{:.1} KiB", f64::from(bytes) / 1024.0),
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
        assert_eq!(kib(16384), "16 KiB");
        assert_eq!(kib(131_000), "127.9 KiB");
    }
}
