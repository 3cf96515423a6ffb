//! One `[[field]]`.

use crate::layout::{Kind, Meaning, Number, Repr, Stored};
use crate::{Ratio, Unit};
use packstaff_document::{Entry, Section};

pub(super) const FIELD_KEYS: &[&str] = &[
    "name",
    "means",
    "type",
    "at",
    "count",
    "used",
    "kind",
    "holds",
    "value",
    "covers",
    "length",
    "scale",
    "unit",
    "difference",
    "names",
    "flags",
    "min",
    "max",
    "default",
];

/// A field as its table says it, before it has a place.
#[derive(Clone, Debug)]
pub(super) struct RawField {
    pub(super) span: std::ops::Range<usize>,
    pub(super) name: String,
    pub(super) means: Option<String>,
    pub(super) at: Option<u32>,
    pub(super) count: Option<u32>,
    pub(super) used: Option<String>,
    pub(super) role: Role,
    pub(super) shape: RawShape,
}

#[derive(Clone, Debug)]
pub(super) enum Role {
    /// Of this kind, or its group's.
    Setting(Option<Kind>),
    Constant(u64),
    Generation,
    /// Start and size, if they are given.
    Crc(Option<(u32, u32)>),
    Spare(u8),
}

#[derive(Clone, Debug)]
// A layout has a few dozen at most: boxes would cost more than they save.
#[allow(clippy::large_enum_variant)]
pub(super) enum RawShape {
    Number(Number),
    Text {
        length: u32,
        default: String,
    },
    Bytes {
        length: u32,
        default: u8,
    },
    /// Name of the group.
    Group(String),
}

#[derive(Clone, Copy)]
enum Holds {
    Constant,
    Generation,
    Crc,
    Spare,
}

const HOLDS: &[(&str, Holds)] = &[
    ("constant", Holds::Constant),
    ("generation", Holds::Generation),
    ("crc32", Holds::Crc),
    ("spare", Holds::Spare),
];

pub(super) fn field(section: &Section<'_, '_>) -> Option<RawField> {
    let name = section.value("name").and_then(|entry| identifier(&entry));
    let means = optional(section, "means", |entry| entry.text());
    let at = optional(section, "at", |entry| entry.integer_u32(0..=super::LARGEST));
    let count = optional(section, "count", |entry| entry.integer_u32(1..=super::LARGEST));
    let used = optional(section, "used", identifier);
    let role = role(section);
    let shape = shape(section);
    if let (Some(entry), Some(None)) = (section.find("used"), &count) {
        return entry.refuse("a key of an array", "Give `count` as well: how many there are at most.");
    }
    let (role, shape) = (role?, shape?);
    let is_integer = matches!(&shape, RawShape::Number(number) if !number.repr.is_real());
    let fits = match &role {
        Role::Setting(_) => true,
        Role::Constant(value) => match &shape {
            RawShape::Number(Number { repr, .. }) => repr
                .limits()
                .is_some_and(|(lowest, highest)| (lowest..=highest).contains(&i128::from(*value))),
            _ => false,
        },
        Role::Generation => is_integer,
        Role::Crc(_) => matches!(&shape, RawShape::Number(number) if number.repr == Repr::U32),
        Role::Spare(_) => !matches!(shape, RawShape::Group(_)),
    };
    if !fits && let Some(entry) = section.find("type") {
        return entry.refuse(
            "a type for what the field holds",
            "A constant and a generation are integers, a CRC-32 is u32, and what is spare is no group.",
        );
    }
    Some(RawField {
        span: section.span(),
        name: name?,
        means: means?,
        at: at?,
        count: count?,
        used: used?,
        role,
        shape,
    })
}

fn optional<T>(
    section: &Section<'_, '_>,
    key: &'static str,
    read: impl FnOnce(&Entry<'_, '_>) -> Option<T>,
) -> Option<Option<T>> {
    match section.find(key) {
        None => Some(None),
        Some(entry) => read(&entry).map(Some),
    }
}

/// A name that C and Rust take as it is.
pub(super) fn identifier(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.raw_text()?;
    let mut bytes = text.bytes();
    let begins = bytes
        .next()
        .is_some_and(|byte| byte.is_ascii_alphabetic() || byte == b'_');
    if begins && text.len() <= 64 && bytes.all(|byte| byte.is_ascii_alphanumeric() || byte == b'_') {
        Some(text.to_owned())
    } else {
        entry.refuse(
            "a name as C has them",
            "Use up to 64 letters, digits and underscores, not beginning with a digit.",
        )
    }
}

