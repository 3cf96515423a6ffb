//! Groups put together from their fields.

use super::field::{FIELD_KEYS, RawField, RawShape, Role, field, identifier};
use super::{DEEPEST, LARGEST};
use crate::layout::offsets::Packing;
use crate::layout::{Field, Group, Kind, Number, Purpose, Repr, Shape};
use packstaff_document::Problem;
use packstaff_document::{Notes, Section, nearest};
use std::collections::BTreeMap;

const GROUP_KEYS: &[&str] = &["name", "size", "packed", "field"];

/// A group as its table says it.
#[derive(Clone)]
struct RawGroup {
    name: String,
    span: std::ops::Range<usize>,
    size: Option<u32>,
    packed: bool,
    fields: Vec<RawField>,
}

/// Groups by name, and those already put together.
struct Groups<'d, 'i> {
    notes: &'d Notes<'i>,
    raw: Vec<RawGroup>,
    built: BTreeMap<String, Option<Group>>,
}

pub(super) fn record(root: &Section<'_, '_>) -> Option<Group> {
    let sections = root.sections("group", "[[group]]", GROUP_KEYS);
    let raw: Vec<_> = sections.iter().map(|section| raw(section, "[[group.field]]")).collect();
    let top = raw_of_root(root);
    let raw: Vec<RawGroup> = raw.into_iter().collect::<Option<_>>()?;
    let mut groups = Groups {
        notes: root.notes(),
        raw,
        built: BTreeMap::new(),
    };
    groups.refuse_twins()?;
    let mut record = groups.build(&top?, 0)?;
    hand_down(&mut record, Kind::Preference);
    Some(record)
}

fn raw_of_root(root: &Section<'_, '_>) -> Option<RawGroup> {
    raw(root, "[[field]]")
}

fn raw(section: &Section<'_, '_>, place: &'static str) -> Option<RawGroup> {
    let name = section.value("name").and_then(|entry| identifier(&entry));
    let size = match section.find("size") {
        Some(entry) => Some(entry.integer_u32(1..=LARGEST)?),
        None => None,
    };
    let packed = match section.find("packed") {
        Some(entry) => entry.boolean()?,
        None => false,
    };
    let sections = section.some_sections("field", place, FIELD_KEYS)?;
    let fields: Vec<_> = sections.iter().map(field).collect();
    Some(RawGroup {
        name: name?,
        span: section.span(),
        size,
        packed,
        fields: fields.into_iter().collect::<Option<_>>()?,
    })
}

impl Groups<'_, '_> {
    fn refuse_twins(&self) -> Option<()> {
        for (index, group) in self.raw.iter().enumerate() {
            let earlier = self.raw.iter().take(index);
            let reserved = Repr::WORDS.iter().any(|(word, _)| *word == group.name)
                || group.name == "text"
                || group.name == "bytes";
            if reserved {
                self.refuse(
                    &group.span,
                    "name",
                    &group.name,
                    "a name of its own",
                    "That is a type's name: choose another.",
                );
                return None;
            }
            if let Some(twin) = earlier.into_iter().find(|other| other.name == group.name) {
                return self.twice(&group.span, "the group", &group.name, &twin.span);
            }
        }
        Some(())
    }

    fn twice(
        &self,
        span: &std::ops::Range<usize>,
        what: &'static str,
        name: &str,
        first: &std::ops::Range<usize>,
    ) -> Option<()> {
        let problem = Problem::Duplicate {
            what,
            value: name.to_owned(),
            first_line: self.notes.position(first.start).0,
        };
        self.notes.add(span.clone(), problem);
        None
    }

    fn refuse(
        &self,
        span: &std::ops::Range<usize>,
        key: &'static str,
        found: impl ToString,
        expected: impl Into<String>,
        advice: impl Into<String>,
    ) {
        let problem = Problem::BadValue {
            key,
            found: found.to_string(),
            expected: expected.into(),
            advice: advice.into(),
        };
        self.notes.add(span.clone(), problem);
    }

    /// The group of this name, put together once.
    fn named(&mut self, name: &str, used_at: &std::ops::Range<usize>, depth: usize) -> Option<Group> {
        if depth > DEEPEST {
            let advice = "Take it apart: a group cannot be inside itself.";
            self.refuse(used_at, "type", name, format!("a group at most {DEEPEST} deep"), advice);
            return None;
        }
        if let Some(built) = self.built.get(name) {
            return built.clone();
        }
        let Some(position) = self.raw.iter().position(|group| group.name == name) else {
            let names = self.raw.iter().map(|group| group.name.as_str());
            let words = Repr::WORDS.iter().map(|(word, _)| *word).chain(["text", "bytes"]);
            let problem = Problem::UnknownName {
                key: "type",
                value: name.to_owned(),
                list: "the types and [[group]] names",
                near: nearest(name, names.chain(words)).map(str::to_owned),
                advice: "Use u8 to u64, i8 to i64, f32, f64, text, bytes, or describe a [[group]] of that name.",
            };
            self.notes.add(used_at.clone(), problem);
            return None;
        };
        let raw = self.raw.get(position).cloned()?;
        let built = self.build(&raw, depth);
        self.built.insert(name.to_owned(), built.clone());
        built
    }

