//! The master boot record and the chain of an extended partition.

use packstaff_fat::{DeviceBlock, PartitionTable};

use super::{Declared, Flaw, Partition, in_blocks};
use crate::BlockSource;

/// The most tables of an extended partition that are followed. No one has so many on a stick.
const CHAIN_MAX: u32 = 60;

/// The usual words for a type byte (UEFI 5.2.2 for EE and EF; the rest is common practice).
pub(super) const fn words(byte: u8) -> &'static str {
    match byte {
        0x01 => "FAT12",
        0x04 | 0x06 | 0x0E => "FAT16",
        0x05 | 0x0F | 0x85 => "extended",
        0x07 => "NTFS or exFAT",
        0x0B | 0x0C => "FAT32",
        0x11 | 0x14 | 0x16 | 0x1B | 0x1C | 0x1E => "hidden FAT",
        0x17 => "hidden NTFS",
        0x82 => "Linux swap",
        0x83 => "Linux",
        0xAF => "HFS+",
        0xCD => "CD image",
        0xEE => "protective",
        0xEF => "EFI system",
        _ => "other",
    }
}

pub(super) fn partitions(
    source: &mut dyn BlockSource,
    record: &PartitionTable,
    device_block: DeviceBlock,
    flaws: &mut Vec<Flaw>,
) -> Vec<Partition> {
    let mut partitions = Vec::new();
    for (number, slot) in (1..).zip(&record.slots) {
        if slot.is_unused() || slot.is_gpt_protective() {
            continue;
        }
        if slot.is_extended() {
            logical(source, slot, device_block, &mut partitions, flaws);
            continue;
        }
        partitions.push(partition(number, slot, 0, device_block));
    }
    partitions.sort_by_key(|partition| partition.number);
    partitions
}

fn partition(number: u32, slot: &packstaff_fat::Partition, base: u64, device_block: DeviceBlock) -> Partition {
    Partition {
        number,
        declared: Declared::Byte(slot.kind),
        name: None,
        start: in_blocks(base + u64::from(slot.start), device_block),
        blocks: in_blocks(slot.blocks.into(), device_block),
    }
}

/// Follows the tables within an extended partition: each lists a partition, counted from itself, and the next table, counted from the
/// extended partition's start (common practice).
fn logical(
    source: &mut dyn BlockSource,
    extended: &packstaff_fat::Partition,
    device_block: DeviceBlock,
    partitions: &mut Vec<Partition>,
    flaws: &mut Vec<Flaw>,
) {
    let base = u64::from(extended.start);
    let mut at = base;
    for _ in 0..CHAIN_MAX {
        let block = source.read(in_blocks(at, device_block)).ok();
        let Some(record) = block.and_then(|block| PartitionTable::read(&block)) else {
            flaws.push(Flaw::Chain);
            return;
        };
        let number = 5.max(
            partitions
                .iter()
                .map(|partition| partition.number + 1)
                .max()
                .unwrap_or(0),
        );
        if let Some(slot) = record
            .slots
            .iter()
            .find(|slot| !slot.is_unused() && !slot.is_extended())
        {
            partitions.push(partition(number, slot, at, device_block));
        }
        match record.slots.iter().find(|slot| slot.is_extended()) {
            Some(next) => at = base + u64::from(next.start),
            None => return,
        }
    }
    flaws.push(Flaw::Chain);
}
