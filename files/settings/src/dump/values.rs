//! Values that people wrote, into a record.

use super::numbers::number_bytes;
use super::record::{fresh, put_leaf};
use crate::layout::{ByteOrder, Field, Group, Layout, Leaf, Purpose, Shape, stored};
use packstaff_document::{DocumentError, Problem};
use packstaff_document::{Entry, Notes, Section, nearest, parse};
use std::collections::BTreeMap;

/// Reads settings in the form of [`super::Node::to_toml`] into a record. What the text leaves out is as in `base`, or as in a
/// new unit. The record is not sealed yet.
///
/// # Errors
/// Everything that is wrong with the text, each with its place.
pub fn from_text(layout: &Layout, name: &str, text: &str, base: Option<&[u8]>) -> Result<Vec<u8>, DocumentError> {
    let notes = Notes::new(text);
    let mut record = match base {
        Some(base) if base.len() == layout.record.size as usize => base.to_vec(),
        _ => fresh(layout),
    };
    let leaves = layout.leaves();
    let by_path: BTreeMap<&str, &Leaf<'_>> = leaves.iter().map(|leaf| (leaf.path.as_str(), leaf)).collect();
    let done = parse(&notes).and_then(|root| {
        let mut writer = Writer {
            by_path,
            big: layout.order == ByteOrder::Big,
            record: &mut record,
        };
        let pairs = Section::open(&notes, &root).pairs();
        writer.group(&layout.record, "", pairs)
    });
    notes.finish(name, done)?;
    Ok(record)
}

struct Writer<'w, 'l> {
    by_path: BTreeMap<&'l str, &'l Leaf<'l>>,
    big: bool,
    record: &'w mut [u8],
}

impl Writer<'_, '_> {
    fn group(&mut self, group: &Group, path: &str, pairs: Vec<(String, Entry<'_, '_>)>) -> Option<()> {
        let mut sound = Some(());
        for (name, entry) in pairs {
            let settings = || {
                group
                    .fields
                    .iter()
                    .filter(|field| matches!(field.purpose, Purpose::Setting(_)))
            };
            let Some(field) = settings().find(|field| field.name == name) else {
                let problem = Problem::UnknownName {
                    key: "a setting",
                    value: name.clone(),
                    list: "the layout",
                    near: nearest(&name, settings().map(|field| field.name.as_str())).map(str::to_owned),
                    advice: "Take it out: constants, check values and spare bytes are filled in.",
                };
                entry.notes().add(entry.span(), problem);
                sound = None;
                continue;
            };
            let own = if path.is_empty() {
                name
            } else {
                format!("{path}.{name}")
            };
            if self.field(field, &own, &entry).is_none() {
                sound = None;
            }
        }
        sound
    }

    fn field(&mut self, field: &Field, path: &str, entry: &Entry<'_, '_>) -> Option<()> {
        let Some(count) = field.count else {
            return self.element(field, path, entry);
        };
        let elements = entry.list()?;
        if elements.len() > count as usize {
            return entry.refuse(format!("a list of at most {count}"), "Take the surplus out.");
        }
        let mut sound = Some(());
        for (index, element) in elements.iter().enumerate() {
            if self.element(field, &format!("{path}[{index}]"), element).is_none() {
                sound = None;
            }
        }
        sound
    }

    fn element(&mut self, field: &Field, path: &str, entry: &Entry<'_, '_>) -> Option<()> {
        let bytes = match &field.shape {
            Shape::Group(group) => return self.group(group, path, entry.pairs()?),
            Shape::Number(number) => {
                let value = stored(entry, number.repr, &number.meaning)?;
                if !number.allows(value) {
                    return entry.refuse(
                        "a value of the field's range",
                        "Write one between its `min` and `max` in the layout.",
                    );
                }
                number_bytes(number.repr, value, self.big)
            }
            Shape::Text { length, .. } => {
                let text = entry.raw_text()?;
                if text.len() > *length as usize || text.contains('\0') {
                    return entry.refuse(
                        format!("a text of at most {length} bytes"),
                        "Shorten it: letters beyond ASCII take two bytes or more.",
                    );
                }
                text.as_bytes().to_vec()
            }
            Shape::Bytes { length, .. } => match unhex(entry.raw_text()?) {
                Some(bytes) if bytes.len() == *length as usize => bytes,
                _ => {
                    return entry.refuse(
                        format!("{length} bytes in hexadecimal digits"),
                        "Write two digits for each byte, without blanks.",
                    );
                }
            },
        };
        if let Some(leaf) = self.by_path.get(path) {
            put_leaf(self.record, leaf, &bytes);
        }
        Some(())
    }
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    let digits: Option<Vec<u32>> = text.chars().map(|character| character.to_digit(16)).collect();
    let digits = digits?;
    let pairs = digits.chunks_exact(2);
    pairs.remainder().is_empty().then_some(())?;
    pairs
        .map(|pair| pair.iter().try_fold(0u32, |byte, digit| Some(byte << 4 | digit)))
        .map(|byte| byte.and_then(|byte| u8::try_from(byte).ok()))
        .collect()
}