    fn build(&mut self, raw: &RawGroup, depth: usize) -> Option<Group> {
        let mut packing = Packing::new(raw.packed);
        let mut fields: Vec<Field> = Vec::new();
        for (index, field) in raw.fields.iter().enumerate() {
            if let Some(twin) = raw.fields.iter().take(index).find(|other| other.name == field.name) {
                return self.twice(&field.span, "the field", &field.name, &twin.span).and(None);
            }
            let shape = self.shape(field, depth)?;
            let at = self.place(&mut packing, field, &shape)?;
            fields.push(Field {
                name: field.name.clone(),
                means: field.means.clone(),
                at,
                count: field.count,
                used: field.used.clone(),
                purpose: Purpose::Spare(0),
                shape,
            });
        }
        for (field, raw_field) in raw.fields.iter().enumerate() {
            self.check_used(raw_field, &fields)?;
            let purpose = self.purpose(raw_field, fields.get(field)?)?;
            fields.get_mut(field)?.purpose = purpose;
        }
        let size = self.size(raw, packing)?;
        self.check_crcs(raw, &fields, size)?;
        Some(Group {
            name: raw.name.clone(),
            size,
            align: packing.align(),
            fields,
        })
    }

    fn shape(&mut self, field: &RawField, depth: usize) -> Option<Shape> {
        Some(match &field.shape {
            RawShape::Number(number) => Shape::Number(number.clone()),
            RawShape::Text { length, default } => Shape::Text {
                length: *length,
                default: default.clone(),
            },
            RawShape::Bytes { length, default } => Shape::Bytes {
                length: *length,
                default: *default,
            },
            RawShape::Group(name) => Shape::Group(self.named(name, &field.span, depth + 1)?),
        })
    }

    fn place(&self, packing: &mut Packing, field: &RawField, shape: &Shape) -> Option<u32> {
        let align = shape.align();
        let end = packing.end();
        let at = match field.at {
            None => packing.next(align)?,
            Some(at) if at < end => {
                let advice = "Give fields in the order of their bytes, each behind the one before it.";
                self.refuse(
                    &field.span,
                    "at",
                    at,
                    format!("{end} or more, where the field before it ends"),
                    advice,
                );
                return None;
            }
            Some(at) if !packing.allows(at, align) => {
                let advice = "Correct it, or say packed = true for a struct that the compiler packs.";
                self.refuse(
                    &field.span,
                    "at",
                    at,
                    format!("a multiple of {align}, as C aligns it"),
                    advice,
                );
                return None;
            }
            Some(at) => at,
        };
        let size = shape.size().checked_mul(field.count.unwrap_or(1));
        let fits = size.filter(|size| at.checked_add(*size).is_some_and(|end| end <= LARGEST));
        let Some(size) = fits else {
            let advice = "Compare counts and lengths with the firmware.";
            self.refuse(
                &field.span,
                "count",
                "this field",
                format!("within a record of {LARGEST} bytes"),
                advice,
            );
            return None;
        };
        packing.put(at, size, align)?;
        Some(at)
    }

    fn size(&self, raw: &RawGroup, packing: Packing) -> Option<u32> {
        let usual = packing.size()?;
        match raw.size {
            None => Some(usual),
            Some(size) if size < packing.end() => {
                let expected = format!("{usual} or more, where its last field ends");
                self.refuse(&raw.span, "size", size, expected, "Correct the size, or the fields.");
                None
            }
            Some(size) if !size.is_multiple_of(packing.align()) => {
                let expected = format!("a multiple of {}, as C aligns it", packing.align());
                self.refuse(&raw.span, "size", size, expected, "Correct it, or say packed = true.");
                None
            }
            Some(size) => Some(size),
        }
    }

    fn check_used(&self, raw: &RawField, fields: &[Field]) -> Option<()> {
        let Some(name) = &raw.used else { return Some(()) };
        let counts = fields.iter().any(|field| {
            field.name == *name
                && field.count.is_none()
                && matches!(&field.shape, Shape::Number(Number { repr, .. }) if !repr.is_real())
        });
        if counts {
            return Some(());
        }
        let advice = "Name the number beside the array that says how many of it are in use, or take the line out.";
        self.refuse(&raw.span, "used", name, "a whole number of the same group", advice);
        None
    }

    fn purpose(&self, raw: &RawField, field: &Field) -> Option<Purpose> {
        Some(match raw.role {
            Role::Setting(kind) => Purpose::Setting(kind.unwrap_or(Kind::Preference)),
            Role::Constant(value) => Purpose::Constant(value),
            Role::Generation => Purpose::Generation,
            Role::Spare(fill) => Purpose::Spare(fill),
            Role::Crc(Some((start, size))) => Purpose::Crc { start, size },
            Role::Crc(None) if field.at == 0 => {
                let advice = "Say what it covers: covers = { start = ..., size = ... }.";
                self.refuse(
                    &raw.span,
                    "covers",
                    "not there",
                    "needed for a CRC at the very start",
                    advice,
                );
                return None;
            }
            Role::Crc(None) => Purpose::Crc {
                start: 0,
                size: field.at,
            },
        })
    }

    fn check_crcs(&self, raw: &RawGroup, fields: &[Field], size: u32) -> Option<()> {
        for (field, raw_field) in fields.iter().zip(&raw.fields) {
            let Purpose::Crc { start, size: covered } = field.purpose else {
                continue;
            };
            let end = start.checked_add(covered).filter(|end| *end <= size);
            let sound = end.is_some_and(|end| end <= field.at || start >= field.at.saturating_add(4));
            if !sound || field.count.is_some() {
                let advice = "A CRC covers bytes of its own group, never itself.";
                self.refuse(
                    &raw_field.span,
                    "covers",
                    format!("{covered} bytes from {start}"),
                    "possible",
                    advice,
                );
                return None;
            }
        }
        Some(())
    }
}

/// What a group as a whole is, its fields are, unless they say that they are something else than a preference.
fn hand_down(group: &mut Group, kind: Kind) {
    for field in &mut group.fields {
        let mut own = kind;
        if let Purpose::Setting(stated) = &mut field.purpose {
            if *stated == Kind::Preference {
                *stated = kind;
            }
            own = *stated;
        }
        if let Shape::Group(inner) = &mut field.shape {
            hand_down(inner, own);
        }
    }
}
