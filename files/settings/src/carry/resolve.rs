//! How one element's value becomes another's: worked out once for a pair of neighbouring versions, then joined and turned
//! round exactly.

use super::CarryError;
use crate::Ratio;
use crate::layout::{Conversion, Leaf, Meaning, Number, Shape};

/// A conversion between two elements.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Way {
    /// new = old * factor + offset, in the units that the two sides are shown in.
    Affine {
        factor: Ratio,
        offset: Ratio,
        /// Stated by the maker and not worked out.
        stated: bool,
    },
    /// Stored number by stored number.
    Names(Vec<(i128, i128)>),
    /// Bit by bit.
    Flags(Vec<(u8, u8)>),
    Text,
    Bytes,
}

impl Way {
    /// From `old` to `new`, as units, names and the maker's rule have it; `None` where the two have nothing in common.
    pub(super) fn between(old: &Leaf<'_>, new: &Leaf<'_>, rule: &Conversion) -> Result<Option<Self>, CarryError> {
        match (&old.field.shape, &new.field.shape) {
            (Shape::Number(from), Shape::Number(to)) => Self::numbers(from, to, rule).map_err(|why| CarryError::Rule {
                old: old.name.clone(),
                new: new.name.clone(),
                why,
            }),
            (Shape::Text { .. }, Shape::Text { .. }) => Ok(Some(Self::Text)),
            (Shape::Bytes { .. }, Shape::Bytes { .. }) => Ok(Some(Self::Bytes)),
            _ => Ok(None),
        }
    }

    fn numbers(from: &Number, to: &Number, rule: &Conversion) -> Result<Option<Self>, String> {
        match (rule, &from.meaning, &to.meaning) {
            (Conversion::Formula { factor, offset }, ..) => Ok(Some(Self::Affine {
                factor: *factor,
                offset: *offset,
                stated: true,
            })),
            (Conversion::Names(pairs), Meaning::Names(old), Meaning::Names(new)) => {
                let find = |names: &[(String, i128)], name: &str, side: &str| {
                    let found = names.iter().find(|(known, _)| known == name).map(|(_, value)| *value);
                    found.ok_or_else(|| format!("{name:?} is no name of the {side} field"))
                };
                let stated = pairs
                    .iter()
                    .map(|(is, becomes)| Ok((find(old, is, "earlier")?, find(new, becomes, "later")?)));
                let mut ways = stated.collect::<Result<Vec<_>, String>>()?;
                // Names that the rule does not mention go by their equals.
                for (name, value) in old {
                    let mentioned = ways.iter().any(|(is, _)| is == value);
                    if let (false, Some((_, becomes))) = (mentioned, new.iter().find(|(other, _)| other == name)) {
                        ways.push((*value, *becomes));
                    }
                }
                Ok(Some(Self::Names(ways)))
            }
            (Conversion::Names(pairs), Meaning::Flags(old), Meaning::Flags(new)) => {
                let find = |flags: &[(String, u8)], name: &str, side: &str| {
                    let found = flags.iter().find(|(known, _)| known == name).map(|(_, bit)| *bit);
                    found.ok_or_else(|| format!("{name:?} is no flag of the {side} field"))
                };
                let stated = pairs
                    .iter()
                    .map(|(is, becomes)| Ok((find(old, is, "earlier")?, find(new, becomes, "later")?)));
                let mut ways = stated.collect::<Result<Vec<_>, String>>()?;
                for (name, bit) in old {
                    let mentioned = ways.iter().any(|(is, _)| is == bit);
                    if let (false, Some((_, becomes))) = (mentioned, new.iter().find(|(other, _)| other == name)) {
                        ways.push((*bit, *becomes));
                    }
                }
                Ok(Some(Self::Flags(ways)))
            }
            (Conversion::Names(_), ..) => Err("only names become names, and flags flags".to_owned()),
            (Conversion::Known, Meaning::Names(old), Meaning::Names(new)) => {
                let equal = old.iter().filter_map(|(name, value)| {
                    let (_, becomes) = new.iter().find(|(other, _)| other == name)?;
                    Some((*value, *becomes))
                });
                Ok(Some(Self::Names(equal.collect())))
            }
            (Conversion::Known, Meaning::Flags(old), Meaning::Flags(new)) => {
                let equal = old.iter().filter_map(|(name, bit)| {
                    let (_, becomes) = new.iter().find(|(other, _)| other == name)?;
                    Some((*bit, *becomes))
                });
                Ok(Some(Self::Flags(equal.collect())))
            }
            (
                Conversion::Known,
                Meaning::Quantity {
                    unit: old, difference, ..
                },
                Meaning::Quantity {
                    unit: new,
                    difference: new_difference,
                    ..
                },
            ) => {
                let same = Some((Ratio::ONE, Ratio::ZERO));
                let known = match (old, new) {
                    (None, None) => same,
                    (Some(old), Some(new)) if difference == new_difference || !old.has_own_zero() => {
                        old.to(new, *difference)
                    }
                    _ => None,
                };
                Ok(known.map(|(factor, offset)| Self::Affine {
                    factor,
                    offset,
                    stated: false,
                }))
            }
            (Conversion::Known, ..) => Ok(None),
        }
    }

    /// This one and then `next`.
    pub(super) fn then(&self, next: &Self) -> Option<Self> {
        match (self, next) {
            (
                Self::Affine { factor, offset, stated },
                Self::Affine {
                    factor: second,
                    offset: added,
                    stated: also,
                },
            ) => Some(Self::Affine {
                factor: factor.times(*second)?,
                offset: offset.times(*second)?.plus(*added)?,
                stated: *stated || *also,
            }),
            (Self::Names(first), Self::Names(second)) => Some(Self::Names(joined(first, second))),
            (Self::Flags(first), Self::Flags(second)) => Some(Self::Flags(joined(first, second))),
            (Self::Text, Self::Text) => Some(Self::Text),
            (Self::Bytes, Self::Bytes) => Some(Self::Bytes),
            _ => None,
        }
    }

    /// The other way round. Of several old names for one new name, the first is taken.
    pub(super) fn back(&self) -> Option<Self> {
        Some(match self {
            Self::Affine { factor, offset, stated } => Self::Affine {
                factor: Ratio::ONE.over(*factor)?,
                offset: Ratio::ZERO.minus(offset.over(*factor)?)?,
                stated: *stated,
            },
            Self::Names(pairs) => Self::Names(turned(pairs)),
            Self::Flags(pairs) => Self::Flags(turned(pairs)),
            Self::Text => Self::Text,
            Self::Bytes => Self::Bytes,
        })
    }
}

fn joined<T: Copy + PartialEq>(first: &[(T, T)], second: &[(T, T)]) -> Vec<(T, T)> {
    let through = first.iter().filter_map(|(is, middle)| {
        let (_, becomes) = second.iter().find(|(from, _)| from == middle)?;
        Some((*is, *becomes))
    });
    through.collect()
}

fn turned<T: Copy + PartialEq>(pairs: &[(T, T)]) -> Vec<(T, T)> {
    let mut back: Vec<(T, T)> = Vec::new();
    for (is, becomes) in pairs {
        if !back.iter().any(|(from, _)| from == becomes) {
            back.push((*becomes, *is));
        }
    }
    back
}
