//! The layouts of all versions, and which element became which.

use super::CarryError;
use super::path::{Part, Path};
use super::resolve::Way;
use crate::layout::{Carry, Conversion, Keeping, Layout, Leaf, Purpose};
use std::collections::{BTreeMap, BTreeSet};

/// The layouts of all versions, the oldest first.
#[derive(Clone, Debug, PartialEq)]
pub struct History {
    layouts: Vec<Layout>,
}

/// An older element and the newer one that it became.
#[derive(Clone, Debug)]
pub(super) struct Link {
    pub(super) old: usize,
    pub(super) new: usize,
    pub(super) way: Way,
    pub(super) clamp: bool,
    /// The names differ, so the maker's rule joins them.
    pub(super) by_rule: bool,
}

impl History {
    /// Puts layouts together. They must come in the order of their versions, the oldest first.
    ///
    /// # Errors
    /// Two layouts share a version; two that differ share a number; a rule names a version or a field that is not there.
    pub fn new(layouts: Vec<Layout>) -> Result<Self, CarryError> {
        for (index, layout) in layouts.iter().enumerate() {
            for earlier in layouts.iter().take(index) {
                if earlier.version == layout.version {
                    return Err(CarryError::Twice(layout.version.clone()));
                }
                if earlier.number == layout.number && (earlier.record != layout.record || earlier.order != layout.order)
                {
                    return Err(CarryError::SameNumber {
                        number: layout.number,
                        one: earlier.version.clone(),
                        other: layout.version.clone(),
                    });
                }
            }
            for carry in &layout.carries {
                let Some(old) = layouts.iter().take(index).find(|other| other.version == carry.version) else {
                    return Err(CarryError::UnknownVersion {
                        file: layout.version.clone(),
                        version: carry.version.clone(),
                    });
                };
                check_rules(old, layout, carry)?;
            }
        }
        Ok(Self { layouts })
    }

    /// The layouts, the oldest first.
    pub fn layouts(&self) -> &[Layout] {
        &self.layouts
    }

    /// The layout of a version.
    pub fn layout(&self, version: &str) -> Option<&Layout> {
        self.layouts.iter().find(|layout| layout.version == version)
    }

    pub(super) fn position(&self, version: &str) -> Result<usize, CarryError> {
        let found = self.layouts.iter().position(|layout| layout.version == version);
        found.ok_or_else(|| CarryError::NoLayout {
            version: version.to_owned(),
            known: self.layouts.iter().map(|layout| layout.version.clone()).collect(),
        })
    }

    pub(super) fn at(&self, position: usize) -> Result<&Layout, CarryError> {
        self.layouts.get(position).ok_or_else(|| CarryError::NoLayout {
            version: format!("number {position}"),
            known: self.layouts.iter().map(|layout| layout.version.clone()).collect(),
        })
    }

    /// Which element of the older version became which of the newer: by the newer file's rules for that version, else through
    /// the versions between.
    pub(super) fn links(&self, old: usize, new: usize) -> Result<Vec<Link>, CarryError> {
        let (older, newer) = (self.at(old)?, self.at(new)?);
        let stated = newer.carries.iter().find(|carry| carry.version == older.version);
        let direct = stated.is_some_and(|carry| !carry.pairs.is_empty());
        let middle = new.saturating_sub(1);
        if direct || middle <= old {
            return neighbours(older, newer, stated);
        }
        let first = self.links(old, middle)?;
        let second = self.links(middle, new)?;
        let by_middle: BTreeMap<usize, &Link> = first.iter().map(|link| (link.new, link)).collect();
        let mut joined = Vec::new();
        for link in &second {
            let Some(before) = by_middle.get(&link.old) else {
                continue;
            };
            let Some(way) = before.way.then(&link.way) else {
                continue;
            };
            joined.push(Link {
                old: before.old,
                new: link.new,
                way,
                clamp: before.clamp || link.clamp,
                by_rule: before.by_rule || link.by_rule,
            });
        }
        Ok(joined)
    }
}

