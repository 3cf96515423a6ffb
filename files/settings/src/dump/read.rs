//! Decoding: every field with its value and how far it can be believed.

use super::DumpError;
use super::numbers::number_of;
use super::record::{Copy, Flaw, copies, examine, part};
use crate::Ratio;
use crate::layout::{ByteOrder, Field, Group, Keeping, Kind, Layout, Meaning, Number, Purpose, Shape, Stored};
use std::fmt;

/// What a dump says.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Every copy that was looked at, in the layout's order.
    pub copies: Vec<Copy>,
    /// Which of them the values are of; `None` when no copy is whole, and they are what could be saved from all.
    pub chosen: Option<usize>,
    /// The record's bytes that the values were read from: of damaged copies, patched together.
    pub record: Vec<u8>,
    /// The settings.
    pub settings: Node,
}

/// Settings in the shape of their layout.
#[derive(Clone, Debug, PartialEq)]
pub enum Node {
    /// A stored element.
    Value(Value),
    /// Fields of a group, in their order.
    Group(Vec<(String, Node)>),
    /// Elements of an array. Those not in use are not there.
    List(Vec<Node>),
}

/// One value.
#[derive(Clone, Debug, PartialEq)]
pub struct Value {
    /// Its path with indices.
    pub path: String,
    /// What it means.
    pub means: Option<String>,
    /// What it is.
    pub kind: Kind,
    /// What is stored.
    pub content: Content,
    /// Its unit.
    pub unit: Option<String>,
    /// Why it may not be true; `None` when it is proven.
    pub doubt: Option<Doubt>,
}

/// What a value is, as it is meant.
#[derive(Clone, Debug, PartialEq)]
pub enum Content {
    /// An exact number, in its unit.
    Exact(Ratio),
    /// A float.
    Real(f64),
    /// A name.
    Name(String),
    /// Flags that are set, and bits without a name.
    Flags(Vec<String>, i128),
    /// A text; bytes that are no UTF-8 are shown as U+FFFD.
    Text(String),
    /// Bytes.
    Bytes(Vec<u8>),
    /// Never shown.
    Secret,
    /// Not in the dump.
    Missing,
}

/// Why a value may not be true.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// No check value proves it.
    NotProven,
    /// No check value proves it, but two copies say the same.
    AgreedOnly,
    /// No check value proves it, and the copies differ.
    Differs,
    /// Its range or its names do not allow it.
    OutOfRange,
    /// It is not UTF-8.
    NotText,
    /// The dump ends before it.
    Missing,
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotProven => "not proven by a check value",
            Self::AgreedOnly => "not proven, but two copies say the same",
            Self::Differs => "not proven, and the copies differ",
            Self::OutOfRange => "not allowed by its range",
            Self::NotText => "not readable as text",
            Self::Missing => "not in the dump",
        })
    }
}

/// Decodes the best there is in a dump: the newest whole copy; if none is whole, what can be saved from all, each doubtful field
/// marked.
///
/// # Errors
/// The dump does not reach to any copy, or none of them is a record of this layout.
pub fn read(layout: &Layout, dump: &[u8]) -> Result<Reading, DumpError> {
    let found = copies(layout, dump);
    if found.is_empty()
        && matches!(layout.memory.keeping, Keeping::Keeper(_))
        && dump.len() > layout.record.size as usize
    {
        let why = "no head of a record is in its regions".to_owned();
        return Err(DumpError::Nothing { why });
    }
    if found.is_empty() {
        let first = match &layout.memory.keeping {
            Keeping::Copies(starts) => starts.iter().min().copied(),
            Keeping::Keeper(regions) => regions.iter().map(|region| region.start()).min(),
        };
        return Err(DumpError::TooShort {
            found: dump.len(),
            first: first.unwrap_or(0),
            size: layout.record.size,
        });
    }
    from_copies(layout, found)
}

/// Decodes one record.
///
/// # Errors
/// It has another size.
pub fn read_record(layout: &Layout, record: &[u8]) -> Result<Reading, DumpError> {
    if record.len() != layout.record.size as usize {
        return Err(DumpError::RecordSize {
            found: record.len(),
            expected: layout.record.size,
        });
    }
    from_copies(layout, vec![examine(layout, None, record)])
}

