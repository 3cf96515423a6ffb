//! `[[from]]`: what the maker says about an earlier version.

use crate::Ratio;
use crate::layout::{Carry, Conversion, Loss, Pair, Way};
use product::document::{Entry, Section};

const FROM_KEYS: &[&str] = &["version", "pair", "loss"];
const PAIR_KEYS: &[&str] = &["old", "new", "factor", "offset", "names", "clamp"];
const LOSS_KEYS: &[&str] = &["field", "way", "because"];
const WAYS: &[(&str, Way)] = &[("up", Way::Up), ("down", Way::Down)];

pub(super) fn carries(root: &Section<'_, '_>) -> Option<Vec<Carry>> {
    let sections = root.sections("from", "[[from]]", FROM_KEYS);
    let mut carries: Vec<Carry> = Vec::new();
    let mut sound = true;
    for section in &sections {
        let Some(carry) = carry(section) else {
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

fn carry(section: &Section<'_, '_>) -> Option<Carry> {
    let version = section.value("version").and_then(|entry| entry.text());
    let pairs = section.sections("pair", "[[from.pair]]", PAIR_KEYS);
    let pairs: Vec<_> = pairs.iter().map(pair).collect();
    let losses = section.sections("loss", "[[from.loss]]", LOSS_KEYS);
    let losses: Vec<_> = losses.iter().map(loss).collect();
    Some(Carry {
        version: version?,
        pairs: pairs.into_iter().collect::<Option<_>>()?,
        losses: losses.into_iter().collect::<Option<_>>()?,
    })
}

/// A path without indices: names with points between them.
fn path(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.raw_text()?;
    let name = |part: &str| {
        let fits = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'_';
        !part.is_empty() && part.bytes().all(fits)
    };
    if text.len() <= 512 && text.split('.').all(name) {
        Some(text.to_owned())
    } else {
        entry.refuse(
            "a field's path",
            "Write names with points between them and without indices, such as \"tc.ofs\".",
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
    let because = section.value("because").and_then(|entry| {
        let text = entry.text()?;
        if text.chars().count() < 10 {
            return entry.refuse("a reason", "Say why owners can do without it; they are told.");
        }
        Some(text)
    });
    Some(Loss {
        field: field?,
        way: way?,
        because: because?,
    })
}
