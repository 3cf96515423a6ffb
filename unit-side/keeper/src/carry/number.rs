//! Numbers of a record, and what becomes of them.
//!
//! Whole numbers are `i64` throughout; what is higher than that (the upper half of `U64`) counts as above every range.

use super::Happened;
use crate::table::{Cell, Kind, Number, Outside, Real, Rounding, Scale};

/// The bits of a cell, as a little-endian number.
pub(super) fn raw(cell: Cell, bytes: &[u8]) -> u64 {
    let add = |value: u64, byte: &u8| value.wrapping_shl(8) | u64::from(*byte);
    if cell.big_endian {
        bytes.iter().fold(0, add)
    } else {
        bytes.iter().rev().fold(0, add)
    }
}

/// Writes the low bytes of `raw` into a cell.
pub(super) fn write_raw(cell: Cell, raw: u64, room: &mut [u8]) {
    let bytes = raw.to_le_bytes();
    if cell.big_endian {
        room.iter_mut().rev().zip(bytes).for_each(|(to, byte)| *to = byte);
    } else {
        room.iter_mut().zip(bytes).for_each(|(to, byte)| *to = byte);
    }
}

/// A whole number; `None` above `i64::MAX`.
pub(super) fn read_whole(cell: Cell, bytes: &[u8]) -> Option<i64> {
    let raw = raw(cell, bytes);
    Some(match cell.kind {
        Kind::I8 => i64::from(raw as i8),
        Kind::I16 => i64::from(raw as i16),
        Kind::I32 => i64::from(raw as i32),
        Kind::I64 => raw as i64,
        _ => return i64::try_from(raw).ok(),
    })
}

/// A float, widened to binary64, or a whole number as the nearest one.
fn read_real(cell: Cell, bytes: &[u8]) -> f64 {
    let raw = raw(cell, bytes);
    match cell.kind {
        Kind::F32 => f64::from(f32::from_bits(raw as u32)),
        Kind::F64 => f64::from_bits(raw),
        Kind::U64 => raw as f64,
        _ => read_whole(cell, bytes).map_or(0.0, |whole| whole as f64),
    }
}

/// What came of a calculation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Came {
    Whole(i64),
    Below,
    Above,
}

impl Number {
    /// What stands in the new cell, as its low bytes; `None` if there is to be no carry-over.
    pub(super) fn carry(&self, bytes: &[u8]) -> Option<(u64, Option<Happened>)> {
        let came = if self.from.kind.is_real() {
            round_real(scale_real(self.scale, read_real(self.from, bytes)), self.rounding)
        } else {
            read_whole(self.from, bytes).map_or(Came::Above, |value| scale_whole(self.scale, value, self.rounding))
        };
        // Whatever the table allows, the cell has to hold it.
        let (lowest, highest) = self.to.kind.span();
        let (low, high) = (self.low.max(lowest), self.high.min(highest));
        let nearest = match came {
            Came::Whole(value) if value >= low && value <= high => return Some((value as u64, None)),
            Came::Whole(value) if value < low => low,
            Came::Below => low,
            Came::Whole(_) | Came::Above => high,
        };
        match self.outside {
            Outside::Clamp => Some((nearest as u64, Some(Happened::Clamped))),
            Outside::Default => Some((self.default as u64, Some(Happened::Defaulted))),
            Outside::Refuse => None,
        }
    }
}

impl Real {
    /// The bits that stand in the new cell; `None` if there is to be no carry-over.
    pub(super) fn carry(&self, bytes: &[u8]) -> Option<(u64, Option<Happened>)> {
        let value = scale_real(self.scale, read_real(self.from, bytes));
        let bits = |value: f64| match self.to.kind {
            Kind::F32 => u64::from((value as f32).to_bits()),
            _ => value.to_bits(),
        };
        if value >= self.low && value <= self.high {
            return Some((bits(value), None));
        }
        match self.outside {
            Outside::Clamp if value > self.high => Some((bits(self.high), Some(Happened::Clamped))),
            Outside::Clamp => Some((bits(self.low), Some(Happened::Clamped))),
            Outside::Default => Some((bits(self.default), Some(Happened::Defaulted))),
            Outside::Refuse => None,
        }
    }
}

/// `(value * mul + add) / div`, rounded once.
fn scale_whole(scale: Scale, value: i64, rounding: Rounding) -> Came {
    let beyond = |negative: bool| if negative { Came::Below } else { Came::Above };
    let Some(product) = value.checked_mul(scale.mul) else {
        return beyond((value < 0) != (scale.mul < 0));
    };
    let Some(sum) = product.checked_add(scale.add) else {
        return beyond(scale.add < 0);
    };
    // A divisor is above zero: a table with another one is malformed.
    let (Some(quotient), Some(rest)) = (sum.checked_div(scale.div), sum.checked_rem(scale.div)) else {
        return Came::Below;
    };
    let away = if sum < 0 { -1 } else { 1 };
    // How the rest compares with half a divisor, without doubling anything.
    let size = rest.unsigned_abs();
    let other = scale.div.unsigned_abs().wrapping_sub(size);
    let step = match rounding {
        _ if rest == 0 => 0,
        Rounding::HalfAway if size >= other => away,
        Rounding::HalfEven if size > other || (size == other && quotient & 1 != 0) => away,
        Rounding::Down if sum < 0 => -1,
        Rounding::Up if sum > 0 => 1,
        _ => 0,
    };
    // A quotient with a rest is at most half of what fits.
    Came::Whole(quotient.saturating_add(step))
}

