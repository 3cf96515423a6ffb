//! Partition tables, as an examiner reads them: all that there is, with what is wrong with it. What a unit does with a table,
//! `fat` decides.

mod gpt;
mod mbr;

use std::fmt;

use packstaff_fat::{BLOCK, Block, DeviceBlock, PartitionTable};

use crate::BlockSource;

/// How a stick is divided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scheme {
    /// Not at all: the volume begins in block 0.
    None,
    /// A master boot record (UEFI Specification 2.10, 5.2.1).
    Mbr,
    /// A GUID partition table behind its protective record (UEFI 5.3).
    Gpt,
    /// Both: the record lists partitions of its own beside the protective one.
    Hybrid,
}

/// What a table says that a partition is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Declared {
    /// The type byte of a master boot record.
    Byte(u8),
    /// The type identifier of a GUID partition table, as stored.
    Guid([u8; 16]),
}

impl Declared {
    /// The usual words for it (UEFI 5.2.2 and 5.3.3; the rest is common practice).
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Byte(byte) => mbr::words(byte),
            Self::Guid(guid) => gpt::words(&guid),
        }
    }

    /// Whether it is a partition for starting computers, which desktops do not show to their users.
    #[must_use]
    pub const fn is_efi_system(self) -> bool {
        match self {
            Self::Byte(byte) => byte == 0xEF,
            Self::Guid(guid) => gpt::is_efi_system(&guid),
        }
    }
}

/// One partition.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Partition {
    /// 1 to 4 in a master boot record, from 5 on within an extended partition; in a GUID partition table the entry's number.
    pub number: u32,
    /// What the table says that it is.
    pub declared: Declared,
    /// Its name, where the table has names.
    pub name: Option<String>,
    /// First 512-byte block.
    pub start: u64,
    /// Length in 512-byte blocks.
    pub blocks: u64,
}

impl Partition {
    const fn end(&self) -> u64 {
        self.start.saturating_add(self.blocks)
    }
}

/// Which of the two copies of a GUID partition table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Copy {
    /// The one in block 1 of the device.
    First,
    /// The one in its last block.
    Last,
}

/// What is wrong with a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Flaw {
    /// Two partitions share blocks.
    Overlap {
        /// The one.
        first: u32,
        /// The other.
        second: u32,
    },
    /// A partition begins or ends beyond the end of the stick.
    Outside {
        /// Its number.
        number: u32,
    },
    /// A partition begins in block 0 or has no length.
    Empty {
        /// Its number.
        number: u32,
    },
    /// The chain of an extended partition does not end within 60 tables, or leads outside.
    Chain,
    /// Block 0 is laid out as a table, but the mark 55 AA at its end is gone.
    MarkGone,
    /// A copy of the GUID partition table does not hold.
    Guid {
        /// Which copy.
        copy: Copy,
        /// What does not hold.
        why: &'static str,
    },
}

impl fmt::Display for Flaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Overlap { first, second } => write!(f, "partitions {first} and {second} share blocks"),
            Self::Outside { number } => write!(f, "partition {number} reaches beyond the end of the stick"),
            Self::Empty { number } => write!(f, "partition {number} begins in block 0 or has no length"),
            Self::Chain => f.write_str("the chain of the extended partition does not end, or leads outside"),
            Self::MarkGone => {
                f.write_str("block 0 is laid out as a partition table, but its last two bytes are not 55 AA")
            }
            Self::Guid { copy, why } => {
                let copy = match copy {
                    Copy::First => "first",
                    Copy::Last => "last",
                };
                write!(f, "the {copy} copy of the GUID partition table does not hold: {why}")
            }
        }
    }
}

/// How a stick is divided, and into what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// The kind of table.
    pub scheme: Scheme,
    /// The partitions, in the order of the table.
    pub partitions: Vec<Partition>,
    /// What is wrong with it.
    pub flaws: Vec<Flaw>,
}

impl Table {
    const NONE: Self = Self {
        scheme: Scheme::None,
        partitions: Vec::new(),
        flaws: Vec::new(),
    };
}

