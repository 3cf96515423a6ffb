//! ext2, ext3 and ext4: the superblock at byte 1024 (Linux kernel documentation, "ext4 Data Structures and Algorithms").

use super::{Family, Format, array, doubt, label, le16, le32};
use crate::Window;

const HAS_JOURNAL: u32 = 0x4;
/// Extents, 64-bit block numbers, flexible groups: what ext3 never has.
const LATER: u32 = 0x40 | 0x80 | 0x200;

pub(super) fn read(window: &mut Window<'_>, whole: u64) -> Option<Format> {
    let block = window.bytes(1024, 1024);
    if array(&block, 56) != [0x53, 0xEF] {
        return None;
    }
    let shift = le32(&block, 24);
    let count = u64::from(le32(&block, 4));
    let is_block = shift <= 6;
    let bytes = is_block.then(|| count << (10 + shift));
    let number = match (le32(&block, 92) & HAS_JOURNAL, le32(&block, 96) & LATER) {
        (_, later) if later != 0 => 4,
        (0, _) => 2,
        _ => 3,
    };
    let checks = [
        (is_block, "its blocks are larger than 64 KiB"),
        (
            le16(&block, 88) >= 128 || le32(&block, 76) == 0,
            "its inodes are too small",
        ),
        (bytes.is_none_or(|bytes| bytes <= whole), "it claims more than there is"),
        (le32(&block, 32) != 0, "its groups have no blocks"),
    ];
    Some(Format {
        label: label(&array::<16>(&block, 120)),
        bytes,
        doubt: doubt(&checks),
        ..Format::bare(Family::Ext(number))
    })
}
