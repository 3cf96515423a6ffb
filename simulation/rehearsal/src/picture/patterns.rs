//! Colours and patterns.
//!
//! The colours are those of M. Okabe and K. Ito, *Color Universal Design* (2008, <https://jfly.uni-koeln.de/color/>), which are
//! told apart by people with any kind of colour vision; their values here are from memory. Every one has a pattern and a lightness
//! of its own, so that nothing is lost on black-and-white paper.

use maud::{Markup, html};

const ORANGE: &str = "#e69f00";
const SKY: &str = "#56b4e9";
const GREEN: &str = "#009e73";
const YELLOW: &str = "#f0e442";
const BLUE: &str = "#0072b2";
const VERMILION: &str = "#d55e00";
const PURPLE: &str = "#cc79a7";
const BLACK: &str = "#000";
const WHITE: &str = "#fff";
const GREY: &str = "#ddd8d0";

/// What an area of the picture is filled with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fill {
    /// The installer's region, as it was.
    Installer,
    /// Something that changed and must not.
    Broken,
    Erased,
    /// Part of the image of this number.
    Image(usize),
    Neither,
    NotFollowed,
    Register,
    Descriptor,
    Void,
    /// Laid over the others.
    Doubt,
}

/// The patterns of one page.
#[derive(Clone, Copy, Debug)]
pub(super) struct Patterns {
    /// Which image must run in the end: it has the strongest colour.
    pub(super) target: usize,
}

/// The looks that images other than the target have, in turn.
const OTHERS: [&str; 3] = ["was", "also", "more"];

impl Patterns {
    /// The paint, for an attribute `fill`.
    pub(super) fn paint(self, fill: Fill) -> String {
        let name = match fill {
            Fill::Installer => "kept",
            Fill::Broken => "broken",
            Fill::Erased => return WHITE.to_owned(),
            Fill::Image(index) if index == self.target => return BLUE.to_owned(),
            Fill::Image(index) => {
                let turn = if index > self.target { index - 1 } else { index };
                OTHERS[turn % OTHERS.len()]
            }
            Fill::Neither => "neither",
            Fill::NotFollowed => "unfollowed",
            Fill::Register => "register",
            Fill::Descriptor => return BLACK.to_owned(),
            Fill::Void => "void",
            Fill::Doubt => "doubt",
        };
        format!("url(#{name})")
    }

    /// The patterns, once a page.
    pub(super) fn definitions(self) -> Markup {
        let slanted = "M-2 10 L10 -2 M-2 2 L2 -2 M6 10 L10 6";
        let crossed = "M0 0 L8 8 M8 0 L0 8";
        html! {
            svg.definitions width="0" height="0" aria-hidden="true" focusable="false" {
                defs {
                    (pattern("kept", 4, GREY, html! {}))
                    (pattern("broken", 8, VERMILION, stroke(crossed, BLACK, 2.0)))
                    (pattern("was", 8, SKY, stroke(slanted, BLACK, 1.0)))
                    (pattern("also", 5, GREEN, stroke("M2.5 0 V5", WHITE, 1.2)))
                    (pattern("more", 5, YELLOW, stroke("M0 2.5 H5", BLACK, 1.0)))
                    (pattern("neither", 5, WHITE, html! { circle cx="2.5" cy="2.5" r="1.3" fill=(BLACK) {} }))
                    (pattern("unfollowed", 6, WHITE, stroke("M0 3 H2", BLACK, 1.0)))
                    (pattern("register", 6, ORANGE, html! { circle cx="3" cy="3" r="0.8" fill=(BLACK) {} }))
                    (pattern("void", 6, PURPLE, stroke("M0 3 H6 M3 0 V6", WHITE, 1.0)))
                    pattern id="doubt" width="8" height="8" patternUnits="userSpaceOnUse" {
                        rect width="8" height="8" fill=(WHITE) fill-opacity="0.55" {}
                        (stroke(slanted, VERMILION, 3.0))
                        (stroke("M-2 -2 L10 10", BLACK, 0.8))
                    }
                }
            }
        }
    }
}

fn pattern(id: &str, size: u32, ground: &str, drawing: Markup) -> Markup {
    html! {
        pattern id=(id) width=(size) height=(size) patternUnits="userSpaceOnUse" {
            rect width=(size) height=(size) fill=(ground) {}
            (drawing)
        }
    }
}

fn stroke(path: &str, colour: &str, width: f64) -> Markup {
    html! { path d=(path) stroke=(colour) stroke-width=(width) fill="none" {} }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_paint_is_defined() {
        let patterns = Patterns { target: 1 };
        let defined = patterns.definitions().into_string();
        let fills = [
            Fill::Installer,
            Fill::Broken,
            Fill::Image(0),
            Fill::Image(2),
            Fill::Image(3),
            Fill::Image(4),
            Fill::Neither,
            Fill::NotFollowed,
            Fill::Register,
            Fill::Void,
            Fill::Doubt,
        ];
        for fill in fills {
            let paint = patterns.paint(fill);
            let id = paint.strip_prefix("url(#").and_then(|id| id.strip_suffix(')')).unwrap();
            assert!(defined.contains(&format!("id=\"{id}\"")), "{fill:?}");
        }
        assert_ne!(patterns.paint(Fill::Image(1)), patterns.paint(Fill::Image(0)));
        assert_ne!(patterns.paint(Fill::Image(0)), patterns.paint(Fill::Image(2)));
    }
}
