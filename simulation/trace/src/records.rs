//! The records that the installer keeps in flash, as they read: the slot's descriptor with its void mark, and the register.

use crate::cells::Cells;
use packstaff_installer::{DESCRIPTOR_LEN, Descriptor, REGISTER_LEN, Record, Region, Register, VOID_MARK_LEN};
use packstaff_unit::blueprint::Blueprint;

/// A slot's descriptor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DescriptorSeen {
    /// It reads as whole.
    Whole(Descriptor),
    /// Its cells read as erased.
    Blank,
    /// Something is there that is no whole descriptor.
    Remnant,
    /// It is not, or not wholly, in the read-out.
    NotRead,
}

/// The granule behind the descriptor that voids it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MarkSeen {
    /// Erased: a descriptor in front of it counts.
    Blank,
    /// Programmed: an install has given up what the slot held.
    Programmed,
    /// It is not, or not wholly, in the read-out.
    NotRead,
}

/// A sector of the register.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RecordSeen {
    /// A whole record.
    Whole(Record),
    /// Its cells read as erased.
    Blank,
    /// Something is there that is no whole record.
    Remnant,
    /// It is not, or not wholly, in the read-out.
    NotRead,
}

/// All of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Records {
    /// The slot's descriptor.
    pub descriptor: DescriptorSeen,
    /// Its void mark.
    pub mark: MarkSeen,
    /// The register's two sectors.
    pub register: [RecordSeen; 2],
}

impl Records {
    /// Reads them.
    pub fn read(blueprint: &Blueprint, cells: &Cells) -> Self {
        let place = blueprint.config().place();
        let record = Region {
            base: place.record.base,
            size: DESCRIPTOR_LEN as u32,
        };
        let mark = Region {
            base: place.void.base,
            size: VOID_MARK_LEN as u32,
        };
        let descriptor = match cells.bytes(record) {
            Some(bytes) => match Descriptor::decode(bytes) {
                Some(descriptor) => DescriptorSeen::Whole(descriptor),
                None if cells.may_be_blank(record) => DescriptorSeen::Blank,
                None => DescriptorSeen::Remnant,
            },
            None if spoilt(cells, record) => DescriptorSeen::Remnant,
            None => DescriptorSeen::NotRead,
        };
        let mark = match cells.may_be_blank(mark) {
            _ if spoilt(cells, mark) => MarkSeen::Programmed,
            false => MarkSeen::Programmed,
            true if cells.bytes(mark).is_some() => MarkSeen::Blank,
            true => MarkSeen::NotRead,
        };
        Self {
            descriptor,
            mark,
            register: blueprint.floors.map(|sector| record_in(cells, sector)),
        }
    }

    /// The register, as an installer would read it now; what was not read counts as nothing.
    pub fn register(&self) -> Register {
        Register {
            records: self.register.map(|seen| match seen {
                RecordSeen::Whole(record) => Some(record),
                RecordSeen::Blank | RecordSeen::Remnant | RecordSeen::NotRead => None,
            }),
        }
    }

    /// Whether both sectors of the register were read.
    pub fn register_is_read(&self) -> bool {
        self.register.iter().all(|seen| *seen != RecordSeen::NotRead)
    }

    /// Whether both records of the register are whole.
    pub(crate) fn both_are_whole(&self) -> bool {
        self.register.iter().all(|seen| matches!(seen, RecordSeen::Whole(_)))
    }

    /// Whether the register holds something and yet names no image: it is being written for the first time, or for a change.
    pub(crate) fn register_in_the_middle(&self) -> bool {
        self.register.iter().any(|seen| *seen != RecordSeen::Blank)
    }

    /// Whether nothing was ever recorded, as far as was read.
    pub(crate) fn register_may_be_new(&self) -> bool {
        self.register().records.iter().all(Option::is_none)
    }
}

fn record_in(cells: &Cells, sector: Region) -> RecordSeen {
    let record = Region {
        base: sector.base,
        size: REGISTER_LEN as u32,
    };
    match cells.bytes(record) {
        Some(bytes) => match Record::decode(bytes) {
            Some(record) => RecordSeen::Whole(record),
            None if cells.may_be_blank(record) => RecordSeen::Blank,
            None => RecordSeen::Remnant,
        },
        None if spoilt(cells, record) => RecordSeen::Remnant,
        None => RecordSeen::NotRead,
    }
}

/// Whether a record cannot read as whole, because some of it reads differently each time, or not at all.
fn spoilt(cells: &Cells, record: Region) -> bool {
    cells.unsteady_count(record) > 0 || cells.unreadable_count(record) > 0
}
