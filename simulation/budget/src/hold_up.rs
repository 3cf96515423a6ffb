//! How long a capacitor carries a unit after its supply is cut, and how large it has to be.
//!
//! The capacitor stands before a regulator, at `start_v` when the supply goes. Behind a *linear* regulator the unit draws a
//! constant current `I` from it; behind a *switching* one a constant power `P` (what the unit takes, divided by the
//! efficiency). It holds until its terminals are at `minimum_v`, below which the regulator no longer regulates. With a series
//! resistance `R` (ESR) the terminals are below the voltage inside:
//!
//! - constant current: the inside falls in a straight line, `t = C (V - V' - I R) / I`; the usual `C = I t / (V1 - V2)` when
//!   `R` is 0 (worked examples: Intersil FN8085.8, page 21);
//! - constant power: with `v` at the terminals and `v + P R / v` inside, `C d(v + P R / v)/dt = - P / v` gives
//!   `t = C / P ((v1^2 - v2^2) / 2 - P R ln(v1 / v2))`; the usual `C = 2 P t / (V1^2 - V2^2)` when `R` is 0 (TI SLVAG21,
//!   2.2.1.1, which also raises the lower voltage for the resistance). A source with `R` inside gives `V^2 / (4 R)` at most and
//!   no power at all below `v = sqrt(P R)`, whatever the regulator could use.
//!
//! Both were integrated here from `I = - C dV/dt`; the tests integrate them once more by steps.

use crate::range::{OutOfRange, demand};

/// What the capacitor is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Load {
    /// A constant current, in amperes: a linear regulator, or none.
    CurrentA(f64),
    /// A constant power, in watts, already divided by the regulator's efficiency: a switching regulator.
    PowerW(f64),
}

/// A time with one load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// How long it lasts, in seconds; 0 to a year.
    pub s: f64,
    /// The load.
    pub load: Load,
}

/// Where the charge comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Source {
    /// Voltage on the capacitor when the supply goes, in volts: the lowest that is there in service, since that is when a cut
    /// hurts; above 0, to 1000.
    pub start_v: f64,
    /// Lowest voltage at its terminals that the regulator can use, in volts; 0 to `start_v`.
    pub minimum_v: f64,
    /// Series resistance, in ohms; 0 to 1000.
    pub esr_ohm: f64,
}

/// Why a hold-up cannot be computed, or cannot be had.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum HoldUpError {
    /// An input out of its range.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// No capacitor is large enough.
    #[error(
        "no capacitor is large enough: {start_v:.3} V on it are only {loaded_v:.3} V at its terminals as soon as the load draws, and {minimum_v:.3} V are needed"
    )]
    NeverEnough {
        /// Voltage on the capacitor, in volts.
        start_v: f64,
        /// Voltage at its terminals under load, in volts; 0 if it cannot give the power at all.
        loaded_v: f64,
        /// Voltage needed there, in volts.
        minimum_v: f64,
    },
    /// A capacitor larger than any that is looked at.
    #[error("more than {MOST_F:e} F are needed: shorten the time, lessen the load, or widen the span of voltages")]
    TooLarge,
}

/// A point of the curve of a voltage.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Point {
    /// Seconds after the cut.
    pub s: f64,
    /// Volts at the terminals.
    pub v: f64,
}

/// Largest capacitance that is looked at, in farads: far above any that is sold.
const MOST_F: f64 = 1e7;

impl Load {
    fn check(self) -> Result<(), OutOfRange> {
        match self {
            Self::CurrentA(a) => demand("the current", "A", a, 1e-12..=1000.0).map(drop),
            Self::PowerW(w) => demand("the power", "W", w, 1e-12..=1e6).map(drop),
        }
    }

