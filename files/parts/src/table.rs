//! The built-in table, and a maker's own parts beside it.

use crate::part::Part;
use crate::read::read;
use packstaff_document::DocumentError;
use std::sync::LazyLock;
use thiserror::Error;

const BUILT_IN: &str = include_str!("../data/parts.toml");

/// The built-in parts, and those of a maker.
#[derive(Clone, Debug, Default)]
pub struct PartsTable {
    own: Vec<Part>,
}

/// A part that the table does not have.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("no part is called `{id}`; the parts table knows {known}")]
pub struct UnknownPart {
    /// The name that was asked for.
    pub id: String,
    /// The names that there are.
    pub known: String,
}

fn built_in_parts() -> &'static [Part] {
    static PARTS: LazyLock<Vec<Part>> =
        LazyLock::new(|| read("the built-in table", BUILT_IN, &[]).expect("the built-in table is tested"));
    &PARTS
}

impl PartsTable {
    /// The built-in table alone.
    pub const fn built_in() -> &'static Self {
        static TABLE: PartsTable = PartsTable { own: Vec::new() };
        &TABLE
    }

    /// The built-in table with a maker's own parts beside it. `name` is what complaints call the text.
    ///
    /// # Errors
    /// Everything that is wrong with the text, each with its place. A part may not have the identifier of a built-in one.
    pub fn with_own(name: &str, text: &str) -> Result<Self, DocumentError> {
        let own = read(name, text, built_in_parts())?;
        Ok(Self { own })
    }

    /// Every part: the built-in ones first, each list in the order of its text.
    pub fn parts(&self) -> impl Iterator<Item = &Part> {
        built_in_parts().iter().chain(&self.own)
    }

    /// The parts that are the maker's own.
    pub fn own(&self) -> &[Part] {
        &self.own
    }

    /// The part called `id`.
    ///
    /// # Errors
    /// The names that there are, if none is called so.
    pub fn part(&self, id: &str) -> Result<&Part, UnknownPart> {
        self.parts().find(|part| part.id == id).ok_or_else(|| UnknownPart {
            id: id.to_owned(),
            known: self.parts().map(|part| part.id.as_str()).collect::<Vec<_>>().join(", "),
        })
    }

    /// The flash of the microcontroller, or of the memory beside it, that is called `id`.
    pub fn flash(&self, id: &str) -> Option<&Part> {
        self.part(id).ok().filter(|part| part.is_program_flash())
    }

    /// The memory for settings that is called `id`: any part that is no flash.
    pub fn settings_memory(&self, id: &str) -> Option<&Part> {
        self.part(id).ok().filter(|part| !part.is_program_flash())
    }
}
