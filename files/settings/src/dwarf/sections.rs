//! Finding a type by its name.

use super::types::Walk;
use super::{DwarfError, Imported};
use gimli::{EndianSlice, RunTimeEndian, UnitOffset};
use object::{Object, ObjectKind, ObjectSection};
use packstaff_document::nearest;
use std::borrow::Cow;
use std::collections::BTreeSet;

pub(super) type Reader<'s> = EndianSlice<'s, RunTimeEndian>;

/// The debug sections of a file.
pub(super) struct Sections<'e> {
    sections: gimli::DwarfSections<Cow<'e, [u8]>>,
    endian: RunTimeEndian,
}

/// How a name was found: a tag is what people mean first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    Struct,
    Typedef,
    Variable,
}

impl<'e> Sections<'e> {
    pub(super) fn new(elf: &'e [u8]) -> Result<Self, DwarfError> {
        let file = object::File::parse(elf).map_err(|error| DwarfError::NotElf(error.to_string()))?;
        if file.kind() == ObjectKind::Relocatable {
            return Err(DwarfError::NotLinked);
        }
        let endian = if file.is_little_endian() {
            RunTimeEndian::Little
        } else {
            RunTimeEndian::Big
        };
        let load = |id: gimli::SectionId| -> Result<Cow<'e, [u8]>, DwarfError> {
            match file.section_by_name(id.name()) {
                None => Ok(Cow::Borrowed(&[])),
                Some(section) => section
                    .uncompressed_data()
                    .map_err(|error| DwarfError::Damaged(format!("{}: {error}", id.name()))),
            }
        };
        if file.section_by_name(gimli::SectionId::DebugInfo.name()).is_none() {
            return Err(DwarfError::NoDebug);
        }
        let sections = gimli::DwarfSections::load(load)?;
        Ok(Self { sections, endian })
    }

    fn dwarf(&self) -> gimli::Dwarf<Reader<'_>> {
        self.sections.borrow(|section| EndianSlice::new(section, self.endian))
    }

    pub(super) fn structs(&self) -> Result<Vec<String>, DwarfError> {
        let mut names = BTreeSet::new();
        self.each(|_, _, entry, name| {
            if entry.tag() == gimli::DW_TAG_structure_type {
                names.insert(name.to_owned());
            }
            Ok(())
        })?;
        Ok(names.into_iter().collect())
    }

    pub(super) fn import(&self, name: &str) -> Result<Imported, DwarfError> {
        let mut best: Option<(Rank, Imported)> = None;
        let mut failure = None;
        let mut names = BTreeSet::new();
        let mut ambiguous = false;
        self.each(|dwarf, unit, entry, found| {
            let rank = match entry.tag() {
                gimli::DW_TAG_structure_type | gimli::DW_TAG_union_type => Rank::Struct,
                gimli::DW_TAG_typedef => Rank::Typedef,
                gimli::DW_TAG_variable => Rank::Variable,
                _ => return Ok(()),
            };
            if found != name {
                names.insert(found.to_owned());
                return Ok(());
            }
            if entry.attr_value(gimli::DW_AT_declaration).is_some()
                && entry.attr_value(gimli::DW_AT_byte_size).is_none()
                && rank == Rank::Struct
            {
                return Ok(());
            }
            if best.as_ref().is_some_and(|(other, _)| *other < rank) {
                return Ok(());
            }
            match Walk::new(dwarf, unit).record(entry.offset(), name) {
                Err(error) => failure = failure.take().or(Some(error)),
                Ok(imported) => match &best {
                    Some((other, before)) if *other == rank => ambiguous |= before.record != imported.record,
                    _ => {
                        best = Some((rank, imported));
                        ambiguous = false;
                    }
                },
            }
            Ok(())
        })?;
        match (best, failure) {
            (Some(_), _) if ambiguous => Err(DwarfError::Ambiguous { name: name.to_owned() }),
            (Some((_, imported)), _) => Ok(imported),
            (None, Some(failure)) => Err(failure),
            (None, None) => Err(DwarfError::NotFound {
                name: name.to_owned(),
                near: nearest(name, names.iter().map(String::as_str)).map(str::to_owned),
            }),
        }
    }

    /// Calls `look` for every entry that has a name.
    fn each(
        &self,
        mut look: impl FnMut(
            &gimli::Dwarf<Reader<'_>>,
            &gimli::Unit<Reader<'_>>,
            &gimli::DebuggingInformationEntry<Reader<'_>>,
            &str,
        ) -> Result<(), DwarfError>,
    ) -> Result<(), DwarfError> {
        let dwarf = self.dwarf();
        let mut units = dwarf.units();
        while let Some(header) = units.next()? {
            let unit = dwarf.unit(header)?;
            let mut entries = unit.entries();
            while let Some(entry) = entries.next_dfs()? {
                if let Some(name) = name_of(&dwarf, &unit, entry)? {
                    look(&dwarf, &unit, entry, &name)?;
                }
            }
        }
        Ok(())
    }
}

pub(super) fn name_of(
    dwarf: &gimli::Dwarf<Reader<'_>>,
    unit: &gimli::Unit<Reader<'_>>,
    entry: &gimli::DebuggingInformationEntry<Reader<'_>>,
) -> Result<Option<String>, DwarfError> {
    let Some(value) = entry.attr_value(gimli::DW_AT_name) else {
        return Ok(None);
    };
    let text = dwarf.attr_string(unit, value)?;
    Ok(Some(text.to_string_lossy().into_owned()))
}

/// The type that an entry refers to.
pub(super) fn type_of(entry: &gimli::DebuggingInformationEntry<Reader<'_>>) -> Option<UnitOffset> {
    match entry.attr_value(gimli::DW_AT_type)? {
        gimli::AttributeValue::UnitRef(offset) => Some(offset),
        _ => None,
    }
}
