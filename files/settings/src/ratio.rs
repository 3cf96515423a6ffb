//! Exact fractions: scales, conversions between units, and formulas never go through floating point.

use std::cmp::Ordering;
use std::fmt;

/// A fraction in lowest terms with a positive denominator. Arithmetic gives `None` where 128 bits do not suffice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Ratio {
    numerator: i128,
    denominator: i128,
}

impl Ratio {
    /// Nothing.
    pub const ZERO: Self = Self {
        numerator: 0,
        denominator: 1,
    };
    /// One.
    pub const ONE: Self = Self {
        numerator: 1,
        denominator: 1,
    };

    /// `numerator / denominator`; `None` for a denominator of 0.
    pub fn new(numerator: i128, denominator: i128) -> Option<Self> {
        if denominator == 0 {
            return None;
        }
        let divisor = i128::try_from(common_divisor(numerator.unsigned_abs(), denominator.unsigned_abs())).ok()?;
        let sign = denominator.signum();
        Some(Self {
            numerator: numerator.checked_div(divisor)?.checked_mul(sign)?,
            denominator: denominator.checked_div(divisor)?.checked_mul(sign)?,
        })
    }

    /// A whole number.
    pub const fn whole(number: i128) -> Self {
        Self {
            numerator: number,
            denominator: 1,
        }
    }

    /// What stands above the line.
    pub const fn numerator(self) -> i128 {
        self.numerator
    }

    /// What stands below the line: above 0.
    pub const fn denominator(self) -> i128 {
        self.denominator
    }

    /// The sum.
    pub fn plus(self, other: Self) -> Option<Self> {
        let left = self.numerator.checked_mul(other.denominator)?;
        let right = other.numerator.checked_mul(self.denominator)?;
        Self::new(
            left.checked_add(right)?,
            self.denominator.checked_mul(other.denominator)?,
        )
    }

    /// The difference.
    pub fn minus(self, other: Self) -> Option<Self> {
        self.plus(Self {
            numerator: other.numerator.checked_neg()?,
            denominator: other.denominator,
        })
    }

    /// The product.
    pub fn times(self, other: Self) -> Option<Self> {
        Self::new(
            self.numerator.checked_mul(other.numerator)?,
            self.denominator.checked_mul(other.denominator)?,
        )
    }

    /// The quotient; `None` too when `other` is 0.
    pub fn over(self, other: Self) -> Option<Self> {
        Self::new(
            self.numerator.checked_mul(other.denominator)?,
            self.denominator.checked_mul(other.numerator)?,
        )
    }

    /// The whole number that it is, if it is one.
    pub const fn as_whole(self) -> Option<i128> {
        if self.denominator == 1 {
            Some(self.numerator)
        } else {
            None
        }
    }

    /// The nearest double.
    #[allow(clippy::cast_precision_loss)]
    pub fn as_f64(self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }

    /// Reads `3`, `-0.25`, `1/10`, `1e-3`; `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        let text: String = text.chars().filter(|character| *character != '_').collect();
        if let Some((above, below)) = text.split_once('/') {
            return Self::decimal(above.trim())?.over(Self::decimal(below.trim())?);
        }
        Self::decimal(text.trim())
    }

    fn decimal(text: &str) -> Option<Self> {
        let (text, exponent) = match text.split_once(['e', 'E']) {
            Some((text, exponent)) => (text, exponent.parse::<i32>().ok()?),
            None => (text, 0),
        };
        let (negative, digits) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        let (whole, places) = digits.split_once('.').unwrap_or((digits, ""));
        if whole.is_empty() || !whole.bytes().chain(places.bytes()).all(|byte| byte.is_ascii_digit()) {
            return None;
        }
        let number: i128 = format!("{whole}{places}").parse().ok()?;
        let power = exponent.checked_sub(i32::try_from(places.len()).ok()?)?;
        let ten = 10i128.checked_pow(power.unsigned_abs())?;
        let number = if negative { number.checked_neg()? } else { number };
        if power < 0 {
            Self::new(number, ten)
        } else {
            number.checked_mul(ten).map(Self::whole)
        }
    }
}

fn common_divisor(mut one: u128, mut other: u128) -> u128 {
    while other != 0 {
        (one, other) = (other, one % other);
    }
    one.max(1)
}

impl PartialOrd for Ratio {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        let left = self.numerator.checked_mul(other.denominator)?;
        let right = other.numerator.checked_mul(self.denominator)?;
        Some(left.cmp(&right))
    }
}

/// As a decimal where that ends, else as a fraction.
impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut places = 0u32;
        let mut power: i128 = 1;
        while power % self.denominator != 0 {
            let (Some(next), true) = (power.checked_mul(10), places < 30) else {
                return write!(f, "{}/{}", self.numerator, self.denominator);
            };
            power = next;
            places += 1;
        }
        let Some(digits) = self.numerator.checked_mul(power / self.denominator) else {
            return write!(f, "{}/{}", self.numerator, self.denominator);
        };
        let sign = if digits < 0 { "-" } else { "" };
        let digits = digits.unsigned_abs();
        let unit = power.unsigned_abs();
        if places == 0 {
            write!(f, "{sign}{digits}")
        } else {
            let width = usize::try_from(places).unwrap_or(0);
            write!(f, "{sign}{}.{:0width$}", digits / unit, digits % unit)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_what_people_write() {
        for (text, above, below) in [
            ("3", 3, 1),
            ("-0.25", -1, 4),
            ("1/10", 1, 10),
            ("1e-3", 1, 1000),
            ("2.5e2", 250, 1),
            ("0.1/3", 1, 30),
            ("1_000", 1000, 1),
        ] {
            assert_eq!(Ratio::parse(text), Ratio::new(above, below), "{text}");
        }
        for text in ["", ".", "1/0", "a", "1e", "--1", "1e99", ".5x"] {
            assert_eq!(Ratio::parse(text), None, "{text}");
        }
    }

    #[test]
    fn shows_decimals_where_they_end() {
        for (text, shown) in [("1/8", "0.125"), ("-1/10", "-0.1"), ("5/9", "5/9"), ("12/4", "3")] {
            assert_eq!(Ratio::parse(text).unwrap().to_string(), shown);
        }
    }
}
