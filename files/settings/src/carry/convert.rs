//! One element's conversion, as an operation of keeper's tables, and what can be said about it.

use super::fate::Change;
use super::resolve::Way;
use crate::Ratio;
use crate::layout::{Kind, Leaf, Meaning, Number, Purpose, Repr, Shape, Stored};
use packstaff_keeper::table::{Outside, Scale};

/// What is done for one element, or one piece, of the new record. Offsets are kept beside it.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Deed {
    Copy {
        len: u16,
    },
    Number {
        from: Repr,
        to: Repr,
        scale: Scale,
        outside: Outside,
        low: i64,
        high: i64,
        default: i64,
    },
    Real {
        from: Repr,
        to: Repr,
        scale: Scale,
        outside: Outside,
        low: f64,
        high: f64,
        default: f64,
    },
    Choice {
        from: Repr,
        to: Repr,
        pairs: Vec<(i64, i64)>,
        outside: Outside,
        default: i64,
    },
    Bits {
        from: Repr,
        to: Repr,
        pairs: Vec<(u8, u8)>,
    },
    Text {
        from_room: u16,
        to_room: u16,
        outside: Outside,
    },
    Put {
        bytes: Vec<u8>,
    },
    Fill {
        len: u16,
        byte: u8,
    },
    /// `start` is relative to where the check value goes.
    Crc {
        start: i32,
        len: u16,
    },
}

/// A conversion and what is to be said about it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Converted {
    pub(super) deeds: Vec<Deed>,
    pub(super) changes: Vec<Change>,
    /// Values that have no place in the new layout, in words; `None` when every one has.
    pub(super) misfits: Option<String>,
}

/// Why an element cannot be converted although it should be.
pub(super) type Unfit = String;

/// What becomes of a value that does not fit.
pub(super) fn outside(clamp: bool, kind: Kind, allowed: bool) -> Outside {
    match (clamp, kind.is_irreplaceable() && !allowed) {
        (true, _) => Outside::Clamp,
        // Rather the old record as it is than a calibration that nobody made.
        (false, true) => Outside::Refuse,
        (false, false) => Outside::Default,
    }
}

/// What holds for a conversion beside the way itself.
#[derive(Clone, Copy, Debug)]
pub(super) struct Terms {
    /// Values out of range go to its nearest end.
    pub(super) clamp: bool,
    /// The maker allows the loss.
    pub(super) allowed: bool,
    /// The two records have their bytes in different orders.
    pub(super) turned: bool,
}

pub(super) fn convert(old: &Leaf<'_>, new: &Leaf<'_>, way: &Way, terms: Terms) -> Result<Converted, Unfit> {
    let Terms { clamp, allowed, .. } = terms;
    let kind = match new.purpose {
        Purpose::Setting(kind) => kind,
        _ => Kind::Preference,
    };
    let outside = outside(clamp, kind, allowed);
    match (way, &old.field.shape, &new.field.shape) {
        (Way::Text, Shape::Text { length: from, .. }, Shape::Text { length: to, .. }) => {
            Ok(text(*from, *to, clamp, outside))
        }
        (Way::Bytes, Shape::Bytes { length: from, .. }, Shape::Bytes { length: to, default }) => {
            Ok(bytes(*from, *to, *default))
        }
        (Way::Names(pairs), Shape::Number(from), Shape::Number(to)) => names(from, to, pairs, outside),
        (Way::Flags(pairs), Shape::Number(from), Shape::Number(to)) => Ok(flags(from, to, pairs)),
        (Way::Affine { factor, offset, stated }, Shape::Number(from), Shape::Number(to)) => {
            affine(from, to, (*factor, *offset, *stated), terms, outside)
        }
        _ => Err("the two have nothing in common".to_owned()),
    }
}

fn text(from: u32, to: u32, clamp: bool, outside: Outside) -> Converted {
    let rooms = |from: u32, to: u32| {
        (
            u16::try_from(from).unwrap_or(u16::MAX),
            u16::try_from(to).unwrap_or(u16::MAX),
        )
    };
    let (from_room, to_room) = rooms(from, to);
    let deed = if from == to {
        Deed::Copy { len: to_room }
    } else {
        Deed::Text {
            from_room,
            to_room,
            outside,
        }
    };
    let changes = match from.cmp(&to) {
        std::cmp::Ordering::Equal => Vec::new(),
        std::cmp::Ordering::Less => vec![Change::Widened {
            from: format!("{from} bytes"),
            to: format!("{to} bytes"),
        }],
        std::cmp::Ordering::Greater => vec![Change::Narrowed {
            from: format!("{from} bytes"),
            to: format!("{to} bytes"),
        }],
    };
    let misfits = (from > to && !clamp).then(|| format!("texts of more than {to} bytes"));
    Converted {
        deeds: vec![deed],
        changes,
        misfits,
    }
}

