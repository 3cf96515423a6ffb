//! Numbers and their bytes.

use crate::layout::{Repr, Stored};

/// The bytes of a stored number. What the representation cannot hold is cut to its low bytes; readers never let it come to that.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
pub(crate) fn number_bytes(repr: Repr, stored: Stored, big: bool) -> Vec<u8> {
    let bits = match (repr, stored) {
        (Repr::F32, Stored::Real(value)) => u64::from((value as f32).to_bits()),
        (Repr::F64, Stored::Real(value)) => value.to_bits(),
        (_, Stored::Integer(value)) => value as u64,
        (_, Stored::Real(_)) => 0,
    };
    let mut bytes: Vec<u8> = bits.to_le_bytes().into_iter().take(repr.size() as usize).collect();
    if big {
        bytes.reverse();
    }
    bytes
}

/// The number in these bytes, of which there must be as many as the representation has.
pub(crate) fn number_of(repr: Repr, bytes: &[u8], big: bool) -> Option<Stored> {
    if bytes.len() != repr.size() as usize {
        return None;
    }
    let add = |value: u64, byte: &u8| value << 8 | u64::from(*byte);
    let bits = if big {
        bytes.iter().fold(0, add)
    } else {
        bytes.iter().rev().fold(0, add)
    };
    Some(match repr {
        Repr::F32 => Stored::Real(f64::from(f32::from_bits(u32::try_from(bits).ok()?))),
        Repr::F64 => Stored::Real(f64::from_bits(bits)),
        _ => {
            let (lowest, highest) = repr.limits()?;
            let value = i128::from(bits);
            Stored::Integer(if value > highest { value + 2 * lowest } else { value })
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Against Rust's own conversions.
    #[test]
    fn both_orders_and_signs() {
        let bytes = (-40i16).to_le_bytes();
        assert_eq!(number_of(Repr::I16, &bytes, false), Some(Stored::Integer(-40)));
        assert_eq!(number_of(Repr::U16, &bytes, false), Some(Stored::Integer(0xffd8)));
        assert_eq!(
            number_of(Repr::I64, &i64::MIN.to_be_bytes(), true),
            Some(Stored::Integer(i64::MIN.into()))
        );
        assert_eq!(
            number_of(Repr::F32, &1.5f32.to_be_bytes(), true),
            Some(Stored::Real(1.5))
        );
        assert_eq!(number_of(Repr::U32, &[1, 2], false), None);
    }

    proptest! {
        #[test]
        fn there_and_back(bytes in prop::collection::vec(any::<u8>(), 8), big in any::<bool>()) {
            for (_, repr) in Repr::WORDS {
                let own = &bytes[..repr.size() as usize];
                let stored = number_of(*repr, own, big).unwrap();
                let is_nan = matches!(stored, Stored::Real(value) if value.is_nan());
                if !is_nan {
                    prop_assert_eq!(number_bytes(*repr, stored, big), own);
                }
            }
        }
    }
}