fn role(section: &Section<'_, '_>) -> Option<Role> {
    let kind = optional(section, "kind", |entry| entry.word(Kind::WORDS))?;
    let holds = optional(section, "holds", |entry| entry.word(HOLDS))?;
    let out_of_place = |key: &'static str, with: &str| -> Option<Role> {
        match section.find(key) {
            Some(entry) => entry.refuse(
                "a key of this field",
                format!("Take the line out: `{key}` belongs to a field that holds {with}."),
            ),
            None => Some(Role::Setting(kind)),
        }
    };
    if holds.is_some() {
        out_of_place("kind", "a setting")?;
    }
    if !matches!(holds, Some(Holds::Constant | Holds::Spare)) {
        out_of_place("value", "a constant or is spare")?;
    }
    if !matches!(holds, Some(Holds::Crc)) {
        out_of_place("covers", "a CRC")?;
    }
    Some(match holds {
        None => Role::Setting(kind),
        Some(Holds::Constant) => Role::Constant(section.value("value")?.integer(0..=i64::MAX as u64)?),
        Some(Holds::Generation) => Role::Generation,
        Some(Holds::Crc) => Role::Crc(optional(section, "covers", |entry| {
            let range = entry.range()?;
            Some((range.start(), range.size()))
        })?),
        Some(Holds::Spare) => {
            let fill = optional(section, "value", |entry| entry.integer_u32(0..=255))?;
            Role::Spare(u8::try_from(fill.unwrap_or(0)).ok()?)
        }
    })
}

fn shape(section: &Section<'_, '_>) -> Option<RawShape> {
    let entry = section.value("type")?;
    let text = entry.raw_text()?;
    if let Some((_, repr)) = Repr::WORDS.iter().find(|(word, _)| *word == text) {
        refuse_keys(section, &["length"], text)?;
        return number(section, *repr).map(RawShape::Number);
    }
    const OF_NUMBERS: &[&str] = &["scale", "unit", "difference", "names", "flags", "min", "max"];
    refuse_keys(section, OF_NUMBERS, text)?;
    let length = || {
        section
            .value("length")
            .and_then(|entry| entry.integer_u32(1..=super::LARGEST))
    };
    match text {
        "text" => {
            let length = length()?;
            let default = match section.find("default") {
                None => String::new(),
                Some(entry) => {
                    let text = entry.raw_text()?;
                    if text.len() > length as usize || text.contains('\0') {
                        return entry.refuse(
                            format!("a text of at most {length} bytes"),
                            "Shorten it: letters beyond ASCII take two bytes or more.",
                        );
                    }
                    text.to_owned()
                }
            };
            Some(RawShape::Text { length, default })
        }
        "bytes" => {
            let default = optional(section, "default", |entry| entry.integer_u32(0..=255))?;
            Some(RawShape::Bytes {
                length: length()?,
                default: u8::try_from(default.unwrap_or(0)).ok()?,
            })
        }
        _ => {
            refuse_keys(section, &["length", "default"], "a group")?;
            identifier(&entry).map(RawShape::Group)
        }
    }
}

