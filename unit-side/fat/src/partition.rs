//! The partition table in block 0: four slots of a master boot record (UEFI Specification 2.10, 5.2.1).

use crate::Block;
use crate::bytes::{array_at, u8_at, u32_at};

/// One slot. The cylinder/head/sector fields are not kept: no one can rely on them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Partition {
    /// 00, or 80 for the one to start a computer from.
    pub status: u8,
    /// The type byte; 00 for an unused slot. A hint only: what a partition is, its first block says.
    pub kind: u8,
    /// First block, in blocks of the device.
    pub start: u32,
    /// Length, in blocks of the device.
    pub blocks: u32,
}

impl Partition {
    /// Whether the slot is unused.
    #[must_use]
    pub const fn is_unused(&self) -> bool {
        self.kind == 0x00
    }

    /// Whether the slot heads a chain of further tables.
    #[must_use]
    pub const fn is_extended(&self) -> bool {
        matches!(self.kind, 0x05 | 0x0F | 0x85)
    }

    /// Whether the slot covers the device for a GUID partition table (UEFI 5.2.3).
    #[must_use]
    pub const fn is_gpt_protective(&self) -> bool {
        self.kind == 0xEE
    }

    /// Whether the slot is an EFI system partition.
    #[must_use]
    pub const fn is_efi_system(&self) -> bool {
        self.kind == 0xEF
    }
}

/// The four slots of a master boot record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct PartitionTable {
    /// The slots, in order.
    pub slots: [Partition; 4],
}

impl PartitionTable {
    /// The table in a block, if it can be one: 55 AA at the end, every status 00 or 80, at least one slot in use.
    #[must_use]
    pub fn read(block: &Block) -> Option<Self> {
        if array_at::<2>(block, 510) != [0x55, 0xAA] {
            return None;
        }
        let slots = [446, 462, 478, 494].map(|at| {
            let slot: [u8; 16] = array_at(block, at);
            Partition {
                status: u8_at(&slot, 0),
                kind: u8_at(&slot, 4),
                start: u32_at(&slot, 8),
                blocks: u32_at(&slot, 12),
            }
        });
        let is_table = slots.iter().all(|slot| slot.status & 0x7F == 0) && !slots.iter().all(Partition::is_unused);
        is_table.then_some(Self { slots })
    }
}
