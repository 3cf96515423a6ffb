//! A layout out of a build.

use super::error::SettingsError;
use packstaff_settings::dwarf::import as import_record;
use packstaff_settings::layout::{ByteOrder, Keeping, Layout, Memory};
use std::path::Path;

/// What a build does not say of a layout.
#[derive(Clone, Debug)]
pub struct NewLayout {
    /// The version that the layout is of.
    pub version: String,
    /// The layout's number, at most 16 bits.
    pub number: u32,
    /// Addresses of the copies in the settings memory.
    pub copies: Vec<u32>,
}

/// A layout that was begun from a build.
#[derive(Clone, Debug)]
pub struct ImportedLayout {
    /// The layout.
    pub layout: Layout,
    /// What a person should look at.
    pub notes: Vec<String>,
}

/// Begins a layout: offsets and types of the struct, typedef or variable `name` out of an ELF file's debug information.
///
/// # Errors
/// The number has more than 16 bits, or the file has no such record.
pub fn import(elf: &Path, name: &str, new: NewLayout) -> Result<ImportedLayout, SettingsError> {
    let number = u16::try_from(new.number).map_err(|_| SettingsError::LayoutNumber(new.number))?;
    let content = std::fs::read(elf).map_err(|error| SettingsError::Unreadable {
        path: elf.to_owned(),
        error,
    })?;
    let imported = import_record(&content, name)?;
    Ok(ImportedLayout {
        layout: Layout {
            version: new.version,
            number,
            order: ByteOrder::Little,
            memory: Memory {
                keeping: Keeping::Copies(new.copies),
                aside: None,
            },
            record: imported.record,
            carries: Vec::new(),
        },
        notes: imported.notes,
    })
}