fn from_copies(layout: &Layout, found: Vec<Copy>) -> Result<Reading, DumpError> {
    let newest = found
        .iter()
        .enumerate()
        .filter(|(_, copy)| copy.is_whole())
        .max_by(|(_, one), (_, other)| newer(layout, one, other));
    if let Some((index, copy)) = newest {
        let record = copy.bytes.clone();
        let settings = decode(layout, &record, |_, _| None);
        return Ok(Reading {
            chosen: Some(index),
            record,
            settings,
            copies: found,
        });
    }
    let own: Vec<&Copy> = found.iter().filter(|copy| !copy.is_foreign()).collect();
    if own.is_empty() && found.iter().all(|copy| copy.proven.is_empty()) {
        let why: Vec<String> = found
            .iter()
            .map(|copy| {
                let mut flaws: Vec<&Flaw> = copy
                    .flaws
                    .iter()
                    .filter(|flaw| matches!(flaw, Flaw::Constant { .. } | Flaw::Blank))
                    .collect();
                if flaws.is_empty() {
                    flaws = copy.flaws.iter().collect();
                }
                let flaws: Vec<String> = flaws.iter().take(3).map(ToString::to_string).collect();
                match copy.address {
                    Some(address) => format!("at {address:#06x}, {}", flaws.join(", ")),
                    None => flaws.join(", "),
                }
            })
            .collect();
        return Err(DumpError::Nothing { why: why.join("; ") });
    }
    let usable: Vec<Copy> = found
        .iter()
        .filter(|copy| !copy.is_foreign() || !copy.proven.is_empty())
        .cloned()
        .collect();
    let (record, doubts) = patch(layout, &usable);
    let settings = decode(layout, &record, |at, size| {
        let found = doubts.iter().find(|(start, length, _)| *start == at && *length == size);
        found.and_then(|(.., doubt)| doubt.clone())
    });
    Ok(Reading {
        chosen: None,
        record,
        settings,
        copies: found,
    })
}

/// Which copy was written later.
fn newer(layout: &Layout, one: &Copy, other: &Copy) -> std::cmp::Ordering {
    match &layout.memory.keeping {
        Keeping::Copies(_) => one.generation.cmp(&other.generation),
        Keeping::Keeper(_) => super::store::by_turn(one.generation, other.generation),
    }
}

type Doubts = Vec<(u32, u32, Option<Doubt>)>;

/// Of damaged copies, for each element the most credible bytes: proven by a check value, else agreed on by two, else allowed by its
/// range, else those of the newest.
fn patch(layout: &Layout, copies: &[Copy]) -> (Vec<u8>, Doubts) {
    let big = layout.order == ByteOrder::Big;
    let mut order: Vec<&Copy> = copies.iter().collect();
    order.sort_by(|one, other| newer(layout, other, one));
    let mut record = super::record::fresh(layout);
    let mut doubts = Vec::new();
    for leaf in layout.leaves() {
        if !matches!(leaf.purpose, Purpose::Setting(_)) {
            continue;
        }
        let (at, size) = (leaf.at, leaf.size);
        let seen: Vec<(&Copy, &[u8])> = order
            .iter()
            .filter_map(|copy| Some((*copy, part(&copy.bytes, at, size)?)))
            .collect();
        let proven = seen.iter().find(|(copy, _)| {
            copy.proven
                .iter()
                .any(|range| range.start <= at && at + size <= range.end)
        });
        let plausible = |bytes: &[u8]| match &leaf.field.shape {
            Shape::Number(number) => number_of(number.repr, bytes, big).is_some_and(|stored| number.allows(stored)),
            Shape::Text { .. } => std::str::from_utf8(until_nul(bytes)).is_ok(),
            _ => true,
        };
        let (bytes, doubt) = match (proven, seen.as_slice()) {
            (Some((_, bytes)), _) => (*bytes, None),
            (None, []) => {
                doubts.push((at, size, Some(Doubt::Missing)));
                continue;
            }
            (None, [(_, only)]) => (*only, Some(Doubt::NotProven)),
            (None, [(_, first), rest @ ..]) => {
                if rest.iter().any(|(_, other)| other == first) {
                    (*first, Some(Doubt::AgreedOnly))
                } else {
                    let best = seen
                        .iter()
                        .find(|(_, bytes)| plausible(bytes))
                        .map_or(*first, |(_, bytes)| *bytes);
                    (best, Some(Doubt::Differs))
                }
            }
        };
        super::record::put_leaf(&mut record, &leaf, bytes);
        doubts.push((at, size, doubt));
    }
    (record, doubts)
}

fn until_nul(bytes: &[u8]) -> &[u8] {
    bytes.split(|byte| *byte == 0).next().unwrap_or_default()
}

/// `doubt` says what is known against the bytes from an offset on.
fn decode(layout: &Layout, record: &[u8], doubt: impl Fn(u32, u32) -> Option<Doubt>) -> Node {
    let reader = Reader {
        record,
        big: layout.order == ByteOrder::Big,
        doubt: &doubt,
    };
    reader.group(&layout.record, "", 0)
}

struct Reader<'r> {
    record: &'r [u8],
    big: bool,
    doubt: &'r dyn Fn(u32, u32) -> Option<Doubt>,
}

