//! The floor: the highest issue that this unit has installed. It only rises.
//!
//! Two sectors, each with at most one record at its start; the floor is the higher of the whole ones, and 0 where there is
//! none. A cut can leave a record that reads as whole today and not tomorrow (see the fault models of the simulated flash),
//! so it is not enough that a record reads well: the unit must know of one that was programmed to its end. That is what the
//! turns are for: each record carries a number one higher than the one written before it, and is written only after that
//! one was finished. Of two records with the same issue, the one with the lower turn is therefore *sure*.
//!
//! Raising the floor takes two writes, and nothing of the new issue is started before the second is done:
//!
//! | found | to be written next |
//! | --- | --- |
//! | nothing | the second sector is erased, then a record of issue 0 written in the first: losing it loses nothing |
//! | one record of issue 0 | the same again, unless it was finished in this power-up; then the new issue beside it |
//! | one record, issue above 0 | it is sure, the other was being overwritten: the new issue beside it |
//! | two, same issue | settled; for a higher issue, over the one with the higher turn |
//! | two, different issues | the higher turn again, for the issue that is now installed, unless it was finished in this power-up; then over the other |
//!
//! | offset | bytes | field |
//! | --- | --- | --- |
//! | 0 | 4 | `PKF1` |
//! | 4 | 8 | issue |
//! | 12 | 4 | turn |
//! | 16 | 4 | CRC-32 (IEEE 802.3) of the 16 bytes before |

use crate::flaw::Flaw;
use crate::record::{Fields, checksum};

/// Bytes of a record.
pub const FLOOR_LEN: usize = 20;

const MAGIC: [u8; 4] = *b"PKF1";

/// A record of the floor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Floor {
    /// The issue.
    pub issue: u64,
    /// One higher than that of the record written before.
    pub turn: u32,
}

impl Floor {
    /// The record as it is programmed.
    pub fn encode(self) -> [u8; FLOOR_LEN] {
        let mut out = [0; FLOOR_LEN];
        let mut fields = Fields::new(&mut out);
        fields.put(&MAGIC);
        fields.put(&self.issue.to_le_bytes());
        fields.put(&self.turn.to_le_bytes());
        fields.seal();
        out
    }

    /// Reads a record; `None` if it is not whole.
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let (record, _) = bytes.split_first_chunk::<FLOOR_LEN>()?;
        let (body, check) = record.split_last_chunk::<4>()?;
        let (magic, rest) = body.split_first_chunk::<4>()?;
        let (issue, turn) = rest.split_first_chunk::<8>()?;
        let turn = u32::from_le_bytes(*turn.first_chunk()?);
        let whole = *magic == MAGIC && checksum(body) == u32::from_le_bytes(*check);
        whole.then_some(Self {
            issue: u64::from_le_bytes(*issue),
            turn,
        })
    }
}

/// The two records as they were read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Floors {
    /// What each sector holds, where it is whole.
    pub records: [Option<Floor>; 2],
}

/// A record to write next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct NextWrite {
    /// Which sector to erase, and then to program.
    pub sector: usize,
    /// The record.
    pub record: Floor,
    /// Erase the other sector before: it holds nothing that is whole, but may hold what will read so tomorrow.
    pub clear_other: bool,
}

impl Floors {
    /// The floor.
    pub fn floor(self) -> u64 {
        self.records
            .into_iter()
            .flatten()
            .map(|record| record.issue)
            .max()
            .unwrap_or(0)
    }

    /// What to write next so that the floor is, for sure, at least `issue`; `None` if it is. `finished` is the sector that
    /// was last programmed to its end in this power-up.
    pub fn next(self, issue: u64, finished: Option<usize>) -> Option<NextWrite> {
        let write = |sector, issue, turn| {
            Some(NextWrite {
                sector,
                record: Floor { issue, turn },
                clear_other: false,
            })
        };
        match self.records {
            _ if issue == 0 => None,
            [None, None] => Some(NextWrite {
                sector: 0,
                record: Floor { issue: 0, turn: 1 },
                clear_other: true,
            }),
            [Some(only), None] => Self::beside(only, 0, issue, finished),
            [None, Some(only)] => Self::beside(only, 1, issue, finished),
            [Some(first), Some(second)] => {
                let (low, high, high_at) = if first.turn > second.turn {
                    (second, first, 0)
                } else {
                    (first, second, 1)
                };
                // The higher turn is always one above the sure record's, so that turns grow with the floor alone.
                let above = low.turn.saturating_add(1);
                if low.issue == high.issue {
                    return if issue > high.issue {
                        write(high_at, issue, above)
                    } else {
                        None
                    };
                }
                match finished == Some(high_at) {
                    true => write(1 - high_at, high.issue, high.turn.saturating_add(1)),
                    false => write(high_at, issue.max(low.issue), above),
                }
            }
        }
    }

