//! Counts of cuts against SciPy, published tables and published arithmetic.

use packstaff_budget::cuts::{forecast, forecast_by_chance, mean_interval};

/// SciPy 1.17.1, as `data/poisson.py` writes it: `chi2.ppf` for the mean, `poisson.ppf` for counts.
const SCIPY: &str = include_str!("data/poisson.csv");

#[test]
fn intervals_agree_with_scipy() {
    let (mut means, mut counts) = (0, 0);
    for line in SCIPY.lines().skip(1) {
        let fields: Vec<_> = line.split(',').collect();
        let [kind, given, level, low, high] = fields.as_slice() else {
            panic!("{line}");
        };
        let level = level.parse().unwrap();
        match *kind {
            "mean" => {
                let (low, high): (f64, f64) = (low.parse().unwrap(), high.parse().unwrap());
                let ours = mean_interval(given.parse().unwrap(), level).unwrap();
                let close = |ours: f64, theirs: f64| (ours - theirs).abs() <= 1e-7 * theirs.max(1e-3);
                assert!(close(ours.0, low) && close(ours.1, high), "{line}: {ours:?}");
                means += 1;
            }
            "count" => {
                let ours = forecast_by_chance(1e9, given.parse::<f64>().unwrap() / 1e9, level).unwrap();
                assert_eq!(ours.likely, (low.parse().unwrap(), high.parse().unwrap()), "{line}");
                counts += 1;
            }
            _ => panic!("{line}"),
        }
    }
    assert_eq!((means, counts), (39, 33));
}

/// The 95 % limits that handbooks print after Garwood (Biometrika 1936): from memory, to the digits printed.
#[test]
fn limits_are_those_of_handbooks() {
    for (count, low, high) in [
        (0, 0.0, 3.69),
        (1, 0.0253, 5.57),
        (2, 0.242, 7.22),
        (3, 0.619, 8.77),
        (5, 1.62, 11.67),
        (10, 4.80, 18.39),
        (20, 12.22, 30.89),
        (100, 81.4, 121.6),
    ] {
        let (ours_low, ours_high) = mean_interval(count, 0.95).unwrap();
        let half = if count == 100 { 0.05 } else { 0.0051 };
        assert!((ours_low - low).abs() <= half, "{count}: {ours_low}");
        assert!((ours_high - high).abs() <= half, "{count}: {ours_high}");
    }
}

/// SAIFI 1.4 (United States 2017 with major events: EIA, Today in Energy 37652): an update of 30, 60 and 300 s is cut with the
/// chance of 1.3e-6, 2.7e-6 and 1.3e-5; of 10,000 updates of 60 s, 0.027 are.
#[test]
fn the_grid_seldom_cuts_an_update() {
    for (s, chance) in [(30.0, 1.3e-6), (60.0, 2.7e-6), (300.0, 1.3e-5)] {
        let seen = forecast(1.0, s, 1.4, 0.95).unwrap();
        assert!((seen.one / chance - 1.0).abs() < 0.04, "{s}: {}", seen.one);
    }
    let seen = forecast(10_000.0, 60.0, 1.4, 0.95).unwrap();
    assert!((seen.expected - 0.027).abs() < 0.0005, "{seen:?}");
    assert_eq!(seen.likely, (0, 1));
}