fn bytes(from: u32, to: u32, default: u8) -> Converted {
    let common = u16::try_from(from.min(to)).unwrap_or(u16::MAX);
    let mut deeds = Vec::new();
    if to > from && default != 0 {
        let len = u16::try_from(to).unwrap_or(u16::MAX);
        deeds.push(Deed::Fill { len, byte: default });
    }
    deeds.push(Deed::Copy { len: common });
    let (words, misfits) = if from == to {
        (Vec::new(), None)
    } else if from < to {
        (
            vec![Change::Widened {
                from: format!("{from} bytes"),
                to: format!("{to} bytes"),
            }],
            None,
        )
    } else {
        let change = Change::Narrowed {
            from: format!("{from} bytes"),
            to: format!("{to} bytes"),
        };
        (vec![change], Some(format!("all after the first {to} bytes")))
    };
    Converted {
        deeds,
        changes: words,
        misfits,
    }
}

fn integer(stored: Stored) -> i128 {
    match stored {
        Stored::Integer(value) => value,
        Stored::Real(_) => 0,
    }
}

fn as_i64(value: i128) -> i64 {
    i64::try_from(value).unwrap_or(if value < 0 { i64::MIN } else { i64::MAX })
}

fn names(from: &Number, to: &Number, pairs: &[(i128, i128)], outside: Outside) -> Result<Converted, Unfit> {
    let (Meaning::Names(old), Meaning::Names(new)) = (&from.meaning, &to.meaning) else {
        return Err("only names become names".to_owned());
    };
    let mut changes = width(from.repr, to.repr);
    let lacking: Vec<&str> = old
        .iter()
        .filter(|(_, value)| !pairs.iter().any(|(is, _)| is == value))
        .map(|(name, _)| name.as_str())
        .collect();
    let name_of = |names: &[(String, i128)], value: i128| {
        names
            .iter()
            .find(|(_, named)| *named == value)
            .map_or_else(|| value.to_string(), |(name, _)| name.clone())
    };
    let renamed: Vec<(String, String)> = pairs
        .iter()
        .map(|(is, becomes)| (name_of(old, *is), name_of(new, *becomes)))
        .filter(|(is, becomes)| is != becomes)
        .collect();
    if !renamed.is_empty() {
        changes.push(Change::NamesRenamed(renamed));
    } else if pairs.iter().any(|(is, becomes)| is != becomes) {
        changes.push(Change::NamesRenumbered);
    }
    let deed = Deed::Choice {
        from: from.repr,
        to: to.repr,
        pairs: pairs
            .iter()
            .map(|(is, becomes)| (as_i64(*is), as_i64(*becomes)))
            .collect(),
        // A name has no nearest one.
        outside: if outside == Outside::Clamp {
            Outside::Default
        } else {
            outside
        },
        default: as_i64(integer(to.default)),
    };
    let misfits = (!lacking.is_empty()).then(|| lacking.join(", "));
    Ok(Converted {
        deeds: vec![deed],
        changes,
        misfits,
    })
}

fn flags(from: &Number, to: &Number, pairs: &[(u8, u8)]) -> Converted {
    let mut changes = width(from.repr, to.repr);
    let (old, new) = match (&from.meaning, &to.meaning) {
        (Meaning::Flags(old), Meaning::Flags(new)) => (old.as_slice(), new.as_slice()),
        _ => (&[] as &[_], &[] as &[_]),
    };
    if pairs.iter().any(|(is, becomes)| is != becomes) {
        changes.push(Change::NamesRenumbered);
    }
    let name_of =
        |flags: &[(String, u8)], bit: u8| flags.iter().find(|(_, own)| *own == bit).map(|(name, _)| name.clone());
    let renamed: Vec<(String, String)> = pairs
        .iter()
        .filter_map(|(is, becomes)| Some((name_of(old, *is)?, name_of(new, *becomes)?)))
        .filter(|(is, becomes)| is != becomes)
        .collect();
    if !renamed.is_empty() {
        changes.push(Change::NamesRenamed(renamed));
    }
    let lacking: Vec<&str> = old
        .iter()
        .filter(|(_, bit)| !pairs.iter().any(|(is, _)| is == bit))
        .map(|(name, _)| name.as_str())
        .collect();
    // Flags that the old one lacks are as in a new unit.
    let mut default = integer(to.default);
    for (_, becomes) in pairs {
        default &= !(1i128 << becomes);
    }
    let mut deeds = Vec::new();
    if default != 0 {
        let (lowest, highest) = (as_i64(default), as_i64(default));
        // Any value becomes the default: a range of one number that everything is clamped to.
        deeds.push(Deed::Number {
            from: from.repr,
            to: to.repr,
            scale: Scale {
                mul: 0,
                add: lowest,
                div: 1,
            },
            outside: Outside::Clamp,
            low: lowest,
            high: highest,
            default: lowest,
        });
    }
    deeds.push(Deed::Bits {
        from: from.repr,
        to: to.repr,
        pairs: pairs.to_vec(),
    });
    Converted {
        deeds,
        changes,
        misfits: (!lacking.is_empty()).then(|| lacking.join(", ")),
    }
}

