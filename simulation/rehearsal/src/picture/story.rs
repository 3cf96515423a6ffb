//! A violation's story as a page: the numbered account, and beside it the flash map over time.

use super::cells::{Cells, Content, Entry, Held, KnownImage};
use super::columns::Map;
use super::page;
use super::patterns::{Fill, Patterns};
use super::strip::{Strips, doubt_words, whole_fill};
use crate::areas::{Area, Areas, Holds, Reading};
use crate::claims::{Claim, Wording};
use crate::explore::{ChangeKind, ComesTo, Moment, Passage, Step, Story};
use maud::{Markup, html};
use packstaff_installer::Region;
use packstaff_unit::flash::Flash;
use std::collections::BTreeSet;

/// A violation to draw.
#[derive(Clone, Debug)]
pub struct StoryPicture<'a> {
    /// What was rehearsed: product, board, target.
    pub heading: &'a str,
    /// The claim that does not hold.
    pub claim: Claim,
    /// How it is told.
    pub wording: Wording,
    /// What was seen.
    pub seen: &'a str,
    /// How it came to that.
    pub story: &'a Story,
    /// Flash after each step: see [`replay`](crate::explore::replay). Where there are fewer worlds than steps, the account
    /// goes on without pictures.
    pub worlds: &'a [Flash],
    /// What the unit's flash is divided into.
    pub areas: &'a Areas,
    /// Images that may be in it.
    pub images: &'a [KnownImage],
    /// Which of them must run in the end.
    pub target: usize,
}

/// The page.
pub fn story_page(picture: &StoryPicture<'_>) -> String {
    let account = picture.story.account();
    let cells: Vec<_> = account
        .iter()
        .map_while(|passage| {
            let (first, here) = (picture.worlds.first()?, picture.worlds.get(passage.last)?);
            Some(Cells::of(picture.areas, picture.images, first, here))
        })
        .collect();
    let strips = Strips {
        areas: picture.areas,
        images: picture.images,
        map: Map::of(picture.areas, &cells),
        patterns: Patterns { target: picture.target },
    };
    let title = format!("{}: {}", picture.heading, picture.claim.id());
    let steps = picture.story.len();
    let body = html! {
        (strips.patterns.definitions())
        header {
            p.of { (picture.heading) }
            h1 { "A claim that does not hold: " (picture.claim.id()) }
        }
        main {
            div.broken {
                p { b { "What must hold. " } (picture.wording.statement) }
                p { b { "What was seen. " } (sentence(picture.seen)) }
                p { b { "What it would mean. " } (picture.wording.consequence) }
            }
            h2 { "How it comes to that" }
            p {
                "No shorter way leads there: " (steps) @if steps == 1 { " step." } @else { " steps." }
                " Each line shows flash after its step. A black bar beneath the map marks what the step changed; "
                "a jagged one, what it had begun to change when power failed."
            }
            (legend(&strips, &cells))
            ol.story {
                li.top { span {} span {} (strips.heading()) }
                @for (index, passage) in account.iter().enumerate() {
                    (row(picture, &strips, passage, cells.get(index)))
                }
                li.end { span.number { "end" } p { b { "Here it does not hold. " } (sentence(picture.seen)) } }
            }
        }
        footer {
            p { "A picture of a model: what is in it and what is not is told in the guide, under Rehearsal." }
        }
    };
    page(&title, &body)
}

fn row(picture: &StoryPicture<'_>, strips: &Strips<'_>, passage: &Passage, cells: Option<&Cells>) -> Markup {
    let steps = picture
        .story
        .steps
        .get(passage.first..=passage.last)
        .unwrap_or_default();
    let last = steps.last();
    let is_cut = matches!(last, Some(Step::Cut(..)));
    let torn = matches!(last, Some(Step::Cut(_, Moment::Inside(_))));
    let power = match last {
        Some(Step::Cut(..)) => "power cut",
        Some(Step::Begin(_)) | None => "power off",
        Some(Step::Runs { .. }) => "power on",
    };
    let changed = changed(picture, passage);
    html! {
        li class=(if is_cut { "step cut" } else { "step" }) {
            span.number { (passage.numbers()) span.power { (power) } }
            p { (passage.text) }
            @if let Some(cells) = cells {
                (strips.strip(cells, &changed, torn, &format!("Flash after step {}", passage.last + 1)))
            }
        }
    }
}