    /// Volts at the terminals, with `inside_v` inside; 0 where the source cannot give the power.
    fn terminals_v(self, inside_v: f64, esr_ohm: f64) -> f64 {
        match self {
            Self::CurrentA(a) => inside_v - a * esr_ohm,
            Self::PowerW(w) => {
                let root = inside_v * inside_v - 4.0 * w * esr_ohm;
                if root < 0.0 {
                    return 0.0;
                }
                (inside_v + root.sqrt()) / 2.0
            }
        }
    }

    /// Volts inside, with `terminals_v` at the terminals.
    fn inside_v(self, terminals_v: f64, esr_ohm: f64) -> f64 {
        match self {
            Self::CurrentA(a) => terminals_v + a * esr_ohm,
            Self::PowerW(w) => terminals_v + w * esr_ohm / terminals_v,
        }
    }

    /// The lowest voltage at the terminals that can be used: the regulator's, or that below which the source gives no power.
    fn lowest_v(self, source: &Source) -> f64 {
        match self {
            Self::CurrentA(_) => source.minimum_v,
            Self::PowerW(w) => source.minimum_v.max((w * source.esr_ohm).sqrt()),
        }
    }

    /// Seconds from `from_v` to `to_v` at the terminals.
    fn between_s(self, capacitance_f: f64, esr_ohm: f64, from_v: f64, to_v: f64) -> f64 {
        if from_v <= to_v {
            return 0.0;
        }
        match self {
            Self::CurrentA(a) => capacitance_f * (from_v - to_v) / a,
            Self::PowerW(w) => {
                let resistance = match esr_ohm {
                    0.0 => 0.0,
                    _ => w * esr_ohm * (from_v / to_v).ln(),
                };
                capacitance_f / w * ((from_v * from_v - to_v * to_v) / 2.0 - resistance)
            }
        }
    }

    /// Volts at the terminals `s` seconds after they were at `from_v`; `None` if they fall below what can be used before that.
    fn after_v(self, capacitance_f: f64, source: &Source, from_v: f64, s: f64) -> Option<f64> {
        let lowest = self.lowest_v(source);
        if from_v < lowest || self.between_s(capacitance_f, source.esr_ohm, from_v, lowest) < s {
            return None;
        }
        if let Self::CurrentA(a) = self {
            return Some(from_v - a * s / capacitance_f);
        }
        // The time falls steadily with the voltage that is left: halve the interval until it is a point.
        let (mut low, mut high) = (lowest, from_v);
        for _ in 0..100 {
            let middle = low + (high - low) / 2.0;
            match self.between_s(capacitance_f, source.esr_ohm, from_v, middle) < s {
                true => high = middle,
                false => low = middle,
            }
        }
        Some(high)
    }
}

impl Source {
    fn check(&self) -> Result<(), OutOfRange> {
        demand("the voltage at the start", "V", self.start_v, 1e-3..=1000.0)?;
        demand("the lowest voltage", "V", self.minimum_v, 0.0..=self.start_v)?;
        demand("the series resistance", "ohm", self.esr_ohm, 0.0..=1000.0)?;
        Ok(())
    }
}

fn check(source: &Source, stretches: &[Stretch]) -> Result<(), OutOfRange> {
    source.check()?;
    for stretch in stretches {
        stretch.load.check()?;
        demand("the time to hold", "s", stretch.s, 0.0..=crate::YEAR_S)?;
    }
    Ok(())
}

/// Seconds that are asked for.
pub fn needed_s(stretches: &[Stretch]) -> f64 {
    stretches.iter().map(|stretch| stretch.s).sum()
}