/// What a number may be as stored, by its range and its representation; `None` for floats without a range.
fn span(number: &Number) -> (Option<Ratio>, Option<Ratio>) {
    let bound = |stored: Option<Stored>, limit: Option<i128>| match (stored, limit) {
        (Some(Stored::Integer(value)), _) => Some(Ratio::whole(value)),
        (Some(Stored::Real(value)), _) => Ratio::parse(&format!("{value}")),
        (None, Some(limit)) => Some(Ratio::whole(limit)),
        (None, None) => None,
    };
    let limits = number.repr.limits();
    (
        bound(number.lowest, limits.map(|it| it.0)),
        bound(number.highest, limits.map(|it| it.1)),
    )
}

fn width(from: Repr, to: Repr) -> Vec<Change> {
    let (old, new) = (from.word().to_owned(), to.word().to_owned());
    let holds = match (from.limits(), to.limits()) {
        (Some(inner), Some(outer)) => outer.0 <= inner.0 && inner.1 <= outer.1,
        (None, None) => to.size() >= from.size(),
        // Every integer of up to 53 bits is a double, of up to 24 a single.
        (Some(inner), None) => inner.1 < 1 << if to.size() == 8 { 53 } else { 24 },
        (None, Some(_)) => false,
    };
    match (from == to, holds) {
        (true, _) => Vec::new(),
        (_, true) => vec![Change::Widened { from: old, to: new }],
        (_, false) => vec![Change::Narrowed { from: old, to: new }],
    }
}

fn affine(
    from: &Number,
    to: &Number,
    (factor, offset, stated): (Ratio, Ratio, bool),
    terms: Terms,
    outside: Outside,
) -> Result<Converted, Unfit> {
    let too_large = || "its factor and offset do not fit whole numbers of 64 bits".to_owned();
    let mut changes = width(from.repr, to.repr);
    let unit = |number: &Number| match &number.meaning {
        Meaning::Quantity { unit: Some(unit), .. } => unit.text().to_owned(),
        _ => String::new(),
    };
    let (old_unit, new_unit) = (unit(from), unit(to));
    if stated {
        changes.push(Change::Formula { factor, offset });
    } else if old_unit != new_unit {
        changes.push(Change::Unit {
            from: old_unit.clone(),
            to: new_unit.clone(),
        });
    }
    // Stored numbers: new = old * mul + add.
    let mul = from
        .scale()
        .times(factor)
        .and_then(|it| it.over(to.scale()))
        .ok_or_else(too_large)?;
    let add = offset.over(to.scale()).ok_or_else(too_large)?;
    if from.scale() != to.scale() && !from.repr.is_real() && !to.repr.is_real() {
        let step = |scale: Ratio, unit: &str| format!("{scale} {unit}").trim_end().to_owned();
        changes.push(Change::Rescaled {
            from: step(from.scale(), &old_unit),
            to: step(to.scale(), &new_unit),
        });
    }
    let coarser = !to.repr.is_real()
        && (from.repr.is_real() || mul.as_whole().is_none() && mul < Ratio::ONE && mul > Ratio::whole(-1));
    if coarser {
        changes.push(Change::Coarser {
            step: format!("{} {new_unit}", to.scale()).trim_end().to_owned(),
        });
    }
    let (misfits, out_of_range) = misfits(from, to, mul, add, &new_unit);
    let same = from.repr == to.repr && mul == Ratio::ONE && add == Ratio::ZERO;
    let free = to.lowest.is_none() && to.highest.is_none() && matches!(to.meaning, Meaning::Quantity { .. });
    if same && free && !to.repr.is_real() && (!terms.turned || to.repr.size() == 1) {
        let len = u16::try_from(to.repr.size()).unwrap_or(8);
        return Ok(Converted {
            deeds: vec![Deed::Copy { len }],
            changes,
            misfits: None,
        });
    }
    let div = common(mul.denominator(), add.denominator()).ok_or_else(too_large)?;
    let whole = |ratio: Ratio| -> Result<i64, Unfit> {
        let value = ratio.times(Ratio::whole(div)).and_then(Ratio::as_whole);
        value.and_then(|value| i64::try_from(value).ok()).ok_or_else(too_large)
    };
    let scale = Scale {
        mul: whole(mul)?,
        add: whole(add)?,
        div: i64::try_from(div).map_err(|_| too_large())?,
    };
    let deed = if to.repr.is_real() {
        let bound = |stored: Option<Stored>, otherwise: f64| match stored {
            Some(Stored::Real(value)) => value,
            _ => otherwise,
        };
        let largest = if to.repr == Repr::F32 {
            f64::from(f32::MAX)
        } else {
            f64::MAX
        };
        Deed::Real {
            from: from.repr,
            to: to.repr,
            scale,
            outside,
            low: bound(to.lowest, -largest),
            high: bound(to.highest, largest),
            default: bound(Some(to.default), 0.0),
        }
    } else {
        let limits = to.repr.limits().unwrap_or((0, 0));
        Deed::Number {
            from: from.repr,
            to: to.repr,
            scale,
            outside,
            low: as_i64(to.lowest.map_or(limits.0, integer)),
            high: as_i64(to.highest.map_or(limits.1, integer)),
            default: as_i64(integer(to.default)),
        }
    };
    if out_of_range && terms.clamp {
        changes.push(Change::MayClamp {
            what: misfits.clone().unwrap_or_default(),
        });
    }
    let misfits = misfits.filter(|_| !terms.clamp);
    Ok(Converted {
        deeds: vec![deed],
        changes,
        misfits,
    })
}