/// Three operations, each rounded to binary64 on its own.
fn scale_real(scale: Scale, value: f64) -> f64 {
    let product = value * scale.mul as f64;
    let sum = product + scale.add as f64;
    sum / scale.div as f64
}

/// 2^63: what `i64` does not reach.
const TOO_HIGH: f64 = 9_223_372_036_854_775_808.0;

fn round_real(value: f64, rounding: Rounding) -> Came {
    if value >= TOO_HIGH {
        return Came::Above;
    }
    if value.is_nan() || value < -TOO_HIGH {
        return Came::Below;
    }
    let whole = value as i64;
    // Exact: where a binary64 has a fraction at all, its whole part is far below 2^53.
    let rest = value - whole as f64;
    let size = if rest < 0.0 { -rest } else { rest };
    let away = if value < 0.0 { -1 } else { 1 };
    let step = match rounding {
        _ if rest == 0.0 => 0,
        Rounding::HalfAway if size >= 0.5 => away,
        Rounding::HalfEven if size > 0.5 || (size == 0.5 && whole & 1 != 0) => away,
        Rounding::Down if value < 0.0 => -1,
        Rounding::Up if value > 0.0 => 1,
        _ => 0,
    };
    Came::Whole(whole.saturating_add(step))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn whole(scale: (i64, i64, i64), value: i64, rounding: Rounding) -> Came {
        let (mul, add, div) = scale;
        scale_whole(Scale { mul, add, div }, value, rounding)
    }

    /// Fixed points of the two scales (BIPM, SI Brochure, and the definition of the degree Fahrenheit): tenths of a degree F to
    /// hundredths of a degree C.
    #[test]
    fn fahrenheit_to_celsius() {
        let scale = (50, -16_000, 9);
        for (tenths_f, hundredths_c) in [(320, 0), (2120, 10_000), (-400, -4_000), (986, 3_700), (-4596, -27_311)] {
            assert_eq!(
                whole(scale, tenths_f, Rounding::HalfAway),
                Came::Whole(hundredths_c),
                "{tenths_f}"
            );
        }
    }

    /// IEEE 754-2019, 4.3: the rounding attributes, on 2.5, -2.5, 3.5, 2.25 and -2.25.
    #[test]
    fn halves() {
        use Rounding::{Down, HalfAway, HalfEven, TowardZero, Up};
        for (quarters, expected) in [
            (10, [3, 2, 2, 3, 2]),
            (-10, [-3, -2, -3, -2, -2]),
            (14, [4, 4, 3, 4, 3]),
            (9, [2, 2, 2, 3, 2]),
            (-9, [-2, -2, -3, -2, -2]),
        ] {
            for (rounding, expected) in [HalfAway, HalfEven, Down, Up, TowardZero].into_iter().zip(expected) {
                assert_eq!(
                    whole((1, 0, 4), quarters, rounding),
                    Came::Whole(expected),
                    "{quarters} {rounding:?}"
                );
                let real = quarters as f64 / 4.0;
                assert_eq!(round_real(real, rounding), Came::Whole(expected), "{real} {rounding:?}");
            }
        }
    }

    #[test]
    fn what_does_not_fit_has_a_side() {
        assert_eq!(whole((2, 0, 1), i64::MAX, Rounding::Down), Came::Above);
        assert_eq!(whole((-2, 0, 1), i64::MAX, Rounding::Down), Came::Below);
        assert_eq!(whole((1, -1, 1), i64::MIN, Rounding::Down), Came::Below);
        assert_eq!(round_real(f64::NAN, Rounding::Down), Came::Below);
        assert_eq!(round_real(f64::INFINITY, Rounding::Down), Came::Above);
        assert_eq!(round_real(-TOO_HIGH, Rounding::Down), Came::Whole(i64::MIN));
    }

    proptest! {
        /// Beside arithmetic of 128 bits.
        #[test]
        fn one_rounding_and_no_more(
            value: i64, mul in -100_000..100_000_i64, add in -1_000_000_000..1_000_000_000_i64, div in 1..100_000_i64,
            which in 0..5_usize,
        ) {
            let value = value >> 16;
            let rounding = Rounding::ALL[which];
            let exact = i128::from(value) * i128::from(mul) + i128::from(add);
            let div128 = i128::from(div);
            let floor = exact.div_euclid(div128);
            let twice = exact.rem_euclid(div128) * 2;
            let expected = match rounding {
                Rounding::Down => floor,
                Rounding::Up => floor + i128::from(twice > 0),
                Rounding::TowardZero => exact / div128,
                Rounding::HalfAway if twice == div128 => if exact < 0 { floor } else { floor + 1 },
                Rounding::HalfEven if twice == div128 => floor + floor.rem_euclid(2),
                _ => floor + i128::from(twice > div128),
            };
            let came = whole((mul, add, div), value, rounding);
            match i64::try_from(exact) {
                Ok(_) => prop_assert_eq!(came, Came::Whole(i64::try_from(expected).unwrap())),
                Err(_) => prop_assert_eq!(came, if exact < 0 { Came::Below } else { Came::Above }),
            }
        }
    }
}