/// Seconds until the supply is no longer usable, with `capacitance_f` farads (1e-12 to 1e7): through the stretches in turn,
/// and on with the load of the last one. 0 without a stretch.
///
/// # Errors
/// An input out of its range.
pub fn held_s(capacitance_f: f64, source: &Source, stretches: &[Stretch]) -> Result<f64, OutOfRange> {
    check(source, stretches)?;
    demand("the capacitance", "F", capacitance_f, 1e-12..=MOST_F)?;
    let mut inside = source.start_v;
    let mut held = 0.0;
    for (index, stretch) in stretches.iter().enumerate() {
        let load = stretch.load;
        let from = load.terminals_v(inside, source.esr_ohm);
        let lowest = load.lowest_v(source);
        let left = load.between_s(capacitance_f, source.esr_ohm, from, lowest);
        let last = index + 1 == stretches.len();
        match load.after_v(capacitance_f, source, from, stretch.s) {
            Some(to) if !last => {
                held += stretch.s;
                inside = load.inside_v(to, source.esr_ohm);
            }
            _ => return Ok(held + left),
        }
    }
    Ok(held)
}

/// The least capacitance, in farads, that carries the unit through all stretches: what must be left of the capacitor in the worst
/// case. 0 if the stretches take no time.
///
/// For one stretch without series resistance this is `I t / (V1 - V2)`, or `2 P t / (V1^2 - V2^2)`.
///
/// # Errors
/// An input out of its range, or a source that no capacitor makes good enough.
pub fn least_f(source: &Source, stretches: &[Stretch]) -> Result<f64, HoldUpError> {
    check(source, stretches)?;
    if needed_s(stretches) == 0.0 {
        return Ok(0.0);
    }
    for stretch in stretches {
        let loaded_v = stretch.load.terminals_v(source.start_v, source.esr_ohm);
        let minimum_v = stretch.load.lowest_v(source);
        if loaded_v <= minimum_v {
            return Err(HoldUpError::NeverEnough {
                start_v: source.start_v,
                loaded_v,
                minimum_v,
            });
        }
    }
    let enough = |capacitance_f: f64| carried(capacitance_f, source, stretches);
    // More capacitance never holds for less: halve the interval, by ratio, until it is a point.
    let (mut low, mut high) = (1e-18, MOST_F);
    if !enough(high) {
        return Err(HoldUpError::TooLarge);
    }
    for _ in 0..200 {
        let middle = (low * high).sqrt();
        match enough(middle) {
            true => high = middle,
            false => low = middle,
        }
    }
    Ok(high)
}

fn carried(capacitance_f: f64, source: &Source, stretches: &[Stretch]) -> bool {
    let mut inside = source.start_v;
    stretches.iter().all(|stretch| {
        let from = stretch.load.terminals_v(inside, source.esr_ohm);
        let to = stretch.load.after_v(capacitance_f, source, from, stretch.s);
        to.inspect(|to| inside = stretch.load.inside_v(*to, source.esr_ohm))
            .is_some()
    })
}

