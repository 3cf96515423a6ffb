//! Code for a unit, from layouts: C and Rust.
//!
//! The C is self-contained: the struct of the version's own layout with its offsets asserted, the carry-over tables from all other
//! versions, the ways back, and the keeper (`keeper.h`, `keeper_carry.c`, `keeper_store.c`) that runs them. The Rust is the same
//! constants for the crate `packstaff-keeper`. Both run the same table bytes; `tests/generated.rs` compares what they make of
//! them, record by record and memory by memory.

mod c;
mod rust;
mod tables;

pub use tables::{UnitTables, room_for, unit_tables};

use crate::carry::{CarryError, History};
use crate::layout::{Layout, Purpose, Shape};
use thiserror::Error;

/// A file of the generated code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// Its name.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// What code is generated for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Request<'a> {
    /// The version that the unit runs.
    pub version: &'a str,
    /// What names in C begin with: an identifier.
    pub prefix: &'a str,
    /// Bytes of the longest payload of any version, this and later ones; `None` for the next power of two from what there is.
    pub room: Option<u32>,
}

/// Why no code can be generated.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum GenerateError {
    /// The plans of some pair of versions.
    #[error(transparent)]
    Carry(#[from] CarryError),
    /// The prefix.
    #[error("{0:?} cannot begin names in C: take a letter first, then letters, digits and underscores")]
    Prefix(String),
    /// Less room than there are settings.
    #[error(
        "version {version} has settings of {size} bytes, and the room for them is {room}. The room must be the same in all versions: raise it, or, where units with this room are in the field, make the settings shorter"
    )]
    Room {
        /// The version.
        version: String,
        /// Bytes of its record.
        size: u32,
        /// Bytes given.
        room: u32,
    },
    /// A table that a unit cannot hold.
    #[error("the tables that lead back from version {0} have more than 65535 bytes together")]
    WaysBack(String),
}

/// Everything that is generated, worked out.
struct Parts<'a> {
    layout: &'a Layout,
    prefix: &'a str,
    room: u32,
    /// From another version's layout to this one's: the version and the table.
    tables: Vec<(String, Vec<u8>)>,
    /// Tables among this and older layouts that lead back, each behind its length.
    ways_back: Vec<u8>,
}

/// The files for a unit, in the order in which one reads them.
///
/// # Errors
/// A version has no layout, a rule cannot be followed, or a name or the room will not do.
pub fn generate(history: &History, request: &Request<'_>) -> Result<Vec<File>, GenerateError> {
    let parts = Parts::new(history, request)?;
    let file = |name: &str, text: &str| File {
        name: name.to_owned(),
        text: text.to_owned(),
    };
    Ok(vec![
        File {
            name: format!("{}_settings.h", request.prefix),
            text: c::header(&parts),
        },
        File {
            name: format!("{}_settings.c", request.prefix),
            text: c::tables(&parts),
        },
        file("keeper.h", include_str!("c/keeper.h")),
        file("keeper_carry.c", include_str!("c/keeper_carry.c")),
        file("keeper_store.c", include_str!("c/keeper_store.c")),
        File {
            name: format!("{}_settings.rs", request.prefix),
            text: rust::constants(&parts),
        },
    ])
}

impl<'a> Parts<'a> {
    fn new(history: &'a History, request: &Request<'a>) -> Result<Self, GenerateError> {
        let prefix = request.prefix;
        let mut letters = prefix.chars();
        let named = letters.next().is_some_and(|first| first.is_ascii_alphabetic())
            && letters.all(|letter| letter.is_ascii_alphanumeric() || letter == '_');
        if !named {
            return Err(GenerateError::Prefix(prefix.to_owned()));
        }
        let lacks = || CarryError::NoLayout {
            version: request.version.to_owned(),
            known: history.layouts().iter().map(|layout| layout.version.clone()).collect(),
        };
        let layout = history.layout(request.version).ok_or_else(lacks)?;
        let known: Vec<&Layout> = history
            .layouts()
            .iter()
            .take_while(|other| other.version != layout.version)
            .collect();
        let largest = known
            .iter()
            .copied()
            .chain([layout])
            .max_by_key(|layout| layout.record.size);
        let largest = largest.unwrap_or(layout);
        let room = request.room.unwrap_or_else(|| room_for(largest));
        if room < largest.record.size {
            return Err(GenerateError::Room {
                version: largest.version.clone(),
                size: largest.record.size,
                room,
            });
        }
        let UnitTables { tables, ways_back } = unit_tables(history, request.version)?;
        Ok(Self {
            layout,
            prefix,
            room,
            tables,
            ways_back,
        })
    }

    /// Bytes of what is kept aside at most.
    fn aside_room(&self) -> usize {
        tables::aside_room(&self.ways_back, self.room)
    }
}

/// Rows of bytes, as C and Rust write them alike.
fn bytes(bytes: &[u8]) -> String {
    let rows = bytes.chunks(16).map(|row| {
        let row: Vec<String> = row.iter().map(|byte| format!("0x{byte:02x},")).collect();
        format!("    {}\n", row.join(" "))
    });
    rows.collect()
}

/// Every field that is a setting, by its path without indices, with the first one's offset.
fn offsets(layout: &Layout) -> Vec<(String, u32)> {
    let mut found: Vec<(String, u32)> = Vec::new();
    for leaf in layout.leaves() {
        let counts = matches!(leaf.purpose, Purpose::Setting(_));
        if counts && !matches!(leaf.field.shape, Shape::Group(_)) && found.iter().all(|(name, _)| *name != leaf.name) {
            found.push((leaf.name.clone(), leaf.at));
        }
    }
    found
}

/// A path as an upper-case identifier.
fn upper(path: &str) -> String {
    let letter = |letter: char| match letter.is_ascii_alphanumeric() {
        true => letter.to_ascii_uppercase(),
        false => '_',
    };
    path.chars().map(letter).collect()
}
