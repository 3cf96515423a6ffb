//! A record's layout out of a build: the debug information of an ELF file says where the compiler put each member.
//!
//! Source: DWARF Debugging Information Format, version 5 (2017), sections 5.1 (base types), 5.5 (arrays), 5.7 (structs),
//! 5.8 (enumerations); versions 2 to 4 say the same in these parts. Reading is `gimli`'s.
//!
//! Debug information knows offsets, sizes and names. It does not know units, ranges, defaults, or that a calibration is
//! one: those the maker adds.

mod compare;
mod error;
mod sections;
mod types;

pub use compare::differences;
pub use error::DwarfError;

use crate::layout::Group;
use sections::Sections;

/// What an import found.
#[derive(Clone, Debug, PartialEq)]
pub struct Imported {
    /// The record.
    pub record: Group,
    /// What a person should look at.
    pub notes: Vec<String>,
}

/// Reads the layout of a struct from a linked ELF file. `name` is a struct's tag, a typedef, or a variable.
///
/// # Errors
/// The file has no debug information, nothing in it is called so, or the type is one that a record cannot have.
pub fn import(elf: &[u8], name: &str) -> Result<Imported, DwarfError> {
    Sections::new(elf)?.import(name)
}

/// The names of all structs in the debug information, sorted, each once.
///
/// # Errors
/// The file has no debug information, or it is damaged.
pub fn structs(elf: &[u8]) -> Result<Vec<String>, DwarfError> {
    Sections::new(elf)?.structs()
}
