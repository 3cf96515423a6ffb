//! Preferred values of capacitors.

use serde::Serialize;

/// A series of IEC 60063: so many values a decade.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Series {
    /// Six values a decade, for 20 % parts.
    E6,
    /// Twelve values a decade, for 10 % parts.
    E12,
    /// Twenty-four values a decade, for 5 % parts.
    E24,
}

/// E24 in tenths, 10 to 91. E12 is every second of them, E6 every fourth (IEC 60063; compared with another list in
/// `tests/series.rs`).
const E24: [u32; 24] = [
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
];

impl Series {
    /// The values of one decade, in tenths of its beginning: 10 to 91.
    pub fn tenths(self) -> impl Iterator<Item = u32> {
        let step = match self {
            Self::E6 => 4,
            Self::E12 => 2,
            Self::E24 => 1,
        };
        E24.into_iter().step_by(step)
    }

    /// The least value of the series that is not below `least`, in the same unit; for anything from 1e-15 to 1e6.
    ///
    /// A value that misses one of the series by less than a millionth counts as that one: it was computed.
    pub fn at_least(self, least: f64) -> Option<f64> {
        if !(1e-15..=1e6).contains(&least) {
            return None;
        }
        let decade = least.log10().floor() as i32;
        let candidates = (decade - 1..=decade + 1).flat_map(|decade| {
            // One rounding only: 470 uF is the double nearest to 470e-6.
            self.tenths().map(move |tenths| match decade - 1 {
                exponent @ 0.. => f64::from(tenths) * 10_f64.powi(exponent),
                exponent => f64::from(tenths) / 10_f64.powi(-exponent),
            })
        });
        candidates.into_iter().find(|value| *value >= least * (1.0 - 1e-6))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn computed_values_count_as_printed_ones() {
        assert_eq!(Series::E6.at_least(470e-6), Some(470e-6));
        assert_eq!(Series::E6.at_least(470.000_1e-6), Some(470e-6));
        assert_eq!(Series::E6.at_least(471e-6), Some(680e-6));
        assert_eq!(Series::E12.at_least(471e-6), Some(560e-6));
        assert_eq!(Series::E24.at_least(9.2), Some(10.0));
        assert_eq!(Series::E12.at_least(0.0), None);
        assert_eq!(Series::E12.at_least(f64::NAN), None);
    }

    proptest! {
        #[test]
        fn the_next_value_is_near_and_never_below(exponent in -14.0..5.9_f64) {
            let least = 10_f64.powf(exponent);
            for (series, widest) in [(Series::E6, 1.55), (Series::E12, 1.26), (Series::E24, 1.16)] {
                let next = series.at_least(least).unwrap();
                prop_assert!(next >= least * (1.0 - 1.1e-6) && next <= least * widest, "{least} {next}");
            }
        }

        #[test]
        fn finer_series_are_never_further_away(exponent in -14.0..5.9_f64) {
            let least = 10_f64.powf(exponent);
            let next = |series: Series| series.at_least(least).unwrap();
            prop_assert!(next(Series::E24) <= next(Series::E12) && next(Series::E12) <= next(Series::E6));
        }
    }
}
