//! How many owners will have a power cut in the middle of their update.
//!
//! The model: interruptions come independently of one another and of the update, at a constant rate (a Poisson process). Then the
//! number of cut updates among many is Poisson distributed with the mean `owners x rate x time`. The rate of the grid is SAIFI
//! (IEEE Std 1366: sustained interruptions a customer has in a year). It leaves out what is shorter than five minutes, and
//! everything that an owner does: where the maker has counted cut updates, [`mean_interval`] gives a better rate.

use crate::YEAR_S;
use crate::range::{OutOfRange, demand};
use serde::Serialize;

/// How many of several updates are expected to be cut.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Forecast {
    /// Chance that one update is cut.
    pub one: f64,
    /// Expected number of cut updates.
    pub expected: f64,
    /// Chance that at least one is cut.
    pub any: f64,
    /// The number of cut updates lies between these with the chance that was asked for (2.5 % left out on each side for 95 %).
    pub likely: (u64, u64),
}

/// Forecast for `updates` (0 to 1e9) of `update_s` seconds (0 to a year), with `per_year` interruptions a year (0 to 1e5)
/// and an interval of `level` (0.5 to 0.999).
///
/// One update: `1 - exp(-rate x time)`; the count: Poisson with mean `updates x rate x time`.
///
/// # Errors
/// An input out of its range.
pub fn forecast(updates: f64, update_s: f64, per_year: f64, level: f64) -> Result<Forecast, OutOfRange> {
    demand("the number of updates", "", updates, 0.0..=1e9)?;
    demand("the update's time", "s", update_s, 0.0..=YEAR_S)?;
    demand("the rate of interruptions", "a year", per_year, 0.0..=1e5)?;
    of_mean(updates * per_year * update_s / YEAR_S, updates, level)
}

/// Forecast for `updates` (0 to 1e9), of which each is cut with the chance `one` (0 to 1).
///
/// # Errors
/// An input out of its range.
pub fn forecast_by_chance(updates: f64, one: f64, level: f64) -> Result<Forecast, OutOfRange> {
    demand("the number of updates", "", updates, 0.0..=1e9)?;
    demand("the chance of a cut", "", one, 0.0..=1.0)?;
    Ok(Forecast {
        one,
        ..of_mean(updates * one, updates, level)?
    })
}

fn of_mean(mean: f64, updates: f64, level: f64) -> Result<Forecast, OutOfRange> {
    demand("the level of the interval", "", level, 0.5..=0.999)?;
    demand("the expected number of cuts", "", mean, 0.0..=1e9)?;
    let tail = (1.0 - level) / 2.0;
    let each = if updates > 0.0 { mean / updates } else { 0.0 };
    Ok(Forecast {
        one: -(-each).exp_m1(),
        expected: mean,
        any: -(-mean).exp_m1(),
        likely: (quantile(tail, mean), quantile(1.0 - tail, mean)),
    })
}

/// The interval that holds the mean of a Poisson count of which `count` (0 to 1e6) was seen, with at least the confidence `level`
/// (0.5 to 0.999).
///
/// The exact central interval of F. Garwood, *Fiducial Limits for the Poisson Distribution*, Biometrika 28 (1936), 437-442: at the
/// lower end, `count` or more would be seen with half of what is missing to 1; at the upper end, `count` or fewer. The same as
/// half of chi-squared quantiles with `2 count` and `2 count + 2` degrees of freedom.
///
/// # Errors
/// An input out of its range.
pub fn mean_interval(count: u64, level: f64) -> Result<(f64, f64), OutOfRange> {
    demand("the level of the interval", "", level, 0.5..=0.999)?;
    demand("the count", "", count as f64, 0.0..=1e6)?;
    let tail = (1.0 - level) / 2.0;
    let far = count as f64 + 20.0 + 10.0 * (count as f64 + 1.0).sqrt();
    let solve = |at_low: &dyn Fn(f64) -> bool| {
        let (mut low, mut high) = (0.0, far);
        for _ in 0..200 {
            let middle = low + (high - low) / 2.0;
            match at_low(middle) {
                true => low = middle,
                false => high = middle,
            }
        }
        high
    };
    let lower = match count.checked_sub(1) {
        None => 0.0,
        Some(fewer) => solve(&|mean| 1.0 - at_most(fewer, mean) < tail),
    };
    Ok((lower, solve(&|mean| at_most(count, mean) > tail)))
}

/// Chance that a Poisson count with this mean is `count` or less.
fn at_most(count: u64, mean: f64) -> f64 {
    if mean <= 0.0 {
        return 1.0;
    }
    // Downward from `count`, or upward above it: whichever side is away from the bulk, so that terms only shrink.
    let first = density(count, mean);
    match (count as f64) < mean {
        true => sum_down(count, first, mean),
        false => 1.0 - sum_up(count, first, mean),
    }
}

fn sum_down(count: u64, first: f64, mean: f64) -> f64 {
    let (mut term, mut sum, mut k) = (first, first, count);
    while k > 0 && term > sum * 1e-18 {
        term *= k as f64 / mean;
        sum += term;
        k -= 1;
    }
    sum.min(1.0)
}

