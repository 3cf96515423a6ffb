//! A record taken apart into single stored elements.

use super::{Field, Group, Purpose, Shape};

/// Elements that a record is taken apart into at most; [`super::Layout::from_text`] refuses a record with more.
pub const MOST_LEAVES: usize = 65_536;

/// One stored element of a record: a number, a text or bytes.
#[derive(Clone, Debug, PartialEq)]
pub struct Leaf<'l> {
    /// Where it is, with indices from 0: `prog[2].seg[5].temp`.
    pub path: String,
    /// The same without indices: `prog.seg.temp`.
    pub name: String,
    /// The indices on the way, outermost first.
    pub indices: Vec<u32>,
    /// Offset in the record in bytes.
    pub at: u32,
    /// Bytes.
    pub size: u32,
    /// Offset in the record of the group that holds it directly.
    pub group_at: u32,
    /// What it is there for.
    pub purpose: Purpose,
    /// Its field.
    pub field: &'l Field,
}

pub(super) fn leaves(record: &Group) -> Vec<Leaf<'_>> {
    let mut found = Vec::new();
    collect(record, "", "", &[], 0, &mut found);
    found
}

/// Groups are at most [`super::read::DEEPEST`] deep.
fn collect<'l>(
    group: &'l Group,
    path_before: &str,
    name_before: &str,
    indices_before: &[u32],
    at: u32,
    found: &mut Vec<Leaf<'l>>,
) {
    for field in &group.fields {
        let name = format!("{name_before}{}", field.name);
        for index in 0..field.count.unwrap_or(1) {
            let (path, indices) = match field.count {
                None => (format!("{path_before}{}", field.name), indices_before.to_vec()),
                Some(_) => {
                    let indices = indices_before.iter().copied().chain([index]).collect();
                    (format!("{path_before}{}[{index}]", field.name), indices)
                }
            };
            let element_at = at + field.at + index * field.element_size();
            match &field.shape {
                Shape::Group(inner) => collect(
                    inner,
                    &format!("{path}."),
                    &format!("{name}."),
                    &indices,
                    element_at,
                    found,
                ),
                Shape::Number(_) | Shape::Text { .. } | Shape::Bytes { .. } => found.push(Leaf {
                    path,
                    name: name.clone(),
                    indices,
                    at: element_at,
                    size: field.element_size(),
                    group_at: at,
                    purpose: field.purpose,
                    field,
                }),
            }
        }
    }
}
