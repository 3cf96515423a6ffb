//! NTFS: its boot sector (public descriptions; from memory).

use super::{Family, Format, doubt, le16, le64};

pub(super) fn read(start: &[u8], whole: u64) -> Format {
    let sector = u64::from(le16(start, 11));
    let sectors = le64(start, 40);
    let bytes = sectors.saturating_mul(sector);
    let is_sector = matches!(sector, 512 | 1024 | 2048 | 4096);
    let blank = start.get(14..21).is_some_and(|rest| rest.iter().all(|byte| *byte == 0));
    Format {
        bytes: is_sector.then_some(bytes),
        doubt: doubt(&[
            (is_sector, "its sector size is not 512 to 4096 bytes"),
            (blank, "bytes 14 to 20 should be zero"),
            (bytes <= whole, "it claims more than there is"),
            (le64(start, 48) < sectors, "its file table begins beyond its end"),
        ]),
        ..Format::bare(Family::Ntfs)
    }
}