/// Chance of more than `count`.
fn sum_up(count: u64, first: f64, mean: f64) -> f64 {
    let (mut term, mut sum, mut k) = (first, 0.0, count as f64);
    loop {
        k += 1.0;
        term *= mean / k;
        sum += term;
        if term <= sum * 1e-18 {
            return sum.min(1.0);
        }
    }
}

/// Chance of exactly `count`.
fn density(count: u64, mean: f64) -> f64 {
    let k = count as f64;
    match count {
        0 => (-mean).exp(),
        // ln k! from its product; above, from Stirling's series (NIST DLMF 5.11.1), which is then exact to 1e-16.
        1..=30 => {
            let product: f64 = (2..=count).map(|factor| factor as f64).product();
            (k * mean.ln() - mean).exp() / product
        }
        _ => {
            // k ln(mean / k) + k - mean, without the cancellation of its large terms.
            let off = (mean - k) / k;
            let bulk = k * (ln_1p_less(off));
            let series = 1.0 / (12.0 * k) - 1.0 / (360.0 * k.powi(3)) + 1.0 / (1260.0 * k.powi(5));
            (bulk - series).exp() / (2.0 * std::f64::consts::PI * k).sqrt()
        }
    }
}

/// `ln(1 + x) - x`.
fn ln_1p_less(x: f64) -> f64 {
    if x.abs() > 1e-2 {
        return x.ln_1p() - x;
    }
    // Taylor's series; the first term left out is below 1e-18 of the first.
    let mut sum = 0.0;
    for n in (2..=12).rev() {
        let sign = if n % 2 == 0 { -1.0 } else { 1.0 };
        sum += sign * x.powi(n) / f64::from(n);
    }
    sum
}

/// The least count that is not exceeded with at least the chance `p`.
fn quantile(p: f64, mean: f64) -> u64 {
    let (mut below, mut reaching) = (0, (mean + 40.0 + 12.0 * mean.sqrt()) as u64);
    if at_most(0, mean) >= p {
        return 0;
    }
    // `below` does not reach p, `reaching` does.
    while reaching - below > 1 {
        let middle = below + (reaching - below) / 2;
        match at_most(middle, mean) >= p {
            true => reaching = middle,
            false => below = middle,
        }
    }
    reaching
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn nothing_is_cut_without_owners_time_or_interruptions() {
        for (updates, s, rate) in [(0.0, 60.0, 1.4), (100.0, 0.0, 1.4), (100.0, 60.0, 0.0)] {
            let seen = forecast(updates, s, rate, 0.95).unwrap();
            assert_eq!((seen.expected, seen.any, seen.likely), (0.0, 0.0, (0, 0)));
        }
        let error = forecast(100.0, 60.0, f64::NAN, 0.95).unwrap_err().to_string();
        assert!(
            error.starts_with("the rate of interruptions is NaN a year, where 0 to 100000"),
            "{error}"
        );
        assert!(mean_interval(3, 1.0).is_err());
    }

    #[test]
    fn a_chance_of_one_cuts_them_all() {
        let seen = forecast_by_chance(100.0, 0.5, 0.95).unwrap();
        assert_eq!((seen.one, seen.expected), (0.5, 50.0));
    }

    /// Both branches of the logarithm, where they meet.
    #[test]
    fn the_series_meets_the_logarithm() {
        for x in [-0.0101, -0.0099, 0.0099, 0.0101_f64] {
            let plain = x.ln_1p() - x;
            assert!((ln_1p_less(x) / plain - 1.0).abs() < 1e-11, "{x}");
        }
    }

    proptest! {
        #[test]
        fn the_quantile_is_where_the_chance_passes(mean in 1e-6..1e5_f64, p in 0.001..0.999_f64) {
            let k = quantile(p, mean);
            prop_assert!(at_most(k, mean) >= p);
            prop_assert!(k == 0 || at_most(k - 1, mean) < p);
        }

        #[test]
        fn the_two_intervals_agree(count in 0..2000_u64, level in 0.6..0.99_f64) {
            let (low, high) = mean_interval(count, level).unwrap();
            let tail = (1.0 - level) / 2.0;
            prop_assert!((at_most(count, high) / tail - 1.0).abs() < 1e-6);
            prop_assert!(low <= count as f64 && count as f64 <= high);
            if count > 0 {
                prop_assert!(((1.0 - at_most(count - 1, low)) / tail - 1.0).abs() < 1e-6);
            }
        }

        #[test]
        fn chances_are_chances(updates in 0.0..1e9_f64, s in 0.0..1e7_f64, rate in 0.0..1e5_f64) {
            if let Ok(seen) = forecast(updates, s, rate, 0.95) {
                prop_assert!((0.0..=1.0).contains(&seen.one) && (0.0..=1.0).contains(&seen.any));
                prop_assert!(seen.likely.0 <= seen.likely.1);
            }
        }
    }
}
