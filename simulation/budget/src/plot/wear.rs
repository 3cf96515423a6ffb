//! Wear over the years.

use super::axis::Axis;
use super::chart::{Chart, Level, Line, Look, Moment};
use crate::wear::years;

/// Something that wears.
#[derive(Clone, Debug, PartialEq)]
pub struct WearLine {
    /// What it is.
    pub name: String,
    /// Rated cycles.
    pub cycles: f64,
    /// Cycles a day.
    pub per_day: f64,
    /// How it is drawn.
    pub look: Look,
}

/// The part of the rated cycles that is used, over the years, for at most six things; `served_years` is how long a unit is
/// meant to serve.
pub fn wear_chart(of: &str, lines: &[WearLine], served_years: f64) -> Chart {
    let mut drawn: Vec<_> = lines
        .iter()
        .map(|line| (years(line.cycles, line.per_day), line))
        .collect();
    drawn.sort_by(|a, b| a.0.total_cmp(&b.0));
    drawn.truncate(6);
    // As far as the first is worn out, if that is not too far away to see the years of service.
    let first = drawn.first().map_or(f64::INFINITY, |line| line.0);
    let end = match first.is_finite() {
        true => (first * 1.1).clamp(served_years * 1.25, served_years * 6.0),
        false => served_years * 1.5,
    };
    let across = Axis::covering("years in service", 0.0, end);
    let end = across.to;
    let used = |years: f64, line: &WearLine| 100.0 * years * line.per_day * crate::YEAR_DAYS / line.cycles;
    let most = drawn.iter().map(|(_, line)| used(end, line)).fold(0.0, f64::max);
    let highest = most.clamp(1.0, 110.0);
    let lines = drawn.into_iter().map(|(_, line)| Line {
        label: format!("{}: {}", line.name, share(used(served_years, line))),
        look: line.look,
        points: vec![(0.0, 0.0), (end, used(end, line))],
    });
    let rated = Level {
        label: "rated cycles".to_owned(),
        value: 100.0,
    };
    Chart {
        title: format!("{of}: part of the rated cycles used, over the years"),
        across,
        upright: Axis::covering("per cent of the rated cycles", 0.0, highest),
        lines: lines.collect(),
        levels: (highest >= 100.0).then_some(rated).into_iter().collect(),
        moments: vec![Moment {
            label: format!("meant to serve: {served_years} years"),
            value: served_years,
        }],
    }
}

fn share(percent: f64) -> String {
    match percent {
        percent if percent >= 10.0 => format!("{percent:.0}\u{a0}% used by then"),
        percent if percent >= 0.1 => format!("{percent:.1}\u{a0}% used by then"),
        percent if percent > 0.0 => "under 0.1\u{a0}% used by then".to_owned(),
        _ => "unused".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(name: &str, per_day: f64) -> WearLine {
        WearLine {
            name: name.to_owned(),
            cycles: 1e6,
            per_day,
            look: Look::Usual,
        }
    }

    #[test]
    fn the_first_to_wear_out_decides_the_years_that_are_shown() {
        let chart = wear_chart("board C", &[line("hours", 60.0), line("settings", 2.0)], 15.0);
        // A million cycles at 60 a day: 45.6 years.
        assert!((50.0..=60.0).contains(&chart.across.to), "{:?}", chart.across);
        assert_eq!(chart.levels.len(), 1);
        assert_eq!(chart.lines[0].label, "hours: 33\u{a0}% used by then");
        assert!(!chart.svg().contains("NaN"));
    }

    #[test]
    fn what_hardly_wears_is_shown_all_the_same() {
        let chart = wear_chart("board C", &[line("settings", 0.5), line("never", 0.0)], 15.0);
        assert_eq!((chart.upright.to, chart.levels.len()), (2.0, 0));
        assert_eq!(chart.lines[1].label, "never: unused");
        assert_eq!(wear_chart("board C", &[], 15.0).lines, []);
    }
}