/// The areas that the steps of a passage changed or began to change.
fn changed(picture: &StoryPicture<'_>, passage: &Passage) -> Vec<Region> {
    let steps = &picture.story.steps;
    let kinds = (passage.first..=passage.last).filter_map(|index| match steps.get(index)? {
        Step::Cut(_, Moment::Before) | Step::Begin(_) => None,
        Step::Cut(kind, _) => Some(*kind),
        Step::Runs { stick: Some(_), .. } => None,
        // The change that the step before asked for is carried out now.
        Step::Runs { stick: None, .. } => match steps.get(index.checked_sub(1)?)? {
            Step::Runs {
                comes_to: ComesTo::Change(kind),
                ..
            } => Some(*kind),
            _ => None,
        },
    });
    let area = |kind| match kind {
        ChangeKind::Erase(address) => picture.areas.sector_at(address),
        ChangeKind::Program(base, size) => Some(Region { base, size }),
    };
    kinds.filter_map(area).collect()
}

fn legend(strips: &Strips<'_>, cells: &[Cells]) -> Markup {
    let used: BTreeSet<_> = cells.iter().flat_map(Cells::runs).map(|run| run.content).collect();
    let images = strips.images.iter().enumerate();
    let doubts: BTreeSet<_> = cells.iter().flat_map(|cells| &cells.doubts).map(doubt_words).collect();
    let ever = |index: usize, wanted: fn(&Held) -> bool| {
        let mut held = cells.iter().filter_map(|cells| cells.areas.get(index));
        held.any(wanted)
    };
    let areas = || strips.areas.all().iter().enumerate();
    let mut records = Vec::<(Fill, &str)>::new();
    let is_whole = |held: &Held| matches!(held, Held::Record(Entry::Whole(_)));
    for (_, area) in areas().filter(|(index, _)| ever(*index, is_whole)) {
        let words = record_words(area);
        if records.iter().all(|(_, known)| *known != words) {
            records.push((whole_fill(area), words));
        }
    }
    let remnant = |held: &Held| matches!(held, Held::Record(Entry::Remnant));
    let remnants = areas().any(|(index, _)| ever(index, remnant));
    let broken = areas().any(|(index, _)| ever(index, |held| *held == Held::Kept(false)));
    let entry = |fill: Fill, words: &str| {
        html! {
            li {
                svg width="34" height="18" aria-hidden="true" {
                    rect.edge fill=(strips.patterns.paint(fill)) x="0.5" y="0.5" width="33" height="17" {}
                }
                span { (words) }
            }
        }
    };
    html! {
        ul.legend {
            (entry(Fill::Erased, "erased"))
            @for (index, image) in images.filter(|(index, _)| used.contains(&Content::Image(*index))) {
                @let role = if index == strips.patterns.target { ", which must run in the end" } else { "" };
                (entry(Fill::Image(index), &format!("image of {}{role}", image.name)))
            }
            @if used.contains(&Content::Neither) { (entry(Fill::Neither, "neither erased nor part of an image")) }
            @if used.contains(&Content::NotFollowed) { (entry(Fill::NotFollowed, "erased before anybody reads it: not followed")) }
            @for (fill, words) in records { (entry(fill, words)) }
            @if remnants { (entry(Fill::Neither, "?: neither erased nor a whole record")) }
            @for words in doubts { (entry(Fill::Doubt, &format!("in doubt: {words}"))) }
            @if broken { (entry(Fill::Broken, "changed, and must not be")) }
        }
    }
}

/// What a whole record in an area says.
const fn record_words(area: &Area) -> &'static str {
    match area.holds {
        Holds::Record(Reading::Descriptor) => "whole descriptor, with its version",
        Holds::Record(Reading::VoidMark) => "void mark: the descriptor does not count",
        Holds::Record(Reading::Known(_)) => "record as an install of the named version leaves it",
        _ => "whole record of the register",
    }
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let start = chars.next().map(|first| first.to_uppercase().to_string());
    format!("{}{}.", start.unwrap_or_default(), chars.as_str().trim_end_matches('.'))
}
