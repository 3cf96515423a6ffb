//! Finding the volume on a device.
//!
//! Block 0 is taken for the start of a volume if its jump and first fields say so, even if it could be a partition table too (start-up
//! code often looks like one); else for a partition table if it can be one; else for a boot sector with something wrong.
//!
//! Of a table's partitions, the first in slot order that mounts is the volume. The type byte counts only where it says that there
//! cannot be one for an owner: unused, extended, GPT protective, EFI system. If none mounts, the error is that of the partition that
//! came closest.

use crate::detail::detail;
use crate::partition::{Partition, PartitionTable};
use crate::{Block, Error, Step, Volume, boot};

/// Bytes in one block of the device, as it reports them: what a partition table counts in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum DeviceBlock {
    /// 512, as nearly every stick has.
    #[default]
    B512,
    /// 1024.
    B1024,
    /// 2048.
    B2048,
    /// 4096.
    B4096,
}

impl DeviceBlock {
    /// The size for a number of bytes, if there is one.
    #[must_use]
    pub const fn from_bytes(bytes: u32) -> Option<Self> {
        match bytes {
            512 => Some(Self::B512),
            1024 => Some(Self::B1024),
            2048 => Some(Self::B2048),
            4096 => Some(Self::B4096),
            _ => None,
        }
    }

    /// 512-byte blocks in one.
    #[must_use]
    pub const fn blocks(self) -> u64 {
        match self {
            Self::B512 => 1,
            Self::B1024 => 2,
            Self::B2048 => 4,
            Self::B4096 => 8,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Phase {
    First,
    /// The first block of the partition in slot `index` (from 0) was asked for; `best` is the most telling error so far.
    Slot {
        table: PartitionTable,
        index: u8,
        best: Option<Error>,
    },
}

/// The step machine that mounts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Mount {
    /// 512-byte blocks of the device.
    blocks: u64,
    device_block: DeviceBlock,
    phase: Phase,
}

impl Mount {
    /// The most blocks that mounting asks for: block 0 and the first of each partition.
    pub const MAX_READS: u64 = 5;

    /// Mounts a device of so many 512-byte blocks that reports 512-byte blocks.
    #[must_use]
    pub const fn new(blocks: u64) -> Self {
        Self::with_device_block(blocks, DeviceBlock::B512)
    }

    /// Mounts a device of so many 512-byte blocks that reports blocks of another size.
    #[must_use]
    pub const fn with_device_block(blocks: u64, device_block: DeviceBlock) -> Self {
        Self {
            blocks,
            device_block,
            phase: Phase::First,
        }
    }

    /// Goes on; call with `None` first, and with the block after each `Read`.
    ///
    /// # Errors
    ///
    /// Why there is no volume to read.
    pub fn step(&mut self, block: Option<&Block>) -> Result<Step<Volume>, Error> {
        match (self.phase, block) {
            _ if self.blocks == 0 => Err(Error::EmptyDevice),
            (Phase::First, None) => Ok(Step::Read(0)),
            (Phase::First, Some(block)) => self.first(block),
            (Phase::Slot { table, index, best }, None) => self.seek(table, index, best),
            (Phase::Slot { table, index, best }, Some(block)) => {
                let mounted = match table.slots.get(usize::from(index)).map(|slot| self.extent(slot, index)) {
                    Some(Ok(Some((start, length)))) => boot::read(block, start, length),
                    // Not met: `seek` chose the slot.
                    _ => Err(Error::NotFat { block: detail(0) }),
                };
                match mounted {
                    Ok(volume) => Ok(Step::Ready(Volume {
                        slot: Some(index.wrapping_add(1)),
                        ..volume
                    })),
                    Err(error) => self.seek(table, index.wrapping_add(1), Some(heavier(best, error))),
                }
            }
        }
    }

    fn first(&mut self, block: &Block) -> Result<Step<Volume>, Error> {
        if !boot::has_signature(block) {
            return Err(Error::NoSignature { block: detail(0) });
        }
        if let Some(other) = boot::other_format(block) {
            return Err(other);
        }
        match PartitionTable::read(block) {
            Some(table) if !boot::looks_like_volume(block) => self.seek(table, 0, None),
            _ => boot::read(block, 0, self.blocks).map(Step::Ready),
        }
    }

    /// Asks for the first block of the first partition, from slot `index` on, that could be the volume.
    fn seek(&mut self, table: PartitionTable, index: u8, mut best: Option<Error>) -> Result<Step<Volume>, Error> {
        for (index, slot) in (0u8..).zip(&table.slots).skip(usize::from(index)) {
            match self.extent(slot, index) {
                Ok(Some((start, _))) => {
                    self.phase = Phase::Slot { table, index, best };
                    return Ok(Step::Read(start));
                }
                Ok(None) => {}
                Err(error) => best = Some(heavier(best, error)),
            }
        }
        self.phase = Phase::First;
        Err(best.unwrap_or(Error::ExtendedOnly))
    }

    /// First block and length of a partition that could be the volume, cut off at the end of the device; `None` for a slot that says
    /// nothing.
    fn extent(&self, slot: &Partition, index: u8) -> Result<Option<(u64, u64)>, Error> {
        if slot.is_unused() || slot.is_extended() {
            return Ok(None);
        }
        if slot.is_gpt_protective() {
            return Err(Error::Gpt);
        }
        if slot.is_efi_system() {
            return Err(Error::StartUpOnly);
        }
        // At most 2^32 x 8, so neither product nor sum wraps.
        let start = u64::from(slot.start).wrapping_mul(self.device_block.blocks());
        let length = u64::from(slot.blocks).wrapping_mul(self.device_block.blocks());
        let slot = index.wrapping_add(1);
        if start == 0 || length == 0 {
            return Err(Error::PartitionEmpty { slot: detail(slot) });
        }
        match self.blocks.checked_sub(start) {
            None | Some(0) => Err(Error::PartitionOutside {
                slot: detail(slot),
                start: detail(start),
                blocks: detail(self.blocks),
            }),
            Some(rest) => Ok(Some((start, length.min(rest)))),
        }
    }
}

/// The more telling of two errors; the earlier, if they tell as much.
fn heavier(best: Option<Error>, error: Error) -> Error {
    best.filter(|best| best.weight() >= error.weight()).unwrap_or(error)
}
