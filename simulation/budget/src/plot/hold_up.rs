//! The voltage after the supply is cut.

use super::axis::Axis;
use super::chart::{Chart, Level, Line, Look, Moment};
use crate::hold_up::{Source, Stretch, curve, held_s, needed_s};
use crate::range::OutOfRange;

/// What is drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct HoldUpPicture<'a> {
    /// What it is about, such as a board.
    pub of: &'a str,
    /// Where the charge comes from.
    pub source: Source,
    /// What has to be carried, each stretch with the words for its end.
    pub stretches: &'a [(Stretch, String)],
    /// The capacitor's nominal value, in farads.
    pub nominal_f: f64,
    /// What is left of it in the worst case, in farads.
    pub least_f: f64,
}

/// Voltage at the capacitor's terminals over time, for its nominal value and for the worst case.
///
/// # Errors
/// An input out of its range.
pub fn hold_up_chart(picture: &HoldUpPicture<'_>) -> Result<Chart, OutOfRange> {
    let stretches: Vec<_> = picture.stretches.iter().map(|(stretch, _)| *stretch).collect();
    let needed = needed_s(&stretches);
    let mut lines = Vec::new();
    let mut longest = needed;
    for (capacitance_f, look, name) in [
        (picture.nominal_f, Look::Usual, "nominal"),
        (picture.least_f, Look::Worst, "worst case"),
    ] {
        let held = held_s(capacitance_f, &picture.source, &stretches)?;
        longest = longest.max(held);
        let points = curve(capacitance_f, &picture.source, &stretches, 60)?;
        lines.push(Line {
            label: format!("{name}: {} hold {:.1}\u{a0}ms", farads(capacitance_f), held * 1e3),
            look,
            points: points.iter().map(|point| (point.s * 1e3, point.v)).collect(),
        });
    }
    let mut end = 0.0;
    let moments = picture.stretches.iter().map(|(stretch, words)| {
        end += stretch.s;
        Moment {
            label: format!("{words}: {:.1} ms", end * 1e3),
            value: end * 1e3,
        }
    });
    let lowest = picture.source.minimum_v;
    let margin = (picture.source.start_v - lowest) * 0.15;
    Ok(Chart {
        title: format!(
            "{}: voltage on the capacitor after the supply is cut, over time",
            picture.of
        ),
        moments: moments.collect(),
        across: Axis::covering("milliseconds after the cut", 0.0, longest * 1e3 * 1.04),
        upright: Axis::covering(
            "volts at the capacitor",
            (lowest - margin).max(0.0),
            picture.source.start_v,
        ),
        lines,
        levels: vec![Level {
            label: format!("{lowest:.2}\u{a0}V: lowest that is usable"),
            value: lowest,
        }],
    })
}

/// A capacitance with the prefix that it is printed with, to three digits or more, and a space that no line is broken at.
pub fn farads(f: f64) -> String {
    let (scaled, unit) = match f {
        f if f < 1e-9 => (f * 1e12, "pF"),
        f if f < 1e-6 => (f * 1e9, "nF"),
        f if f < 0.1 => (f * 1e6, "µF"),
        f => (f, "F"),
    };
    let places = match scaled {
        scaled if scaled < 9.995 => 2,
        scaled if scaled < 99.95 => 1,
        _ => 0,
    };
    let text = format!("{scaled:.places$}");
    let text = match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.'),
        false => &text,
    };
    format!("{text}\u{a0}{unit}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hold_up::Load;

    #[test]
    fn capacitances_are_written_as_printed() {
        let written = [470e-6, 2.2e-3, 96e-6, 0.47, 1.5, 10e-12, 4.7e-9, 0.0, 1234.5e-6];
        let written = written.map(|f| farads(f).replace('\u{a0}', " "));
        let expected = [
            "470 µF", "2200 µF", "96 µF", "0.47 F", "1.5 F", "10 pF", "4.7 nF", "0 pF", "1234 µF",
        ];
        assert_eq!(written, expected);
    }

    #[test]
    fn both_curves_and_every_moment_are_drawn() {
        let stretch = |s, a| Stretch {
            s,
            load: Load::CurrentA(a),
        };
        let stretches = [
            (stretch(0.002, 0.09), "cut noticed".to_owned()),
            (stretch(0.011, 0.045), "page written".to_owned()),
        ];
        let chart = hold_up_chart(&HoldUpPicture {
            of: "board C",
            source: Source {
                start_v: 4.75,
                minimum_v: 3.6,
                esr_ohm: 0.08,
            },
            stretches: &stretches,
            nominal_f: 2200e-6,
            least_f: 1408e-6,
        })
        .unwrap();
        assert_eq!(chart.lines.len(), 2);
        assert_eq!(chart.moments[1].label, "page written: 13.0 ms");
        let svg = chart.svg();
        assert!(
            svg.contains("worst case: 1408\u{a0}µF") && svg.contains("3.60\u{a0}V: lowest"),
            "{svg}"
        );
    }
}
