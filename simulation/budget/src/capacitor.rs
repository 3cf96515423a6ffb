//! What is left of a capacitor's nominal value when it is needed.

use crate::range::{OutOfRange, demand};

/// What may be missing from the value that is printed on a capacitor, as fractions of what there was before.
///
/// Tolerance of a new one, loss by age at the end of its life, loss in the cold. They multiply: a part at its lower limit that
/// then loses a fifth has 0.8 times 0.8 of its nominal value. Electrolytic capacitors are commonly sold with 20 % tolerance, and
/// their life ends by definition when 20 % is gone (30 % for types for wide temperatures): common practice, from memory.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Losses {
    /// Tolerance downward when new; 0 to 0.9.
    pub tolerance: f64,
    /// Loss at the end of its life; 0 to 0.9.
    pub ageing: f64,
    /// Further loss at the lowest temperature; 0 to 0.9.
    pub cold: f64,
}

impl Losses {
    /// Demands that each lies in its range.
    ///
    /// # Errors
    /// The first that does not.
    pub fn check(self) -> Result<Self, OutOfRange> {
        for (what, loss) in [
            ("the capacitor's tolerance", self.tolerance),
            ("the capacitor's loss by age", self.ageing),
            ("the capacitor's loss in the cold", self.cold),
        ] {
            demand(what, "of 1", loss, 0.0..=0.9)?;
        }
        Ok(self)
    }

    /// The part of the nominal value that is left in the worst case.
    pub fn left(self) -> f64 {
        (1.0 - self.tolerance) * (1.0 - self.ageing) * (1.0 - self.cold)
    }

    /// Capacitance that can be relied on, in farads, of a nominal value.
    pub fn least_f(self, nominal_f: f64) -> f64 {
        nominal_f * self.left()
    }

    /// Nominal value, in farads, of which a capacitance is left in the worst case.
    pub fn nominal_f(self, least_f: f64) -> f64 {
        least_f / self.left()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn losses_multiply() {
        let losses = Losses {
            tolerance: 0.2,
            ageing: 0.2,
            cold: 0.0,
        };
        assert!((1.0 / losses.left() - 1.5625).abs() < 1e-12);
        assert!((losses.least_f(losses.nominal_f(96e-6)) - 96e-6).abs() < 1e-18);
        assert!(losses.check().is_ok());
        let wrong = Losses { ageing: 20.0, ..losses };
        assert_eq!(
            wrong.check().unwrap_err().to_string(),
            "the capacitor's loss by age is 20 of 1, where 0 to 0.9 of 1 are expected"
        );
    }
}