    /// What an installer writes that thinks too simply of floors.
    pub(crate) fn next_flawed(self, flaw: Flaw, issue: u64) -> Option<NextWrite> {
        let sector = match (flaw, self.records) {
            (Flaw::FloorTrustsReading, [Some(first), Some(second)]) => usize::from(first.issue >= second.issue),
            (Flaw::FloorTrustsReading, [Some(_), None]) => 1,
            (Flaw::FloorInSlot, _) => return None,
            _ => 0,
        };
        let record = Floor { issue, turn: 1 };
        (self.floor() < issue).then_some(NextWrite {
            sector,
            record,
            clear_other: false,
        })
    }

    fn beside(only: Floor, at: usize, issue: u64, finished: Option<usize>) -> Option<NextWrite> {
        if only.issue == 0 && finished != Some(at) {
            return Some(NextWrite {
                sector: at,
                record: only,
                clear_other: true,
            });
        }
        let record = Floor {
            issue: issue.max(only.issue),
            turn: only.turn.saturating_add(1),
        };
        Some(NextWrite {
            sector: 1 - at,
            record,
            clear_other: false,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::prelude::v1::*;

    #[test]
    fn any_changed_bit_makes_the_record_not_whole() {
        let record = Floor {
            issue: 0x0123_4567_89ab_cdef,
            turn: 7,
        };
        let bytes = record.encode();
        assert_eq!(Floor::decode(&bytes), Some(record));
        for bit in 0..FLOOR_LEN * 8 {
            let mut torn = bytes;
            torn[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Floor::decode(&torn), None, "bit {bit}");
        }
    }

    /// A sector in this model: what it holds, and whether it can be relied on to read so again.
    #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
    enum Cells {
        Empty,
        Sure(u64, u32),
        Wavering(u64, u32),
    }

    type Sectors = [Cells; 2];

    fn readings(cells: Cells) -> Vec<Option<Floor>> {
        match cells {
            Cells::Empty => vec![None],
            Cells::Sure(issue, turn) => vec![Some(Floor { issue, turn })],
            Cells::Wavering(issue, turn) => vec![None, Some(Floor { issue, turn })],
        }
    }

    /// Every order of raises and cuts, every reading of every doubtful record: once the writes for an issue are done, no
    /// later reading is ever below it.
    #[test]
    fn the_floor_never_falls_whatever_is_cut() {
        let mut seen = BTreeSet::new();
        let mut open = vec![([Cells::Empty; 2], 0_u64)];
        while let Some((sectors, settled)) = open.pop() {
            if !seen.insert((sectors, settled)) {
                continue;
            }
            for first in readings(sectors[0]) {
                for second in readings(sectors[1]) {
                    let records = [first, second];
                    let floor = Floors { records }.floor();
                    assert!(floor >= settled, "{sectors:?} settled at {settled} reads {records:?}");
                    // An image of any issue that was not barred for sure may come to be installed.
                    for target in settled..=3 {
                        raise(sectors, records, target, settled, &mut open);
                    }
                }
            }
        }
        assert!(seen.len() > 50, "{}", seen.len());
    }

    fn raise(
        mut sectors: Sectors,
        mut records: [Option<Floor>; 2],
        target: u64,
        settled: u64,
        open: &mut Vec<(Sectors, u64)>,
    ) {
        let mut finished = None;
        let mut writes = 0;
        while let Some(NextWrite {
            sector,
            record,
            clear_other,
        }) = (Floors { records }).next(target, finished)
        {
            if clear_other {
                sectors[1 - sector] = Cells::Empty;
                open.push((sectors, settled));
            }
            // Cut in the erase, or in the program.
            let mut cut = sectors;
            cut[sector] = Cells::Empty;
            open.push((cut, settled));
            cut[sector] = Cells::Wavering(record.issue, record.turn);
            open.push((cut, settled));
            sectors[sector] = Cells::Sure(record.issue, record.turn);
            records[sector] = Some(record);
            finished = Some(sector);
            writes += 1;
            assert!(writes <= 4, "does not come to an end");
            open.push((sectors, settled));
        }
        open.push((sectors, settled.max(target)));
    }
}
