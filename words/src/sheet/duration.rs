//! Durations in words, rounded so that they claim no more than is known.
//!
//! A typical time is rounded to the nearest step, a longest time always up, so "at most" stays true. The steps grow with
//! the time, and every change of step falls on a multiple of the next one: rounding therefore keeps the order of times.

/// Up to which time (seconds, exclusive) which step (seconds) is used. Beyond the last, quarters of an hour.
const STEPS: [(f64, f64); 6] = [
    (20.0, 1.0),
    (60.0, 5.0),
    (120.0, 10.0),
    (600.0, 30.0),
    (1200.0, 60.0),
    (3600.0, 300.0),
];
const LAST_STEP: f64 = 900.0;

/// A typical and a longest time in one phrase: "about 12 seconds, at most 40 seconds".
///
/// Both in seconds. A time that is negative or no finite number is left out; if that leaves nothing: "not known". A longest
/// time below the typical one is taken to be the typical one.
pub fn typical_and_longest(typical_s: f64, longest_s: f64) -> String {
    let typical = known(typical_s);
    let longest = known(longest_s).map(|longest| longest.max(typical.unwrap_or(longest)));
    match (typical, longest) {
        (Some(typical), Some(longest)) if nearest(typical) == up(longest) => at_most(longest),
        (Some(typical), Some(longest)) => format!("{}, {}", about(typical), at_most(longest)),
        (Some(typical), None) => about(typical),
        (None, Some(longest)) => at_most(longest),
        (None, None) => "not known".to_owned(),
    }
}

fn known(seconds: f64) -> Option<f64> {
    (seconds.is_finite() && seconds >= 0.0).then_some(seconds)
}

fn about(seconds: f64) -> String {
    match nearest(seconds) {
        0 => "less than 1 second".to_owned(),
        rounded => format!("about {}", in_words(rounded)),
    }
}

fn at_most(seconds: f64) -> String {
    format!("at most {}", in_words(up(seconds)))
}

fn nearest(seconds: f64) -> u64 {
    let step = step(seconds);
    ((seconds / step).round() * step) as u64
}

fn up(seconds: f64) -> u64 {
    let step = step(seconds);
    (((seconds / step).ceil() * step) as u64).max(1)
}

fn step(seconds: f64) -> f64 {
    STEPS
        .iter()
        .find(|(below, _)| seconds < *below)
        .map_or(LAST_STEP, |(_, step)| *step)
}

fn in_words(seconds: u64) -> String {
    let (minutes, rest) = (seconds / 60, seconds % 60);
    match (minutes, rest) {
        (0, _) => count(seconds, "second"),
        (1, 0) => count(1, "minute"),
        (1, _) => count(seconds, "second"),
        (2..=59, 0) => count(minutes, "minute"),
        (2..=59, _) => format!("{minutes}½ minutes"),
        (_, _) if minutes % 60 == 0 => count(minutes / 60, "hour"),
        (_, _) => format!("{} {}", count(minutes / 60, "hour"), count(minutes % 60, "minute")),
    }
}

fn count(number: u64, unit: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{number} {unit}{plural}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn phrases() {
        for (typical, longest, phrase) in [
            (12.2, 36.1, "about 12 seconds, at most 40 seconds"),
            (0.2, 0.9, "less than 1 second, at most 1 second"),
            (0.0, 0.0, "less than 1 second, at most 1 second"),
            (1.4, 1.9, "about 1 second, at most 2 seconds"),
            (12.0, 12.0, "at most 12 seconds"),
            (58.0, 61.0, "about 1 minute, at most 70 seconds"),
            (95.0, 118.0, "about 100 seconds, at most 2 minutes"),
            (149.0, 311.0, "about 2½ minutes, at most 5½ minutes"),
            (700.0, 1201.0, "about 12 minutes, at most 25 minutes"),
            (3599.0, 5000.0, "about 1 hour, at most 1 hour 30 minutes"),
            (7200.0, 10_700.0, "about 2 hours, at most 3 hours"),
            (30.0, 5.0, "at most 30 seconds"),
            (f64::NAN, 40.0, "at most 40 seconds"),
            (12.0, f64::INFINITY, "about 12 seconds"),
            (-1.0, f64::NAN, "not known"),
        ] {
            assert_eq!(
                typical_and_longest(typical, longest),
                phrase,
                "{typical} s, {longest} s"
            );
        }
    }

    proptest! {
        #[test]
        fn the_longest_is_never_understated_nor_much_overstated(seconds in 0.0f64..1e6) {
            let rounded = up(seconds) as f64;
            prop_assert!(rounded >= seconds);
            prop_assert!(rounded <= (seconds * 1.26).max(seconds + 1.0), "{rounded}");
        }

        #[test]
        fn the_typical_is_within_an_eighth_or_half_a_second(seconds in 0.0f64..1e6) {
            let error = (nearest(seconds) as f64 - seconds).abs();
            prop_assert!(error <= (seconds / 7.9).max(0.5), "{error}");
        }

        #[test]
        fn order_is_kept(a in 0.0f64..1e5, b in 0.0f64..1e5) {
            let (less, more) = (a.min(b), a.max(b));
            prop_assert!(nearest(less) <= nearest(more));
            prop_assert!(up(less) <= up(more));
            prop_assert!(nearest(less) <= up(more));
        }

        #[test]
        fn any_two_numbers_give_a_phrase(typical: f64, longest: f64) {
            prop_assert!(!typical_and_longest(typical, longest).is_empty());
        }
    }
}