/// The voltage at the terminals from the cut until it is no longer usable, at most `points` points a stretch.
///
/// # Errors
/// An input out of its range.
pub fn curve(
    capacitance_f: f64,
    source: &Source,
    stretches: &[Stretch],
    points: usize,
) -> Result<Vec<Point>, OutOfRange> {
    let held = held_s(capacitance_f, source, stretches)?;
    let mut curve = vec![Point {
        s: 0.0,
        v: source.start_v,
    }];
    let (mut inside, mut begin) = (source.start_v, 0.0);
    for (index, stretch) in stretches.iter().enumerate() {
        let load = stretch.load;
        let last = index + 1 == stretches.len();
        let s = if last {
            held - begin
        } else {
            stretch.s.min(held - begin)
        };
        let from = load.terminals_v(inside, source.esr_ohm);
        let mut to = from;
        for step in 0..=points {
            let at = s * step as f64 / points.max(1) as f64;
            // The end itself may be out by a rounding.
            to = load
                .after_v(capacitance_f, source, from, at)
                .unwrap_or_else(|| load.lowest_v(source).min(from));
            curve.push(Point { s: begin + at, v: to });
        }
        inside = load.inside_v(to, source.esr_ohm);
        begin += s;
        if begin >= held {
            break;
        }
    }
    Ok(curve)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOURCE: Source = Source {
        start_v: 5.0,
        minimum_v: 3.6,
        esr_ohm: 0.0,
    };

    fn one(s: f64, load: Load) -> [Stretch; 1] {
        [Stretch { s, load }]
    }

    #[test]
    fn no_time_needs_no_capacitor() {
        assert_eq!(least_f(&SOURCE, &[]), Ok(0.0));
        assert_eq!(least_f(&SOURCE, &one(0.0, Load::PowerW(1.0))), Ok(0.0));
        assert_eq!(held_s(1e-3, &SOURCE, &[]), Ok(0.0));
    }

    #[test]
    fn what_is_impossible_is_said() {
        let weak = Source {
            esr_ohm: 10.0,
            ..SOURCE
        };
        let error = least_f(&weak, &one(0.01, Load::CurrentA(0.2))).unwrap_err();
        assert_eq!(
            error.to_string(),
            "no capacitor is large enough: 5.000 V on it are only 3.000 V at its terminals as soon as the load draws, and 3.600 V are needed"
        );
        // 5 V behind 10 ohms give 0.625 W at most.
        let error = least_f(&weak, &one(0.01, Load::PowerW(0.7))).unwrap_err();
        assert!(error.to_string().contains("are only 0.000 V"), "{error}");
        let error = least_f(&SOURCE, &one(-1.0, Load::CurrentA(0.2))).unwrap_err();
        assert_eq!(
            error.to_string(),
            "the time to hold is -1 s, where 0 to 31557600 s are expected"
        );
        assert!(least_f(&SOURCE, &one(f64::NAN, Load::CurrentA(0.2))).is_err());
        let turned = Source {
            minimum_v: 6.0,
            ..SOURCE
        };
        assert!(held_s(1e-3, &turned, &one(0.1, Load::CurrentA(0.2))).is_err());
        let endless = least_f(&SOURCE, &one(3e7, Load::CurrentA(1000.0))).unwrap_err();
        assert!(
            endless.to_string().starts_with("more than 1e7 F are needed"),
            "{endless}"
        );
    }

    /// Two currents in turn: the charge adds up, and at each end of a stretch the terminals must still be usable.
    #[test]
    fn currents_in_turn_add_up() {
        let source = Source { esr_ohm: 0.5, ..SOURCE };
        let stretches = [
            Stretch {
                s: 0.002,
                load: Load::CurrentA(0.2),
            },
            Stretch {
                s: 0.030,
                load: Load::CurrentA(0.05),
            },
        ];
        let first: f64 = 0.2 * 0.002 / (1.4 - 0.2 * 0.5);
        let both = (0.2 * 0.002 + 0.05 * 0.030) / (1.4 - 0.05 * 0.5);
        let least = least_f(&source, &stretches).unwrap();
        assert!((least / first.max(both) - 1.0).abs() < 1e-9, "{least}");
        assert!((held_s(least, &source, &stretches).unwrap() - 0.032).abs() < 1e-9);
    }

    #[test]
    fn the_curve_begins_at_the_start_and_ends_at_the_minimum() {
        let source = Source { esr_ohm: 0.2, ..SOURCE };
        let stretches = [
            Stretch {
                s: 0.002,
                load: Load::PowerW(0.8),
            },
            Stretch {
                s: 0.006,
                load: Load::PowerW(0.2),
            },
        ];
        let curve = curve(470e-6, &source, &stretches, 20).unwrap();
        let (first, last) = (curve[0], curve[curve.len() - 1]);
        assert_eq!(first, Point { s: 0.0, v: 5.0 });
        assert!((last.v - 3.6).abs() < 1e-6, "{last:?}");
        assert!((last.s - held_s(470e-6, &source, &stretches).unwrap()).abs() < 1e-12);
        assert!(curve.windows(2).all(|pair| pair[0].s <= pair[1].s));
        // When the load falls, so does the loss in the resistance: the voltage steps up a little.
        assert!(curve.windows(2).any(|pair| pair[0].v < pair[1].v));
    }
}
