//! `[[from]]`: what the maker says about an earlier version.

use super::field::stored;
use crate::Ratio;
use crate::layout::{Carry, Conversion, Group, Loss, Number, Pair, Set, Shape, Way};
use packstaff_document::{Entry, Section};

const FROM_KEYS: &[&str] = &["version", "left", "pair", "set", "loss"];
const SET_KEYS: &[&str] = &["field", "value"];
const PAIR_KEYS: &[&str] = &["old", "new", "factor", "offset", "names", "clamp"];
const LOSS_KEYS: &[&str] = &["field", "way", "because"];
const WAYS: &[(&str, Way)] = &[("up", Way::Up), ("down", Way::Down)];

/// `record` is the record that the same file describes.
pub(super) fn carries(root: &Section<'_, '_>, record: &Group) -> Option<Vec<Carry>> {
    let sections = root.sections("from", "[[from]]", FROM_KEYS);
    let mut carries: Vec<Carry> = Vec::new();
    let mut sound = true;
    for section in &sections {
        let Some(carry) = carry(section, record) else {
            sound = false;
            continue;
        };
        if carries.iter().any(|other| other.version == carry.version) {
            let entry = section.value("version")?;
            return entry.refuse(
                "a version named once",
                "Put what belongs to one version under one [[from]].",
            );
        }
        carries.push(carry);
    }
    sound.then_some(carries)
}

fn carry(section: &Section<'_, '_>, record: &Group) -> Option<Carry> {
    let version = section.value("version").and_then(|entry| entry.text());
    let pairs = section.sections("pair", "[[from.pair]]", PAIR_KEYS);
    let pairs: Vec<_> = pairs.iter().map(pair).collect();
    let losses = section.sections("loss", "[[from.loss]]", LOSS_KEYS);
    let losses: Vec<_> = losses.iter().map(loss).collect();
    let sets = section.sections("set", "[[from.set]]", SET_KEYS);
    let sets: Vec<_> = sets.iter().map(|section| set(section, record)).collect();
    let left = match section.find("left") {
        Some(entry) => Some(reason(&entry)?),
        None => None,
    };
    Some(Carry {
        version: version?,
        sets: sets.into_iter().collect::<Option<_>>()?,
        left,
        pairs: pairs.into_iter().collect::<Option<_>>()?,
        losses: losses.into_iter().collect::<Option<_>>()?,
    })
}

/// A path: names with points between them. A name may have a fixed index; one that has none stands for all.
fn path(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.raw_text()?;
    let name = |part: &str| {
        let part = match part.strip_suffix(']').and_then(|part| part.split_once('[')) {
            Some((name, index)) if index.parse::<u32>().is_ok() => name,
            _ => part,
        };
        let fits = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'_';
        !part.is_empty() && part.bytes().all(fits)
    };
    if text.len() <= 512 && text.split('.').all(name) {
        Some(text.to_owned())
    } else {
        entry.refuse(
            "a field's path",
            "Write names with points between them, such as \"tc.ofs\" for all of an array or \"tc[0].ofs\" for one.",
        )
    }
}

fn pair(section: &Section<'_, '_>) -> Option<Pair> {
    let old = section.value("old").and_then(|entry| path(&entry));
    let new = section.value("new").and_then(|entry| path(&entry));
    let clamp = match section.find("clamp") {
        Some(entry) => entry.boolean()?,
        None => false,
    };
    let factor = ratio(section, "factor")?;
    let offset = ratio(section, "offset")?;
    let conversion = match (section.find("names"), factor, offset) {
        (None, None, None) => Conversion::Known,
        (Some(entry), None, None) => Conversion::Names(renamed(&entry)?),
        (Some(entry), ..) => {
            return entry.refuse("a key beside `factor`", "A field has names or a formula, not both.");
        }
        (None, factor, offset) => {
            let factor = factor.unwrap_or(Ratio::ONE);
            if factor == Ratio::ZERO {
                let entry = section.value("factor")?;
                return entry.refuse(
                    "a factor other than 0",
                    "new = old * factor + offset: nothing would be left.",
                );
            }
            Conversion::Formula {
                factor,
                offset: offset.unwrap_or(Ratio::ZERO),
            }
        }
    };
    Some(Pair {
        old: old?,
        new: new?,
        conversion,
        clamp,
    })
}

fn renamed(entry: &Entry<'_, '_>) -> Option<Vec<(String, String)>> {
    let mut names: Vec<(String, String)> = Vec::new();
    for (old, new) in entry.pairs()? {
        names.push((old, new.raw_text()?.to_owned()));
    }
    Some(names)
}

/// `Some(None)` where the key is not there.
fn ratio(section: &Section<'_, '_>, key: &'static str) -> Option<Option<Ratio>> {
    let Some(entry) = section.find(key) else {
        return Some(None);
    };
    let text = if entry.is_text() {
        entry.raw_text()?.to_owned()
    } else {
        entry.number_text()?
    };
    match Ratio::parse(&text) {
        Some(ratio) => Some(Some(ratio)),
        None => entry.refuse(
            "a number or a fraction",
            "Write a number such as 0.1 or a fraction such as \"5/9\".",
        ),
    }
}

fn loss(section: &Section<'_, '_>) -> Option<Loss> {
    let field = section.value("field").and_then(|entry| path(&entry));
    let way = section.value("way").and_then(|entry| entry.word(WAYS));
    let because = section.value("because").and_then(|entry| reason(&entry));
    Some(Loss {
        field: field?,
        way: way?,
        because: because?,
    })
}

fn reason(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.text()?;
    if text.chars().count() < 10 {
        return entry.refuse("a reason", "Say why owners can do without it; they are told.");
    }
    Some(text)
}

fn set(section: &Section<'_, '_>, record: &Group) -> Option<Set> {
    let entry = section.value("field")?;
    let field = path(&entry)?;
    let Some(number) = number_at(record, &field) else {
        return entry.refuse(
            "the path of a number of this version",
            "Write names with points between them.",
        );
    };
    let value = section.value("value")?;
    let stored = stored(&value, number.repr, &number.meaning)?;
    if !number.allows(stored) {
        return value.refuse("a value of the field's range", "Write one between its `min` and `max`.");
    }
    Some(Set { field, value: stored })
}

fn number_at<'g>(record: &'g Group, path: &str) -> Option<&'g Number> {
    let (name, rest) = path
        .split_once('.')
        .map_or((path, None), |(name, rest)| (name, Some(rest)));
    let field = record.fields.iter().find(|field| field.name == name)?;
    match (&field.shape, rest) {
        (Shape::Number(number), None) => Some(number),
        (Shape::Group(group), Some(rest)) => number_at(group, rest),
        _ => None,
    }
}
