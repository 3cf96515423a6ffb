//! Units of measurement, as far as a machine can convert between them.
//!
//! Factors: the SI Brochure (9th edition), tables 2, 4, 7 and 8, for units and prefixes; the Fahrenheit scale as NIST
//! Special Publication 811 (2008), B.8 gives it: t/°C = (t/°F - 32) / 1.8, and a difference is 1/1.8.

use crate::Ratio;
use std::fmt;
use thiserror::Error;

/// A unit of measurement.
///
/// A known one is a product of powers of base dimensions, a factor and, for a temperature, a zero of its own. Two known
/// units of the same dimension convert into each other. Any other text is a unit that converts to itself alone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unit {
    text: String,
    known: Option<Known>,
}

/// Dimension exponents: time, length, mass, temperature, current, amount of other counted things.
type Dimension = [i8; 5];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Known {
    dimension: Dimension,
    /// In base units: value in base units = value * factor + zero.
    factor: Ratio,
    /// Where the unit's 0 lies on the base scale: only for a temperature on a scale.
    zero: Ratio,
}

/// Why a text is no unit.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum UnitError {
    /// Empty, or with characters that a unit does not have.
    #[error("{0:?} is not a unit: use letters, %, °, µ, digits and / only, such as \"°C\", \"s\", \"°C/h\"")]
    Text(String),
}

const NONE: Dimension = [0; 5];
const TIME: Dimension = [1, 0, 0, 0, 0];
const FREQUENCY: Dimension = [-1, 0, 0, 0, 0];
const LENGTH: Dimension = [0, 1, 0, 0, 0];
const MASS: Dimension = [0, 0, 1, 0, 0];
const TEMPERATURE: Dimension = [0, 0, 0, 1, 0];
const CURRENT: Dimension = [0, 0, 0, 0, 1];
const VOLTAGE: Dimension = [-3, 2, 1, 0, -1];
const POWER: Dimension = [-3, 2, 1, 0, 0];
const ENERGY: Dimension = [-2, 2, 1, 0, 0];
const RESISTANCE: Dimension = [-3, 2, 1, 0, -2];
const CHARGE: Dimension = [1, 0, 0, 0, 1];
const PRESSURE: Dimension = [-2, -1, 1, 0, 0];

