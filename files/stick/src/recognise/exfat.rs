//! exFAT: its boot region (Microsoft, exFAT file system specification, 3.1 and 3.4).

use super::{Family, Format, doubt, le32, le64};

pub(super) fn read(start: &[u8], whole: u64) -> Format {
    let shift = start.get(108).copied().unwrap_or(0);
    let cluster_shift = start.get(109).copied().unwrap_or(0);
    let sectors = le64(start, 72);
    let bytes = (9..=12).contains(&shift).then(|| sectors.saturating_mul(1 << shift));
    let blank = start.get(11..64).is_some_and(|rest| rest.iter().all(|byte| *byte == 0));
    Format {
        bytes,
        doubt: doubt(&[
            (blank, "bytes 11 to 63 should be zero"),
            (bytes.is_some(), "its sector size is not 512 to 4096 bytes"),
            (
                u32::from(cluster_shift) + u32::from(shift) <= 25,
                "its clusters are larger than 32 MiB",
            ),
            (bytes.is_none_or(|bytes| bytes <= whole), "it claims more than there is"),
            (le32(start, 80) >= 24, "its FAT begins within its boot region"),
            (le32(start, 96) >= 2, "its root begins in no cluster"),
            (holds(start, shift), "the checksum of its boot region is another"),
        ]),
        ..Format::bare(Family::ExFat)
    }
}

/// The boot region's checksum (3.4), where 512-byte sectors put all of it into what was read; else it is not looked at.
fn holds(start: &[u8], shift: u8) -> bool {
    let Some(region) = start.get(..11 * 512).filter(|_| shift == 9) else {
        return true;
    };
    let skipped = [106, 107, 112];
    let sum = region
        .iter()
        .enumerate()
        .filter(|(at, _)| !skipped.contains(at))
        .fold(0u32, |sum, (_, byte)| {
            sum.rotate_right(1).wrapping_add(u32::from(*byte))
        });
    le32(start, 11 * 512) == sum
}
