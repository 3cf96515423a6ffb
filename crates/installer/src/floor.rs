//! The floor: the highest issue that this unit has installed. It only rises.
//!
//! Two sectors, each with at most one record at its start. The floor is the higher of the whole records; a unit that has
//! none has the floor 0. Raising it erases and programs the sector that does *not* hold the present floor, so a cut at
//! any moment leaves the present one in place.
//!
//! | offset | bytes | field |
//! | --- | --- | --- |
//! | 0 | 4 | `PKF1` |
//! | 4 | 8 | issue |
//! | 12 | 4 | CRC-32 (IEEE 802.3) of the 12 bytes before |

use crate::record::{Fields, checksum};

/// Bytes of a record.
pub const FLOOR_LEN: usize = 16;

const MAGIC: [u8; 4] = *b"PKF1";

/// The record for `issue`.
pub fn encode(issue: u64) -> [u8; FLOOR_LEN] {
    let mut out = [0; FLOOR_LEN];
    let mut fields = Fields::new(&mut out);
    fields.put(&MAGIC);
    fields.put(&issue.to_le_bytes());
    fields.seal();
    out
}

/// The issue in a record; `None` if the record is not whole.
pub fn decode(bytes: &[u8]) -> Option<u64> {
    let (record, _) = bytes.split_first_chunk::<FLOOR_LEN>()?;
    let (body, check) = record.split_last_chunk::<4>()?;
    let (magic, issue) = body.split_first_chunk::<4>()?;
    let issue = issue.first_chunk::<8>()?;
    (*magic == MAGIC && checksum(body) == u32::from_le_bytes(*check)).then_some(u64::from_le_bytes(*issue))
}

/// The two records as they were read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Floors {
    /// The issue in each sector, where its record is whole.
    pub records: [Option<u64>; 2],
}

impl Floors {
    /// The floor.
    pub fn floor(self) -> u64 {
        self.records.into_iter().flatten().max().unwrap_or(0)
    }

    /// Which sector to write next: never the one that holds the floor.
    pub fn spare(self) -> usize {
        match self.records {
            [Some(first), Some(second)] => usize::from(first >= second),
            [Some(_), None] => 1,
            _ => 0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_changed_bit_makes_the_record_not_whole() {
        let record = encode(0x0123_4567_89ab_cdef);
        assert_eq!(decode(&record), Some(0x0123_4567_89ab_cdef));
        for bit in 0..FLOOR_LEN * 8 {
            let mut torn = record;
            torn[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(decode(&torn), None, "bit {bit}");
        }
    }

    /// Every combination of (no record, low, high) in two sectors: losing the spare sector never lowers the floor.
    #[test]
    fn the_spare_sector_never_holds_the_floor() {
        for first in [None, Some(3), Some(8)] {
            for second in [None, Some(3), Some(8)] {
                let floors = Floors { records: [first, second] };
                let mut after = floors;
                after.records[floors.spare()] = None;
                assert_eq!(after.floor(), floors.floor(), "{floors:?}");
            }
        }
    }
}