fn check_rules(old: &Layout, new: &Layout, carry: &Carry) -> Result<(), CarryError> {
    let lacks = |layout: &Layout, path: &str| CarryError::NoField {
        file: new.version.clone(),
        version: layout.version.clone(),
        field: path.to_owned(),
    };
    let there = |layout: &Layout, path: &str| layout.field(&Path::parse(path).plain()).is_some();
    for pair in &carry.pairs {
        for (layout, path) in [(old, &pair.old), (new, &pair.new)] {
            if !there(layout, path) {
                return Err(lacks(layout, path));
            }
        }
    }
    for loss in &carry.losses {
        let layout = match loss.way {
            crate::layout::Way::Up => old,
            crate::layout::Way::Down => new,
        };
        if !there(layout, &loss.field) {
            return Err(lacks(layout, &loss.field));
        }
    }
    Ok(())
}

pub(super) fn is_setting(leaf: &Leaf<'_>) -> bool {
    matches!(leaf.purpose, Purpose::Setting(_))
}

fn neighbours(old: &Layout, new: &Layout, stated: Option<&Carry>) -> Result<Vec<Link>, CarryError> {
    let old_leaves = old.leaves();
    let new_leaves = new.leaves();
    let by_path: BTreeMap<&str, usize> = old_leaves
        .iter()
        .enumerate()
        .map(|(index, leaf)| (leaf.path.as_str(), index))
        .collect();
    let no_pairs = Vec::new();
    let pairs = stated.map_or(&no_pairs, |carry| &carry.pairs);
    let rules: Vec<(Path, Path, &crate::layout::Pair)> = pairs
        .iter()
        .map(|pair| (Path::parse(&pair.new), Path::parse(&pair.old), pair))
        .collect();
    let mut claimed = BTreeSet::new();
    let mut links = Vec::new();
    let mut by_name = Vec::new();
    for (new_index, leaf) in new_leaves.iter().enumerate() {
        if !is_setting(leaf) {
            continue;
        }
        let path = Path::parse(&leaf.path);
        // The most particular rule wins.
        let ruled = rules
            .iter()
            .filter_map(|(to, from, pair)| {
                let source = path.through(to, from, |position| is_array(old, from, position))?;
                Some((
                    to.0.len(),
                    to.0.iter().filter(|part| part.index.is_some()).count(),
                    source,
                    *pair,
                ))
            })
            .max_by_key(|(names, fixed, ..)| (*names, *fixed));
        let Some((names, _, source, pair)) = ruled else {
            by_name.push(new_index);
            continue;
        };
        let Some(old_index) = by_path.get(source.text().as_str()).copied() else {
            continue;
        };
        let Some(old_leaf) = old_leaves.get(old_index).filter(|leaf| is_setting(leaf)) else {
            continue;
        };
        // A rule for a group says which group it was; its fields convert as they can.
        let whole = names == path.0.len();
        let conversion = if whole { &pair.conversion } else { &Conversion::Known };
        claimed.insert(old_index);
        if let Some(way) = Way::between(old_leaf, leaf, conversion)? {
            links.push(Link {
                old: old_index,
                new: new_index,
                way,
                clamp: pair.clamp,
                by_rule: true,
            });
        }
    }
    for new_index in by_name {
        let Some(leaf) = new_leaves.get(new_index) else {
            continue;
        };
        let Some(old_index) = by_path
            .get(leaf.path.as_str())
            .copied()
            .filter(|index| !claimed.contains(index))
        else {
            continue;
        };
        let Some(old_leaf) = old_leaves.get(old_index).filter(|leaf| is_setting(leaf)) else {
            continue;
        };
        if let Some(way) = Way::between(old_leaf, leaf, &Conversion::Known)? {
            links.push(Link {
                old: old_index,
                new: new_index,
                way,
                clamp: false,
                by_rule: false,
            });
        }
    }
    links.sort_by_key(|link| link.new);
    Ok(links)
}

/// Whether the name at `position` of a path is an array in this layout.
fn is_array(layout: &Layout, path: &Path, position: usize) -> bool {
    let names: Vec<&str> = path
        .0
        .iter()
        .take(position + 1)
        .map(|part: &Part| part.name.as_str())
        .collect();
    layout
        .field(&names.join("."))
        .is_some_and(|field| field.count.is_some())
}

/// Whether the firmware keeps its settings by its own code.
pub(super) const fn by_own_code(layout: &Layout) -> bool {
    matches!(layout.memory.keeping, Keeping::Copies(_))
}
