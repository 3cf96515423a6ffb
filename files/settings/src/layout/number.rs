//! What a number may be.

use super::{Meaning, Number, Stored};
use crate::Ratio;

impl Number {
    /// Whether the field allows this stored value: within its range, of names only those there are, of flags no others,
    /// and of floats only numbers.
    pub fn allows(&self, value: Stored) -> bool {
        let in_range = self.lowest.is_none_or(|lowest| lowest.is_at_most(value))
            && self.highest.is_none_or(|highest| value.is_at_most(highest));
        let meant = match (&self.meaning, value) {
            (Meaning::Names(names), Stored::Integer(value)) => names.iter().any(|(_, named)| *named == value),
            (Meaning::Flags(_), Stored::Integer(value)) => value & !self.known_bits() == 0,
            (_, Stored::Real(value)) => value.is_finite(),
            _ => true,
        };
        in_range && meant
    }

    /// The bits that have a flag; 0 for anything but flags.
    pub fn known_bits(&self) -> i128 {
        match &self.meaning {
            Meaning::Flags(flags) => flags.iter().fold(0, |bits, (_, bit)| bits | 1 << bit),
            _ => 0,
        }
    }

    /// What a stored 1 is worth: 1 for names, flags and floats.
    pub const fn scale(&self) -> Ratio {
        match &self.meaning {
            Meaning::Quantity { scale, .. } => *scale,
            Meaning::Names(_) | Meaning::Flags(_) => Ratio::ONE,
        }
    }
}

impl Stored {
    /// Whether it is not above `other`. Never true of something that is no number.
    #[allow(clippy::cast_precision_loss)]
    pub fn is_at_most(self, other: Self) -> bool {
        match (self, other) {
            (Self::Integer(one), Self::Integer(other)) => one <= other,
            (Self::Real(one), Self::Real(other)) => one <= other,
            (Self::Integer(one), Self::Real(other)) => one as f64 <= other,
            (Self::Real(one), Self::Integer(other)) => one <= other as f64,
        }
    }
}