fn refuse_keys(section: &Section<'_, '_>, keys: &[&'static str], of: &str) -> Option<()> {
    let mut sound = Some(());
    for key in keys {
        if let Some(entry) = section.find(key) {
            sound = entry.refuse("a key of this type", format!("Take the line out: {of} has no `{key}`."));
        }
    }
    sound
}

fn number(section: &Section<'_, '_>, repr: Repr) -> Option<Number> {
    let meaning = meaning(section, repr)?;
    let lowest = optional(section, "min", |entry| stored(entry, repr, &meaning))?;
    let highest = optional(section, "max", |entry| stored(entry, repr, &meaning))?;
    let default = optional(section, "default", |entry| stored(entry, repr, &meaning))?;
    let usual = match &meaning {
        Meaning::Names(names) => Stored::Integer(names.first().map_or(0, |(_, value)| *value)),
        _ if repr.is_real() => Stored::Real(0.0),
        _ => Stored::Integer(0),
    };
    let number = Number {
        repr,
        meaning,
        lowest,
        highest,
        default: default.unwrap_or(usual),
    };
    if let (Some(lowest), Some(highest), Some(entry)) = (lowest, highest, section.find("min"))
        && !lowest.is_at_most(highest)
    {
        return entry.refuse("a smallest value below the largest", "Exchange `min` and `max`.");
    }
    if !number.allows(number.default) {
        return match section.find("default") {
            Some(entry) => entry.refuse("a value of the field's range", "Write one between `min` and `max`."),
            None => {
                section.value("default")?;
                None
            }
        };
    }
    Some(number)
}

fn meaning(section: &Section<'_, '_>, repr: Repr) -> Option<Meaning> {
    let of_quantities = ["scale", "unit", "difference"];
    let chosen = section.find("names").or_else(|| section.find("flags"));
    if let Some(entry) = &chosen {
        refuse_keys(section, &of_quantities, "a field of names or flags")?;
        if repr.is_real() {
            return entry.refuse("a key of an integer", "Store names and flags as integers.");
        }
        if section.find("names").is_some() && section.find("flags").is_some() {
            return entry.refuse("a key beside `flags`", "A field has names or flags, not both.");
        }
    }
    if let Some(entry) = section.find("names") {
        return names(&entry, repr).map(Meaning::Names);
    }
    if let Some(entry) = section.find("flags") {
        return flags(&entry, repr).map(Meaning::Flags);
    }
    let scale = match section.find("scale") {
        None => Ratio::ONE,
        Some(entry) => {
            let text = if entry.is_text() {
                entry.raw_text()?.to_owned()
            } else {
                entry.number_text()?
            };
            match Ratio::parse(&text).filter(|scale| *scale > Ratio::ZERO) {
                Some(scale) if !repr.is_real() || scale == Ratio::ONE => scale,
                Some(_) => return entry.refuse("a key of an integer", "Take the line out: a float needs no scale."),
                None => {
                    return entry.refuse(
                        "what a stored 1 is worth, above 0",
                        "Write a fraction such as \"1/10\", or a number such as 0.1.",
                    );
                }
            }
        }
    };
    let unit = match section.find("unit") {
        None => None,
        Some(entry) => match Unit::parse(entry.raw_text()?) {
            Ok(unit) => Some(unit),
            Err(error) => return entry.refuse("a unit", format!("{error}.")),
        },
    };
    let difference = optional(section, "difference", |entry| entry.boolean())?.unwrap_or(false);
    Some(Meaning::Quantity {
        scale,
        unit,
        difference,
    })
}

fn names(entry: &Entry<'_, '_>, repr: Repr) -> Option<Vec<(String, i128)>> {
    let (lowest, highest) = repr.limits()?;
    let mut names: Vec<(String, i128)> = Vec::new();
    for (name, value) in entry.pairs()? {
        let number = value.number_text()?.parse().ok();
        let Some(number) = number.filter(|number| (lowest..=highest).contains(number)) else {
            return value.refuse(
                format!("a whole number from {lowest} to {highest}"),
                "Give each name the number that is stored for it.",
            );
        };
        if names.iter().any(|(_, other)| *other == number) {
            return value.refuse("a number that no other name has", "Give each name a number of its own.");
        }
        names.push((name, number));
    }
    if names.is_empty() {
        return entry.refuse("a table of names", "Write at least one, such as { off = 0, on = 1 }.");
    }
    Some(names)
}

fn flags(entry: &Entry<'_, '_>, repr: Repr) -> Option<Vec<(String, u8)>> {
    let most = repr.size() * 8 - 1;
    let mut flags: Vec<(String, u8)> = Vec::new();
    for (name, value) in entry.pairs()? {
        let bit = u8::try_from(value.integer_u32(0..=most)?).ok()?;
        if flags.iter().any(|(_, other)| *other == bit) {
            return value.refuse("a bit that no other flag has", "Give each flag a bit of its own.");
        }
        flags.push((name, bit));
    }
    if flags.is_empty() {
        return entry.refuse(
            "a table of flags",
            "Write at least one, such as { beep = 0 }: bit 0 is the lowest.",
        );
    }
    Some(flags)
}

/// A value as people write it, in the field's unit, as it is stored.
pub(crate) fn stored(entry: &Entry<'_, '_>, repr: Repr, meaning: &Meaning) -> Option<Stored> {
    match meaning {
        Meaning::Names(names) => {
            let text = entry.raw_text()?;
            match names.iter().find(|(name, _)| name == text) {
                Some((_, value)) => Some(Stored::Integer(*value)),
                None => entry.refuse("one of the field's names", "Write one of `names`."),
            }
        }
        Meaning::Flags(flags) => {
            let mut value = 0;
            for flag in entry.list()? {
                let text = flag.raw_text()?;
                match flags.iter().find(|(name, _)| name == text) {
                    Some((_, bit)) => value |= 1i128 << bit,
                    None => return flag.refuse("one of the field's flags", "Write a list of names from `flags`."),
                }
            }
            Some(Stored::Integer(value))
        }
        Meaning::Quantity { scale, .. } => {
            let text = entry.number_text()?;
            if repr.is_real() {
                return match text.parse::<f64>() {
                    Ok(number) if number.is_finite() => Some(Stored::Real(number)),
                    _ => entry.refuse("a finite number", "Write a number."),
                };
            }
            let (lowest, highest) = repr.limits()?;
            let steps = Ratio::parse(&text)
                .and_then(|value| value.over(*scale))
                .and_then(Ratio::as_whole);
            match steps.filter(|steps| (lowest..=highest).contains(steps)) {
                Some(steps) => Some(Stored::Integer(steps)),
                None => entry.refuse(
                    format!("a multiple of {scale} that {} holds", repr.word()),
                    "Write the value in the field's unit; it must be a whole number of its steps.",
                ),
            }
        }
    }
}
