//! The GUID partition table: header and entries, each with a checksum, at both ends of the stick (UEFI 5.3.2 and 5.3.3).

use crc::{CRC_32_ISO_HDLC, Crc};
use packstaff_fat::{BLOCK, DeviceBlock};

use super::{Copy, Declared, Flaw, Partition, in_blocks, le32, le64, stretch};
use crate::BlockSource;

/// The most bytes of entries that are looked at; 16 KiB is usual.
const ENTRIES_MAX: u64 = 128 << 10;
const HEADER_LEN: usize = 92;
const CHECKSUM: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Identifiers as stored, the first three groups with their low byte first. EFI system and basic data: UEFI 5.3.3 and Microsoft's
/// documentation; the others are common practice.
const KNOWN: [([u8; 16], &str); 6] = [
    (
        [
            0x28, 0x73, 0x2A, 0xC1, 0x1F, 0xF8, 0xD2, 0x11, 0xBA, 0x4B, 0x00, 0xA0, 0xC9, 0x3E, 0xC9, 0x3B,
        ],
        "EFI system",
    ),
    (
        [
            0xA2, 0xA0, 0xD0, 0xEB, 0xE5, 0xB9, 0x33, 0x44, 0x87, 0xC0, 0x68, 0xB6, 0xB7, 0x26, 0x99, 0xC7,
        ],
        "basic data",
    ),
    (
        [
            0x16, 0xE3, 0xC9, 0xE3, 0x5C, 0x0B, 0xB8, 0x4D, 0x81, 0x7D, 0xF9, 0x2D, 0xF0, 0x02, 0x15, 0xAE,
        ],
        "reserved",
    ),
    (
        [
            0x00, 0x53, 0x46, 0x48, 0x00, 0x00, 0xAA, 0x11, 0xAA, 0x11, 0x00, 0x30, 0x65, 0x43, 0xEC, 0xAC,
        ],
        "HFS+",
    ),
    (
        [
            0xEF, 0x57, 0x34, 0x7C, 0x00, 0x00, 0xAA, 0x11, 0xAA, 0x11, 0x00, 0x30, 0x65, 0x43, 0xEC, 0xAC,
        ],
        "APFS",
    ),
    (
        [
            0xAF, 0x3D, 0xC6, 0x0F, 0x83, 0x84, 0x72, 0x47, 0x8E, 0x79, 0x3D, 0x69, 0xD8, 0x47, 0x7D, 0xE4,
        ],
        "Linux",
    ),
];

const fn same(one: &[u8; 16], other: &[u8; 16]) -> bool {
    u128::from_le_bytes(*one) == u128::from_le_bytes(*other)
}

pub(super) const fn words(guid: &[u8; 16]) -> &'static str {
    let mut index = 0;
    while index < KNOWN.len() {
        if same(guid, &KNOWN[index].0) {
            return KNOWN[index].1;
        }
        index += 1;
    }
    "other"
}

pub(super) const fn is_efi_system(guid: &[u8; 16]) -> bool {
    same(guid, &KNOWN[0].0)
}

/// The partitions by the first copy that holds; what is wrong with either goes to the flaws.
pub(super) fn partitions(
    source: &mut dyn BlockSource,
    device_block: DeviceBlock,
    flaws: &mut Vec<Flaw>,
) -> Vec<Partition> {
    let last = (source.blocks() / device_block.blocks()).saturating_sub(1);
    let mut found = None;
    for (copy, at) in [(Copy::First, 1), (Copy::Last, last)] {
        match read(source, at, device_block) {
            Ok(partitions) => found = found.or(Some(partitions)),
            Err(why) => flaws.push(Flaw::Guid { copy, why }),
        }
    }
    found.unwrap_or_default()
}

fn read(source: &mut dyn BlockSource, at: u64, device_block: DeviceBlock) -> Result<Vec<Partition>, &'static str> {
    let device_bytes = device_block.blocks() * BLOCK as u64;
    let bytes =
        stretch(source, in_blocks(at, device_block), device_bytes as usize).ok_or("its header cannot be read")?;
    if !bytes.starts_with(b"EFI PART") {
        return Err("its header does not begin with EFI PART");
    }
    let size = le32(&bytes, 12) as usize;
    let Some(header) = bytes.get(..size).filter(|_| size >= HEADER_LEN) else {
        return Err("its header states an impossible length");
    };
    let mut blanked = header.to_vec();
    blanked[16..20].fill(0);
    if CHECKSUM.checksum(&blanked) != le32(header, 16) {
        return Err("its header's checksum is another");
    }
    if le64(header, 24) != at {
        return Err("its header states another place");
    }
    let (first, count, size) = (le64(header, 72), le32(header, 80), le32(header, 84));
    let all = u64::from(count) * u64::from(size);
    if size < 128 || !size.is_power_of_two() || all > ENTRIES_MAX {
        return Err("its entries have an impossible size or number");
    }
    let entries = stretch(source, in_blocks(first, device_block), all as usize).ok_or("its entries cannot be read")?;
    if CHECKSUM.checksum(&entries) != le32(header, 88) {
        return Err("the checksum of its entries is another");
    }
    let partition = |(number, entry): (u32, &[u8])| {
        let declared: [u8; 16] = *entry.first_chunk()?;
        if declared == [0; 16] {
            return None;
        }
        let (start, last) = (le64(entry, 32), le64(entry, 40));
        let units = entry
            .get(56..128)?
            .chunks_exact(2)
            .map(|pair| u16::from_le_bytes([pair[0], pair[1]]));
        let name: String = char::decode_utf16(units.take_while(|unit| *unit != 0))
            .map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER))
            .collect();
        Some(Partition {
            number,
            declared: Declared::Guid(declared),
            name: (!name.is_empty()).then_some(name),
            start: in_blocks(start, device_block),
            blocks: in_blocks(last.saturating_add(1).saturating_sub(start), device_block),
        })
    };
    Ok((1..)
        .zip(entries.chunks_exact(size as usize))
        .filter_map(partition)
        .collect())
}
