//! The tables that a unit carries.

use super::GenerateError;
use crate::carry::{CarryError, History};
use crate::layout::Layout;

/// What a unit with one version carries to be able to go to it and back from it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct UnitTables {
    /// From older versions' layouts to its own: the version and the table, each table once.
    pub tables: Vec<(String, Vec<u8>)>,
    /// Tables among this and older layouts that lead back, each behind its length in two bytes.
    pub ways_back: Vec<u8>,
}

impl UnitTables {
    /// Bytes of what is kept aside at most, with so much room for settings.
    pub fn aside_room(&self, room: u32) -> usize {
        aside_room(&self.ways_back, room)
    }
}

pub(super) fn aside_room(ways_back: &[u8], room: u32) -> usize {
    ways_back.len() + 2 + room as usize
}

/// Bytes of room for settings where the longest are those of this layout and nothing else is said.
pub fn room_for(longest: &Layout) -> u32 {
    longest.record.size.next_power_of_two()
}

/// The tables that a unit with this version carries.
///
/// # Errors
/// The version has no layout, or a rule cannot be followed.
pub fn unit_tables(history: &History, version: &str) -> Result<UnitTables, GenerateError> {
    let all = history.layouts();
    let own = all.iter().position(|layout| layout.version == version);
    let own = own.ok_or_else(|| CarryError::NoLayout {
        version: version.to_owned(),
        known: all.iter().map(|layout| layout.version.clone()).collect(),
    })?;
    let known: Vec<_> = all.iter().take(own + 1).collect();
    let older = |index: usize| known.iter().take(index);
    let mut found = UnitTables::default();
    for from in older(own) {
        let plan = history.plan(&from.version, version)?;
        let same = all.get(own).is_some_and(|layout| layout.number == from.number);
        if !same && found.tables.iter().all(|(_, known)| *known != plan.table) {
            found.tables.push((from.version.clone(), plan.table));
        }
    }
    let mut ways_back: Vec<Vec<u8>> = Vec::new();
    for (index, from) in known.iter().enumerate() {
        for to in older(index).filter(|to| to.number != from.number) {
            let table = history.plan(&from.version, &to.version)?.table;
            if !ways_back.contains(&table) {
                ways_back.push(table);
            }
        }
    }
    // Those from this version first: they are looked for most.
    ways_back.reverse();
    let too_long = || GenerateError::WaysBack(version.to_owned());
    for table in &ways_back {
        let len = u16::try_from(table.len()).map_err(|_| too_long())?;
        found.ways_back.extend_from_slice(&len.to_le_bytes());
        found.ways_back.extend_from_slice(table);
    }
    match found.ways_back.len() > usize::from(u16::MAX) {
        true => Err(too_long()),
        false => Ok(found),
    }
}
