//! A linear axis with round steps.

/// What runs along one side of a chart, from 0.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// What is measured, with its unit.
    pub label: String,
    /// The value at the near end.
    pub from: f64,
    /// The value at the far end.
    pub to: f64,
}

impl Axis {
    /// From the step below `from` to the step above `to`. An empty or endless range becomes one of length 1.
    pub fn covering(label: impl Into<String>, from: f64, to: f64) -> Self {
        let label = label.into();
        if !(from.is_finite() && to.is_finite() && to > from) {
            let from = if from.is_finite() { from } else { 0.0 };
            return Self {
                label,
                from,
                to: from + 1.0,
            };
        }
        let step = step(to - from);
        Self {
            label,
            from: (from / step).floor() * step,
            to: (to / step).ceil() * step,
        }
    }

    /// Round values between the two ends, ends included, with what is written at them.
    pub fn ticks(&self) -> Vec<(f64, String)> {
        let step = step(self.to - self.from);
        let places = (-step.log10().floor()).clamp(0.0, 12.0) as usize;
        let first = (self.from / step).ceil();
        let count = ((self.to / step).floor() - first).clamp(0.0, 20.0) as u32;
        let value = |index: u32| (first + f64::from(index)) * step;
        (0..=count)
            .map(value)
            .map(|value| (value, format!("{:.*}", places, value + 0.0)))
            .collect()
    }

    /// Where a value lies between the ends: 0 to 1, and beyond them outside.
    pub fn place(&self, value: f64) -> f64 {
        (value - self.from) / (self.to - self.from)
    }
}

/// A step of 1, 2 or 5 times a power of ten, of which a range has four to ten.
fn step(range: f64) -> f64 {
    let rough = (range / 8.0).max(f64::MIN_POSITIVE);
    let decade = 10_f64.powf(rough.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|factor| factor * decade);
    steps
        .into_iter()
        .find(|step| *step >= rough * 0.999_999)
        .unwrap_or(decade * 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn steps_are_round() {
        let axis = Axis::covering("years", 0.0, 47.0);
        assert_eq!((axis.from, axis.to), (0.0, 50.0));
        let written: Vec<_> = axis.ticks().into_iter().map(|tick| tick.1).collect();
        assert_eq!(written, ["0", "10", "20", "30", "40", "50"]);
        let volts = Axis::covering("V", 3.4, 4.81);
        let written: Vec<_> = volts.ticks().into_iter().map(|tick| tick.1).collect();
        assert_eq!(written, ["3.4", "3.6", "3.8", "4.0", "4.2", "4.4", "4.6", "4.8", "5.0"]);
    }

    proptest! {
        #[test]
        fn any_range_has_a_handful_of_ticks(from in -1e9..1e9_f64, length in 1e-9..1e12_f64) {
            let axis = Axis::covering("x", from, from + length);
            let ticks = axis.ticks();
            prop_assert!((2..=12).contains(&ticks.len()), "{axis:?} {ticks:?}");
            prop_assert!(ticks.iter().all(|tick| (-1e-3..=1.001).contains(&axis.place(tick.0))));
        }

        #[test]
        fn any_numbers_make_an_axis(from: f64, to: f64) {
            let axis = Axis::covering("x", from, to);
            prop_assert!(axis.ticks().len() <= 21);
        }
    }
}