/// Which values of the old field the new one cannot have, in the new unit.
fn misfits(from: &Number, to: &Number, mul: Ratio, add: Ratio, unit: &str) -> (Option<String>, bool) {
    let image = |stored: Option<Ratio>| {
        stored
            .and_then(|value| value.times(mul))
            .and_then(|value| value.plus(add))
    };
    let (old_low, old_high) = span(from);
    let (mut low, mut high) = (image(old_low), image(old_high));
    if mul < Ratio::ZERO {
        std::mem::swap(&mut low, &mut high);
    }
    let (new_low, new_high) = span(to);
    let half = Ratio::new(1, 2).unwrap_or(Ratio::ZERO);
    // An end that rounds into the range is in it.
    let below = match (low, new_low) {
        (_, None) => false,
        (None, Some(_)) => true,
        (Some(low), Some(limit)) => limit.minus(half).is_some_and(|limit| low <= limit) && low != limit,
    };
    let above = match (high, new_high) {
        (_, None) => false,
        (None, Some(_)) => true,
        (Some(high), Some(limit)) => limit.plus(half).is_some_and(|limit| high >= limit) && high != limit,
    };
    let shown = |limit: Option<Ratio>| {
        let value = limit.and_then(|limit| limit.times(to.scale()));
        value.map_or_else(String::new, |value| format!("{value} {unit}").trim_end().to_owned())
    };
    let words = match (below, above) {
        (false, false) => None,
        (true, false) => Some(format!("values below {}", shown(new_low))),
        (false, true) => Some(format!("values above {}", shown(new_high))),
        (true, true) => Some(format!("values below {} or above {}", shown(new_low), shown(new_high))),
    };
    (words, below || above)
}

/// The least common multiple.
fn common(one: i128, other: i128) -> Option<i128> {
    let ratio = Ratio::new(one, other)?;
    one.checked_mul(ratio.denominator())
}

/// The bytes of a default.
pub(super) fn default_bytes(leaf: &Leaf<'_>, stored: Option<Stored>, big: bool) -> Vec<u8> {
    match &leaf.field.shape {
        Shape::Number(number) => crate::dump::number_bytes(number.repr, stored.unwrap_or(number.default), big),
        Shape::Text { length, default } => {
            let mut bytes = default.as_bytes().to_vec();
            bytes.resize(*length as usize, 0);
            bytes
        }
        Shape::Bytes { length, default } => vec![*default; *length as usize],
        Shape::Group(_) => Vec::new(),
    }
}
