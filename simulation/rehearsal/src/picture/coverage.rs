//! What explorations covered, as tables and bars.

use super::{grouped, page};
use crate::explore::Coverage;
use maud::{Markup, html};
use packstaff_installer::Phase;

const LABEL: f64 = 150.0;
const BAR_MAX: f64 = 420.0;
const WIDTH: f64 = 660.0;
const LINE: f64 = 20.0;

/// What one exploration covered.
#[derive(Clone, Debug)]
pub struct CoverageOf {
    /// What was rehearsed.
    pub heading: String,
    /// Worlds with power off.
    pub worlds: usize,
    /// Powered loaders about to change flash.
    pub powered: usize,
    /// Cuts.
    pub cuts: u64,
    /// By what the unit was doing.
    pub phases: Vec<(String, Coverage)>,
}

/// A page with all of them.
pub fn coverage_page(title: &str, all: &[CoverageOf]) -> String {
    let body = html! {
        header {
            p.of { (title) }
            h1 { "What the rehearsal covered" }
        }
        main {
            p {
                "A world is all that survives a power cut. Each world was visited once, however many cuts led to it: "
                "that is how cuts may follow one another without end. A bar that is one mark longer stands for ten times as many."
            }
            @for one in all { (exploration(one)) }
        }
        footer {
            p { "Counts of a model: what is in it and what is not is told in the guide, under Rehearsal." }
        }
    };
    page(&format!("{title}: what was covered"), &body)
}

fn exploration(of: &CoverageOf) -> Markup {
    let by_cut: usize = of.phases.iter().map(|(_, coverage)| coverage.worlds).sum();
    let counts = |pick: fn(&Coverage) -> u64| {
        let counts = of
            .phases
            .iter()
            .map(|(doing, coverage)| (doing.as_str(), pick(coverage)));
        counts.collect::<Vec<_>>()
    };
    html! {
        h2 { (of.heading) }
        table {
            thead {
                tr {
                    th { "What the unit was doing" }
                    th.figure { "Places for a cut" }
                    th.figure { "Cuts" }
                    th.figure { "New worlds from them" }
                }
            }
            tbody {
                @for (doing, coverage) in &of.phases {
                    tr {
                        th { (doing) }
                        td.figure { (grouped(coverage.powered as u64)) }
                        td.figure { (grouped(coverage.cuts)) }
                        td.figure { (grouped(coverage.worlds as u64)) }
                    }
                }
                tr {
                    th { "nothing: power off" }
                    td.figure { "" }
                    td.figure { "" }
                    td.figure { (grouped(of.worlds.saturating_sub(by_cut) as u64)) }
                }
                tr {
                    th { "all" }
                    td.figure { (grouped(of.powered as u64)) }
                    td.figure { (grouped(of.cuts)) }
                    td.figure { (grouped(of.worlds as u64)) }
                }
            }
        }
        (bars("Cuts", &counts(|coverage| coverage.cuts)))
        (bars("New worlds from cuts", &counts(|coverage| coverage.worlds as u64)))
    }
}

fn bars(caption: &str, counts: &[(&str, u64)]) -> Markup {
    let most = counts.iter().map(|count| count.1).max().unwrap_or(0);
    let decades = f64::from(decades(most));
    let height = LINE * counts.len() as f64 + 6.0;
    let length = |count: u64| match count {
        0 => 0.0,
        _ => BAR_MAX * ((count as f64).log10() + 0.15) / (decades + 0.15),
    };
    html! {
        figure {
            figcaption { (caption) }
            svg viewBox={ "0 0 " (WIDTH) " " (height) } width=(WIDTH) height=(height) role="img" aria-label=(caption) {
                @for decade in 0..=decades as u32 {
                    @let x = format!("{:.1}", LABEL + length(10_u64.saturating_pow(decade)));
                    line.grid x1=(x) y1="0" x2=(x) y2=(height) {}
                }
                @for (index, (doing, count)) in counts.iter().enumerate() {
                    @let y = LINE * index as f64 + 4.0;
                    text x=(LABEL - 8.0) y=(y + 11.0) text-anchor="end" { (doing) }
                    rect x=(LABEL) y=(y) width=(format!("{:.1}", length(*count))) height=(LINE - 7.0) fill="#0072b2" {}
                    text.count x=(format!("{:.1}", LABEL + length(*count) + 6.0)) y=(y + 11.0) { (grouped(*count)) }
                }
            }
        }
    }
}

/// The least n with 10^n at or above a count.
fn decades(count: u64) -> u32 {
    (0..20)
        .find(|n| 10_u64.saturating_pow(*n) >= count)
        .unwrap_or(20)
        .max(1)
}

/// What a unit does in a phase, in plain words.
pub fn phase_words(phase: Phase) -> &'static str {
    match phase {
        Phase::Inspect => "checking its own flash",
        Phase::Survey => "reading the stick",
        Phase::Owner => "asking its owner",
        Phase::Check => "checking the file",
        Phase::Erase => "erasing",
        Phase::Program => "programming",
        Phase::Confirm => "checking, committing",
        Phase::Start => "starting",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decades_reach_the_count() {
        assert_eq!([0, 1, 10, 11, 1000, 1001].map(decades), [1, 1, 1, 2, 3, 4]);
    }
}
