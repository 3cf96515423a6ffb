//! Pictures of a rehearsal: a violation's story as a map of flash over time, and what an exploration covered, as bars.
//!
//! Each picture is one page of HTML that needs nothing else: no script, no font, no network. All functions are pure.

mod cells;
mod columns;
mod coverage;
mod patterns;
mod story;
mod strip;

pub use cells::{Cells, Content, Entry, Held, KnownImage, Run, contents};
pub use coverage::{CoverageOf, coverage_page, phase_words};
pub use story::{StoryPicture, story_page};

use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("style.css");

/// A page around a body, in the look of all pictures.
pub fn page(title: &str, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body { (body) }
        }
    };
    page.into_string()
}

/// A count with a comma between thousands.
pub fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_set_apart() {
        let seen: Vec<_> = [0, 12, 999, 1000, 1_285_378].map(grouped).into();
        assert_eq!(seen, ["0", "12", "999", "1,000", "1,285,378"]);
    }
}