/// Name, dimension, factor, zero; the last two as fractions.
type Row = (&'static str, Dimension, (i128, i128), (i128, i128));

/// The kilogram is the base unit of mass.
const TABLE: &[Row] = &[
    ("%", NONE, (1, 100), (0, 1)),
    ("ppm", NONE, (1, 1_000_000), (0, 1)),
    ("1", NONE, (1, 1), (0, 1)),
    ("us", TIME, (1, 1_000_000), (0, 1)),
    ("ms", TIME, (1, 1000), (0, 1)),
    ("s", TIME, (1, 1), (0, 1)),
    ("min", TIME, (60, 1), (0, 1)),
    ("h", TIME, (3600, 1), (0, 1)),
    ("d", TIME, (86400, 1), (0, 1)),
    ("Hz", FREQUENCY, (1, 1), (0, 1)),
    ("kHz", FREQUENCY, (1000, 1), (0, 1)),
    ("MHz", FREQUENCY, (1_000_000, 1), (0, 1)),
    ("um", LENGTH, (1, 1_000_000), (0, 1)),
    ("mm", LENGTH, (1, 1000), (0, 1)),
    ("cm", LENGTH, (1, 100), (0, 1)),
    ("m", LENGTH, (1, 1), (0, 1)),
    ("km", LENGTH, (1000, 1), (0, 1)),
    ("in", LENGTH, (254, 10000), (0, 1)),
    ("ft", LENGTH, (3048, 10000), (0, 1)),
    ("mg", MASS, (1, 1_000_000), (0, 1)),
    ("g", MASS, (1, 1000), (0, 1)),
    ("kg", MASS, (1, 1), (0, 1)),
    ("lb", MASS, (45_359_237, 100_000_000), (0, 1)),
    ("K", TEMPERATURE, (1, 1), (0, 1)),
    ("°C", TEMPERATURE, (1, 1), (27315, 100)),
    // t/K = (t/°F + 459.67) / 1.8
    ("°F", TEMPERATURE, (5, 9), (45967, 180)),
    ("uA", CURRENT, (1, 1_000_000), (0, 1)),
    ("mA", CURRENT, (1, 1000), (0, 1)),
    ("A", CURRENT, (1, 1), (0, 1)),
    ("uV", VOLTAGE, (1, 1_000_000), (0, 1)),
    ("mV", VOLTAGE, (1, 1000), (0, 1)),
    ("V", VOLTAGE, (1, 1), (0, 1)),
    ("mW", POWER, (1, 1000), (0, 1)),
    ("W", POWER, (1, 1), (0, 1)),
    ("kW", POWER, (1000, 1), (0, 1)),
    ("J", ENERGY, (1, 1), (0, 1)),
    ("kJ", ENERGY, (1000, 1), (0, 1)),
    ("Wh", ENERGY, (3600, 1), (0, 1)),
    ("kWh", ENERGY, (3_600_000, 1), (0, 1)),
    ("mOhm", RESISTANCE, (1, 1000), (0, 1)),
    ("Ohm", RESISTANCE, (1, 1), (0, 1)),
    ("kOhm", RESISTANCE, (1000, 1), (0, 1)),
    ("mAh", CHARGE, (36, 10), (0, 1)),
    ("Ah", CHARGE, (3600, 1), (0, 1)),
    ("Pa", PRESSURE, (1, 1), (0, 1)),
    ("hPa", PRESSURE, (100, 1), (0, 1)),
    ("kPa", PRESSURE, (1000, 1), (0, 1)),
    ("bar", PRESSURE, (100_000, 1), (0, 1)),
    ("mbar", PRESSURE, (100, 1), (0, 1)),
];

/// Other ways of writing a unit.
const ALIASES: &[(&str, &str)] = &[
    ("degC", "°C"),
    ("degF", "°F"),
    ("µs", "us"),
    ("µm", "um"),
    ("µA", "uA"),
    ("µV", "uV"),
    ("Ω", "Ohm"),
    ("kΩ", "kOhm"),
    ("mΩ", "mOhm"),
];

impl Unit {
    /// Reads a unit: one name, or two with a `/` between them.
    ///
    /// # Errors
    /// The text has characters that a unit does not have.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        let fits = |character: char| character.is_alphanumeric() || "%°µΩ/·^-".contains(character);
        if text.is_empty() || text.chars().count() > 24 || !text.chars().all(fits) {
            return Err(UnitError::Text(text.to_owned()));
        }
        let known = match text.split_once('/') {
            None => find(text),
            Some((above, below)) => find(above)
                .zip(find(below))
                .and_then(|(above, below)| quotient(above, below)),
        };
        Ok(Self {
            text: ALIASES
                .iter()
                .find(|(alias, _)| *alias == text)
                .map_or(text, |(_, name)| *name)
                .to_owned(),
            known,
        })
    }

    /// As it is written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether a machine knows what it measures.
    pub const fn is_known(&self) -> bool {
        self.known.is_some()
    }

    /// Whether the unit's 0 is not nothing, so that values and differences convert differently: °C and °F.
    pub fn has_own_zero(&self) -> bool {
        self.known.is_some_and(|known| known.zero != Ratio::ZERO)
    }

    /// Factor and offset from this unit to `other`: value in `other` = value * factor + offset. A `difference` has no
    /// offset. `None` when the two do not measure the same.
    pub fn to(&self, other: &Self, difference: bool) -> Option<(Ratio, Ratio)> {
        if self.text == other.text {
            return Some((Ratio::ONE, Ratio::ZERO));
        }
        let (from, to) = (self.known?, other.known?);
        if from.dimension != to.dimension {
            return None;
        }
        let factor = from.factor.over(to.factor)?;
        let offset = if difference {
            Ratio::ZERO
        } else {
            from.zero.minus(to.zero)?.over(to.factor)?
        };
        Some((factor, offset))
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

fn find(name: &str) -> Option<Known> {
    let name = ALIASES
        .iter()
        .find(|(alias, _)| *alias == name)
        .map_or(name, |(_, name)| *name);
    let (_, dimension, factor, zero) = TABLE.iter().find(|(unit, ..)| *unit == name)?;
    Some(Known {
        dimension: *dimension,
        factor: Ratio::new(factor.0, factor.1)?,
        zero: Ratio::new(zero.0, zero.1)?,
    })
}

/// Of a temperature per something only differences are meant.
fn quotient(above: Known, below: Known) -> Option<Known> {
    let mut dimension = above.dimension;
    for (power, minus) in dimension.iter_mut().zip(below.dimension) {
        *power = power.checked_sub(minus)?;
    }
    Some(Known {
        dimension,
        factor: above.factor.over(below.factor)?,
        zero: Ratio::ZERO,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn convert(value: &str, from: &str, to: &str, difference: bool) -> Option<String> {
        let (factor, offset) = Unit::parse(from).unwrap().to(&Unit::parse(to).unwrap(), difference)?;
        let value = Ratio::parse(value)?.times(factor)?.plus(offset)?;
        Some(value.to_string())
    }

    /// Fixed points: NIST SP 811 B.8; the minus 40 where both scales meet follows from it.
    #[test]
    fn temperatures() {
        assert_eq!(convert("212", "°F", "°C", false).as_deref(), Some("100"));
        assert_eq!(convert("32", "degF", "degC", false).as_deref(), Some("0"));
        assert_eq!(convert("-40", "°C", "°F", false).as_deref(), Some("-40"));
        assert_eq!(convert("0", "°C", "K", false).as_deref(), Some("273.15"));
        assert_eq!(convert("18", "°F", "°C", true).as_deref(), Some("10"));
        assert_eq!(convert("180", "°F/h", "°C/h", false).as_deref(), Some("100"));
        assert_eq!(convert("1", "°C/min", "°F/h", false).as_deref(), Some("108"));
    }

    #[test]
    fn others() {
        assert_eq!(convert("1.5", "h", "min", false).as_deref(), Some("90"));
        assert_eq!(convert("1", "in", "mm", false).as_deref(), Some("25.4"));
        assert_eq!(convert("1", "h", "mm", false), None);
        assert_eq!(convert("1", "clicks", "clicks", false).as_deref(), Some("1"));
        assert_eq!(convert("1", "clicks", "s", false), None);
        assert!(Unit::parse("").is_err());
        assert!(Unit::parse("a b").is_err());
    }
}
