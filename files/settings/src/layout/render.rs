//! A layout as the text of its file.

use super::{
    ByteOrder, Carry, Conversion, Field, Group, Keeping, Kind, Layout, Meaning, Number, Purpose, Repr, Shape, Stored,
    Way,
};
use crate::Ratio;
use std::collections::BTreeMap;
use std::fmt::Write;

/// Texts are quoted as TOML basic strings; nothing is left out that would be read back differently.
pub(super) fn text(layout: &Layout) -> String {
    let mut out = String::new();
    let order = match layout.order {
        ByteOrder::Little => "little",
        ByteOrder::Big => "big",
    };
    line(&mut out, "format", super::FORMAT);
    line(&mut out, "version", quoted(&layout.version));
    line(&mut out, "number", format!("{:#06x}", layout.number));
    line(&mut out, "order", quoted(order));
    line(&mut out, "name", quoted(&layout.record.name));
    head(&mut out, &layout.record);
    out.push_str("\n[memory]\n");
    match &layout.memory.keeping {
        Keeping::Copies(starts) => {
            let starts: Vec<String> = starts.iter().map(|start| format!("{start:#06x}")).collect();
            line(&mut out, "copies", format!("[{}]", starts.join(", ")));
        }
        Keeping::Keeper(regions) => {
            let regions: Vec<String> = regions.iter().map(|range| span(range.start(), range.size())).collect();
            line(&mut out, "regions", format!("[{}]", regions.join(", ")));
        }
    }
    if let Some(aside) = layout.memory.aside {
        line(&mut out, "aside", span(aside.start(), aside.size()));
    }
    fields(&mut out, "[[field]]", &layout.record, Kind::Preference);
    let mut groups = Vec::new();
    collect(&layout.record, Kind::Preference, &mut groups);
    let mut written: BTreeMap<&str, ()> = BTreeMap::new();
    for (group, kind) in groups {
        if written.insert(&group.name, ()).is_some() {
            continue;
        }
        out.push_str("\n[[group]]\n");
        line(&mut out, "name", quoted(&group.name));
        head(&mut out, group);
        fields(&mut out, "[[group.field]]", group, kind);
    }
    for carry in &layout.carries {
        from(&mut out, layout, carry);
    }
    out
}

fn head(out: &mut String, group: &Group) {
    line(out, "size", group.size);
    let natural = group.fields.iter().map(|field| field.shape.align()).max().unwrap_or(1);
    if group.align != natural {
        line(out, "packed", true);
    }
}

/// Inner groups, each with the kind that it is handed.
fn collect<'l>(group: &'l Group, kind: Kind, groups: &mut Vec<(&'l Group, Kind)>) {
    for field in &group.fields {
        if let Shape::Group(inner) = &field.shape {
            let kind = match field.purpose {
                Purpose::Setting(own) => own,
                _ => kind,
            };
            groups.push((inner, kind));
            collect(inner, kind, groups);
        }
    }
}

fn fields(out: &mut String, heading: &str, group: &Group, kind: Kind) {
    for field in &group.fields {
        let _ = writeln!(out, "\n{heading}");
        one_field(out, field, kind);
    }
}

fn one_field(out: &mut String, field: &Field, handed: Kind) {
    line(out, "name", quoted(&field.name));
    if let Some(means) = &field.means {
        line(out, "means", quoted(means));
    }
    let type_word = match &field.shape {
        Shape::Number(number) => number.repr.word(),
        Shape::Text { .. } => "text",
        Shape::Bytes { .. } => "bytes",
        Shape::Group(group) => &group.name,
    };
    line(out, "type", quoted(type_word));
    line(out, "at", field.at);
    if let Some(count) = field.count {
        line(out, "count", count);
    }
    if let Some(used) = &field.used {
        line(out, "used", quoted(used));
    }
    match field.purpose {
        Purpose::Setting(kind) if kind == handed => {}
        Purpose::Setting(kind) => line(out, "kind", quoted(kind.word())),
        Purpose::Constant(value) => {
            line(out, "holds", quoted("constant"));
            line(out, "value", format!("{value:#x}"));
        }
        Purpose::Generation => line(out, "holds", quoted("generation")),
        Purpose::Crc { start, size } => {
            line(out, "holds", quoted("crc32"));
            line(out, "covers", span(start, size));
        }
        Purpose::Spare(fill) => {
            line(out, "holds", quoted("spare"));
            line(out, "value", fill);
        }
    }
    match &field.shape {
        Shape::Number(number) => one_number(out, number),
        Shape::Text { length, default } => {
            line(out, "length", length);
            if !default.is_empty() {
                line(out, "default", quoted(default));
            }
        }
        Shape::Bytes { length, default } => {
            line(out, "length", length);
            if *default != 0 {
                line(out, "default", default);
            }
        }
        Shape::Group(_) => {}
    }
}