impl Reader<'_> {
    /// Groups are at most eight deep: the layout's reader sees to that.
    fn group(&self, group: &Group, path: &str, at: u32) -> Node {
        let mut nodes = Vec::new();
        for field in &group.fields {
            let Purpose::Setting(kind) = field.purpose else {
                continue;
            };
            let own = if path.is_empty() {
                field.name.clone()
            } else {
                format!("{path}.{}", field.name)
            };
            let Some(count) = field.count else {
                if let Some(node) = self.element(field, kind, &own, at + field.at) {
                    nodes.push((field.name.clone(), node));
                }
                continue;
            };
            let used = self.used(group, field, at).unwrap_or(count).min(count);
            let elements = (0..used).filter_map(|index| {
                let at = at + field.at + index * field.element_size();
                self.element(field, kind, &format!("{own}[{index}]"), at)
            });
            nodes.push((field.name.clone(), Node::List(elements.collect())));
        }
        Node::Group(nodes)
    }

    /// How many elements are in use, where a field says so and what it says is possible.
    fn used(&self, group: &Group, field: &Field, at: u32) -> Option<u32> {
        let name = field.used.as_ref()?;
        let counter = group.fields.iter().find(|other| other.name == *name)?;
        let Shape::Number(number) = &counter.shape else {
            return None;
        };
        let stored = number_of(
            number.repr,
            part(self.record, at + counter.at, number.repr.size())?,
            self.big,
        )?;
        match stored {
            Stored::Integer(value) if number.allows(stored) => u32::try_from(value).ok(),
            _ => None,
        }
    }

    fn element(&self, field: &Field, kind: Kind, path: &str, at: u32) -> Option<Node> {
        let size = field.element_size();
        let bytes = part(self.record, at, size);
        let mut value = Value {
            path: path.to_owned(),
            means: field.means.clone(),
            kind,
            content: Content::Missing,
            unit: None,
            doubt: (self.doubt)(at, size),
        };
        match (&field.shape, bytes) {
            (Shape::Group(group), _) => {
                let node = self.group(group, path, at);
                return (!matches!(&node, Node::Group(fields) if fields.is_empty())).then_some(node);
            }
            (_, None) => value.doubt = Some(Doubt::Missing),
            (Shape::Number(number), Some(bytes)) => {
                let stored = number_of(number.repr, bytes, self.big)?;
                value.content = number_content(number, stored);
                if let Meaning::Quantity { unit: Some(unit), .. } = &number.meaning {
                    value.unit = Some(unit.text().to_owned());
                }
                if !number.allows(stored) && value.doubt != Some(Doubt::Missing) {
                    value.doubt = Some(Doubt::OutOfRange);
                }
            }
            (Shape::Text { .. }, Some(bytes)) => {
                let text = until_nul(bytes);
                if std::str::from_utf8(text).is_err() {
                    value.doubt = Some(Doubt::NotText);
                }
                value.content = Content::Text(String::from_utf8_lossy(text).into_owned());
            }
            (Shape::Bytes { .. }, Some(bytes)) => value.content = Content::Bytes(bytes.to_vec()),
        }
        if kind == Kind::Secret {
            value.content = Content::Secret;
        }
        Some(Node::Value(value))
    }
}

fn number_content(number: &Number, stored: Stored) -> Content {
    match (&number.meaning, stored) {
        (_, Stored::Real(value)) => Content::Real(value),
        (Meaning::Names(names), Stored::Integer(value)) => match names.iter().find(|(_, named)| *named == value) {
            Some((name, _)) => Content::Name(name.clone()),
            None => Content::Exact(Ratio::whole(value)),
        },
        (Meaning::Flags(flags), Stored::Integer(value)) => {
            let set = flags.iter().filter(|(_, bit)| value >> bit & 1 == 1);
            Content::Flags(
                set.map(|(name, _)| name.clone()).collect(),
                value & !number.known_bits(),
            )
        }
        (Meaning::Quantity { scale, .. }, Stored::Integer(value)) => {
            // 64 bits times a scale that a file gave: if that is too much, the bare number is shown.
            Content::Exact(Ratio::whole(value).times(*scale).unwrap_or(Ratio::whole(value)))
        }
    }
}

impl Node {
    /// All values, in the order of their bytes.
    pub fn values(&self) -> Vec<&Value> {
        match self {
            Self::Value(value) => vec![value],
            Self::Group(fields) => fields.iter().flat_map(|(_, node)| node.values()).collect(),
            Self::List(elements) => elements.iter().flat_map(Self::values).collect(),
        }
    }
}

/// One element's bytes as people read them, with the unit.
pub(crate) fn shown(shape: &Shape, bytes: &[u8], big: bool) -> String {
    let content = match shape {
        Shape::Number(number) => match number_of(number.repr, bytes, big) {
            Some(stored) => number_content(number, stored),
            None => Content::Missing,
        },
        Shape::Text { .. } => Content::Text(String::from_utf8_lossy(until_nul(bytes)).into_owned()),
        Shape::Bytes { .. } | Shape::Group(_) => Content::Bytes(bytes.to_vec()),
    };
    let unit = match shape {
        Shape::Number(Number {
            meaning: Meaning::Quantity { unit: Some(unit), .. },
            ..
        }) => Some(unit.text().to_owned()),
        _ => None,
    };
    let value = Value {
        path: String::new(),
        means: None,
        kind: Kind::Preference,
        content,
        unit,
        doubt: None,
    };
    value.to_string()
}