/// Reads the table of a stick whose blocks, as its tables count them, have this size. A block that cannot be read holds no table.
///
/// Reads at most 1 block for the record, 60 for an extended partition, and 2 times 257 for a GUID partition table.
pub fn table(source: &mut dyn BlockSource, device_block: DeviceBlock) -> Table {
    let Ok(first) = source.read(0) else {
        return Table::NONE;
    };
    let (record, is_marked) = match PartitionTable::read(&first) {
        Some(_) if packstaff_fat::looks_like_volume(&first) || packstaff_fat::is_other_format(&first) => {
            return Table::NONE;
        }
        Some(record) => (record, true),
        None => match unmarked(&first) {
            Some(record) => (record, false),
            None => return Table::NONE,
        },
    };
    let mut flaws = Vec::new();
    let mut partitions = mbr::partitions(source, &record, device_block, &mut flaws);
    let mut scheme = Scheme::Mbr;
    if record.slots.iter().any(packstaff_fat::Partition::is_gpt_protective) {
        scheme = if partitions.is_empty() {
            Scheme::Gpt
        } else {
            Scheme::Hybrid
        };
        let found = gpt::partitions(source, device_block, &mut flaws);
        // Of a hybrid, both tables count the same partitions: those of the record are what a unit goes by.
        if scheme == Scheme::Gpt {
            partitions = found;
        }
    }
    if !is_marked {
        // Where nothing that it lists could be a partition, it is no table.
        let blocks = source.blocks();
        if !partitions
            .iter()
            .any(|partition| partition.start > 0 && partition.blocks > 0 && partition.end() <= blocks)
        {
            return Table::NONE;
        }
        flaws.push(Flaw::MarkGone);
    }
    check(&partitions, source.blocks(), &mut flaws);
    Table {
        scheme,
        partitions,
        flaws,
    }
}

/// A record that would be one if its mark were there.
fn unmarked(block: &Block) -> Option<PartitionTable> {
    let mut marked = *block;
    if marked[510..] == [0x55, 0xAA] {
        return None;
    }
    marked[510..].copy_from_slice(&[0x55, 0xAA]);
    PartitionTable::read(&marked).filter(|_| !packstaff_fat::looks_like_volume(&marked))
}

fn check(partitions: &[Partition], blocks: u64, flaws: &mut Vec<Flaw>) {
    for (index, partition) in partitions.iter().enumerate() {
        let number = partition.number;
        if partition.start == 0 || partition.blocks == 0 {
            flaws.push(Flaw::Empty { number });
            continue;
        }
        if partition.end() > blocks {
            flaws.push(Flaw::Outside { number });
        }
        let shared = partitions[..index]
            .iter()
            .find(|earlier| earlier.start < partition.end() && partition.start < earlier.end() && earlier.blocks > 0);
        if let Some(earlier) = shared {
            flaws.push(Flaw::Overlap {
                first: earlier.number,
                second: number,
            });
        }
    }
}

/// A number of device blocks in 512-byte blocks.
const fn in_blocks(count: u64, device_block: DeviceBlock) -> u64 {
    count.saturating_mul(device_block.blocks())
}

/// Bytes that lie in whole 512-byte blocks; `None` if one of them cannot be read.
fn stretch(source: &mut dyn BlockSource, first: u64, bytes: usize) -> Option<Vec<u8>> {
    let mut all = Vec::with_capacity(bytes.next_multiple_of(BLOCK));
    let mut number = first;
    while all.len() < bytes {
        all.extend_from_slice(&source.read(number).ok()?);
        number = number.checked_add(1)?;
    }
    all.truncate(bytes);
    Some(all)
}

fn le32(bytes: &[u8], at: usize) -> u32 {
    bytes
        .get(at..)
        .and_then(|rest| rest.first_chunk())
        .map_or(0, |chunk| u32::from_le_bytes(*chunk))
}

fn le64(bytes: &[u8], at: usize) -> u64 {
    bytes
        .get(at..)
        .and_then(|rest| rest.first_chunk())
        .map_or(0, |chunk| u64::from_le_bytes(*chunk))
}