fn one_number(out: &mut String, number: &Number) {
    match &number.meaning {
        Meaning::Quantity {
            scale,
            unit,
            difference,
        } => {
            if *scale != Ratio::ONE {
                line(
                    out,
                    "scale",
                    quoted(&format!("{}/{}", scale.numerator(), scale.denominator())),
                );
            }
            if let Some(unit) = unit {
                line(out, "unit", quoted(unit.text()));
            }
            if *difference {
                line(out, "difference", true);
            }
        }
        Meaning::Names(names) => {
            let pairs: Vec<String> = names
                .iter()
                .map(|(name, value)| format!("{} = {value}", key(name)))
                .collect();
            line(out, "names", format!("{{ {} }}", pairs.join(", ")));
        }
        Meaning::Flags(flags) => {
            let pairs: Vec<String> = flags
                .iter()
                .map(|(name, bit)| format!("{} = {bit}", key(name)))
                .collect();
            line(out, "flags", format!("{{ {} }}", pairs.join(", ")));
        }
    }
    if let Some(lowest) = number.lowest {
        line(out, "min", meant(number, lowest));
    }
    if let Some(highest) = number.highest {
        line(out, "max", meant(number, highest));
    }
    let usual = match &number.meaning {
        Meaning::Names(names) => Stored::Integer(names.first().map_or(0, |(_, value)| *value)),
        _ if number.repr.is_real() => Stored::Real(0.0),
        _ => Stored::Integer(0),
    };
    if number.default != usual {
        line(out, "default", meant(number, number.default));
    }
}

/// A stored value as TOML has it, in the field's unit.
fn meant(number: &Number, stored: Stored) -> String {
    match (&number.meaning, stored) {
        (Meaning::Names(names), Stored::Integer(value)) => {
            let name = names.iter().find(|(_, named)| *named == value);
            quoted(name.map_or("", |(name, _)| name))
        }
        (Meaning::Flags(flags), Stored::Integer(value)) => {
            let set = flags.iter().filter(|(_, bit)| value >> bit & 1 == 1);
            let set: Vec<String> = set.map(|(name, _)| quoted(name)).collect();
            format!("[{}]", set.join(", "))
        }
        (Meaning::Quantity { scale, .. }, Stored::Integer(value)) => {
            let value = Ratio::whole(value).times(*scale);
            value.map_or_else(String::new, |value| match value.as_whole() {
                // TOML integers have 64 bits; a float's digits are read exactly here.
                Some(whole) if i64::try_from(whole).is_err() => format!("{whole}.0"),
                _ => value.to_string(),
            })
        }
        (_, Stored::Real(value)) => format!("{value:?}"),
    }
}

fn from(out: &mut String, layout: &Layout, carry: &Carry) {
    out.push_str("\n[[from]]\n");
    line(out, "version", quoted(&carry.version));
    if let Some(left) = &carry.left {
        line(out, "left", quoted(left));
    }
    for pair in &carry.pairs {
        out.push_str("\n[[from.pair]]\n");
        line(out, "old", quoted(&pair.old));
        line(out, "new", quoted(&pair.new));
        match &pair.conversion {
            Conversion::Known => {}
            Conversion::Formula { factor, offset } => {
                line(
                    out,
                    "factor",
                    quoted(&format!("{}/{}", factor.numerator(), factor.denominator())),
                );
                line(
                    out,
                    "offset",
                    quoted(&format!("{}/{}", offset.numerator(), offset.denominator())),
                );
            }
            Conversion::Names(names) => {
                let pairs: Vec<String> = names
                    .iter()
                    .map(|(old, new)| format!("{} = {}", key(old), quoted(new)))
                    .collect();
                line(out, "names", format!("{{ {} }}", pairs.join(", ")));
            }
        }
        if pair.clamp {
            line(out, "clamp", true);
        }
    }
    for set in &carry.sets {
        out.push_str("\n[[from.set]]\n");
        line(out, "field", quoted(&set.field));
        if let Some(Shape::Number(number)) = layout.field(&set.field).map(|field| &field.shape) {
            line(out, "value", meant(number, set.value));
        }
    }
    for loss in &carry.losses {
        out.push_str("\n[[from.loss]]\n");
        line(out, "field", quoted(&loss.field));
        let way = match loss.way {
            Way::Up => "up",
            Way::Down => "down",
        };
        line(out, "way", quoted(way));
        line(out, "because", quoted(&loss.because));
    }
}

fn line(out: &mut String, key: &str, value: impl std::fmt::Display) {
    // Writing to a String cannot fail.
    let _ = writeln!(out, "{key} = {value}");
}

fn span(start: u32, size: u32) -> String {
    format!("{{ start = {start:#x}, size = {size:#x} }}")
}

fn key(name: &str) -> String {
    let bare = !name.is_empty()
        && name
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-');
    if bare { name.to_owned() } else { quoted(name) }
}

/// A basic string of TOML 1.0 on one line, whatever the text holds.
pub(crate) fn quoted(text: &str) -> String {
    let mut out = String::from('"');
    for character in text.chars() {
        match character {
            '"' | '\\' => out.extend(['\\', character]),
            control if control.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(control));
            }
            other => out.push(other),
        }
    }
    out.push('"');
    out
}

/// The word of a representation, for the many places that show one.
impl std::fmt::Display for Repr {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}
