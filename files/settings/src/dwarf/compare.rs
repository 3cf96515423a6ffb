//! A layout file against a build: do both speak of the same bytes?

use super::{DwarfError, import};
use crate::layout::{Field, Group, Layout, Shape};

/// What of a layout file is not so in a build, one sentence each; nothing when both agree. The struct is looked for by the
/// record's name.
///
/// # Errors
/// The build has no debug information, or no such struct.
pub fn differences(layout: &Layout, elf: &[u8]) -> Result<Vec<String>, DwarfError> {
    let built = import(elf, &layout.record.name)?.record;
    let mut found = Vec::new();
    groups(&layout.record, &built, "", &mut found);
    Ok(found)
}

/// Groups are at most eight deep: both readers see to that.
fn groups(stated: &Group, built: &Group, path: &str, found: &mut Vec<String>) {
    if stated.size != built.size {
        let name = if path.is_empty() { "the record" } else { path };
        found.push(format!(
            "{name} has {} bytes in the layout file and {} in the build",
            stated.size, built.size
        ));
    }
    for field in &stated.fields {
        let own = join(path, &field.name);
        match built.fields.iter().find(|other| other.name == field.name) {
            Some(member) => fields(field, member, &own, found),
            None => found.push(format!("{own} is in the layout file and not in the build")),
        }
    }
    for member in &built.fields {
        if !stated.fields.iter().any(|field| field.name == member.name) {
            found.push(format!(
                "{} is in the build and not in the layout file",
                join(path, &member.name)
            ));
        }
    }
}

fn fields(stated: &Field, built: &Field, path: &str, found: &mut Vec<String>) {
    if stated.at != built.at {
        found.push(format!(
            "{path} is at byte {} in the layout file and at {} in the build",
            stated.at, built.at
        ));
    }
    match (&stated.shape, &built.shape) {
        (Shape::Group(stated_group), Shape::Group(built_group)) if stated.count == built.count => {
            groups(stated_group, built_group, path, found);
        }
        // A file may call bytes a text, or take a struct or a union for bytes.
        (Shape::Text { .. } | Shape::Bytes { .. }, _) if stated.size() == built.size() => {}
        (Shape::Number(one), Shape::Number(other)) if one.repr == other.repr && stated.count == built.count => {}
        _ => found.push(format!(
            "{path} is {} in the layout file and {} in the build",
            words(stated),
            words(built)
        )),
    }
}

fn words(field: &Field) -> String {
    let one = match &field.shape {
        Shape::Number(number) => number.repr.to_string(),
        Shape::Text { length, .. } => format!("text of {length} bytes"),
        Shape::Bytes { length, .. } => format!("{length} bytes"),
        Shape::Group(group) => format!("struct {}", group.name),
    };
    match field.count {
        None => one,
        Some(count) => format!("{count} times {one}"),
    }
}

fn join(path: &str, name: &str) -> String {
    if path.is_empty() {
        name.to_owned()
    } else {
        format!("{path}.{name}")
    }
}
