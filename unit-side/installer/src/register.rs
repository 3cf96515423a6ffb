//! The register: the floor, and for units with two slots which of them counts. It outlives every cut.
//!
//! Two sectors, each with at most one record at its start. A cut can leave a record that reads as whole today and not tomorrow
//! (see the fault models of the simulated flash), so it is not enough that a record reads well: the unit must know of one that
//! was programmed to its end. That is what the turns are for: each record carries a number one higher than the one written
//! before it, and is written only after that one was finished. Of two records with the same value, the one with the lower turn
//! is therefore *sure*.
//!
//! Changing the value takes two writes, and nothing relies on the new value before the second is done:
//!
//! | found | to be written next |
//! | --- | --- |
//! | nothing | the second sector is erased, then an empty record written in the first: losing it loses nothing |
//! | one empty record | the same again, unless it was finished in this power-up; then the new value beside it |
//! | one record with a value | it is sure, the other was being overwritten: the new value beside it |
//! | two, same value | settled; for another value, over the one with the higher turn |
//! | two, different values | the higher turn again, for the value that now counts, unless it was finished in this power-up; then over the other |
//!
//! The *floor* is the highest issue that this unit has installed: it refuses lower ones. It only rises.
//!
//! | offset | bytes | field |
//! | --- | --- | --- |
//! | 0 | 4 | `PKR1` |
//! | 4 | 4 | turn |
//! | 8 | 8 | issue |
//! | 16 | 4 | 0 no image, 1 the image in the first place, 2 in the second |
//! | 20 | 64 | that image's descriptor, or zeros |
//! | 84 | 4 | CRC-32 (IEEE 802.3) of the 84 bytes before |

use crate::config::ONE_PLACE;
use crate::descriptor::{DESCRIPTOR_LEN, Descriptor};
use crate::record::{Fields, checksum};

/// Bytes of a record.
pub const REGISTER_LEN: usize = 24 + DESCRIPTOR_LEN;

const MAGIC: [u8; 4] = *b"PKR1";

/// An image, and which of two places holds it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Held {
    /// The second place, not the first.
    pub second: bool,
    /// The image.
    pub descriptor: Descriptor,
}

/// What the register says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Value {
    /// The floor.
    pub issue: u64,
    /// The image that counts, where the layout keeps it here.
    pub held: Option<Held>,
}

impl Value {
    /// What an empty register says.
    pub const EMPTY: Self = Self { issue: 0, held: None };

    fn with_floor(self, floor: u64) -> Self {
        Self {
            issue: self.issue.max(floor),
            ..self
        }
    }
}

/// A record of the register.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Record {
    /// What it says.
    pub value: Value,
    /// One higher than that of the record written before.
    pub turn: u32,
}

impl Record {
    /// The same record, with a turn that is lower by `less`.
    #[cfg(feature = "explored")]
    #[must_use]
    pub fn with_turn_less(self, less: u32) -> Self {
        Self {
            turn: self.turn.wrapping_sub(less),
            ..self
        }
    }

    /// The record as it is programmed.
    pub fn encode(self) -> [u8; REGISTER_LEN] {
        let mut out = [0; REGISTER_LEN];
        let mut fields = Fields::new(&mut out);
        fields.put(&MAGIC);
        fields.put(&self.turn.to_le_bytes());
        fields.put(&self.value.issue.to_le_bytes());
        let held = self.value.held.filter(|_| !ONE_PLACE);
        let place = held.map_or(0, |held| 1 + u32::from(held.second));
        fields.put(&place.to_le_bytes());
        fields.put(&held.map_or([0; DESCRIPTOR_LEN], |held| held.descriptor.encode()));
        fields.seal();
        out
    }

    /// Reads a record; `None` if it is not whole.
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let (record, _) = bytes.split_first_chunk::<REGISTER_LEN>()?;
        let (body, check) = record.split_last_chunk::<4>()?;
        if checksum(body) != u32::from_le_bytes(*check) {
            return None;
        }
        let (magic, rest) = body.split_first_chunk::<4>()?;
        let (turn, rest) = rest.split_first_chunk::<4>()?;
        let (issue, rest) = rest.split_first_chunk::<8>()?;
        let (place, descriptor) = rest.split_first_chunk::<4>()?;
        let held = match u32::from_le_bytes(*place) {
            0 => None,
            // Of another layout's image nothing is known here; the floor counts all the same.
            1 | 2 if ONE_PLACE => None,
            place @ (1 | 2) => Some(Held {
                second: place == 2,
                descriptor: Descriptor::decode(descriptor)?,
            }),
            _ => return None,
        };
        let value = Value {
            issue: u64::from_le_bytes(*issue),
            held,
        };
        (*magic == MAGIC).then_some(Self {
            value,
            turn: u32::from_le_bytes(*turn),
        })
    }
}

/// The two records as they were read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Register {
    /// What each sector holds, where it is whole.
    pub records: [Option<Record>; 2],
}

/// A record to write next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct NextWrite {
    /// Which sector to erase, and then to program.
    pub sector: usize,
    /// The record.
    pub record: Record,
    /// Erase the other sector before: it holds nothing that is whole, but may hold what will read so tomorrow.
    pub clear_other: bool,
}

impl Register {
    /// The floor.
    pub fn floor(self) -> u64 {
        self.records
            .into_iter()
            .flatten()
            .map(|record| record.value.issue)
            .max()
            .unwrap_or(0)
    }

    /// What the register may be meant to say, what was written last first: one value where it is settled or one record is
    /// left, two in the middle of a change.
    pub fn candidates(self) -> impl Iterator<Item = Value> {
        let [first, second] = match self.records {
            [Some(first), Some(second)] if first.turn > second.turn => [Some(first), Some(second)],
            [first, second] => [second, first],
        };
        let first = first.map(|record| record.value);
        let second = second.map(|record| record.value).filter(|value| Some(*value) != first);
        first.into_iter().chain(second)
    }

    /// The sector beside an empty record alone. It reads as nothing, and yet a cut may have left a value in it that reads as whole
    /// later.
    pub fn beside_empty(self) -> Option<usize> {
        let is_empty = |record: Record| record.value == Value::EMPTY;
        match self.records {
            [Some(only), None] if is_empty(only) => Some(1),
            [None, Some(only)] if is_empty(only) => Some(0),
            _ => None,
        }
    }

    /// What to write next so that the register says `target` for sure, or a higher floor; `None` if it does. `finished` is the
    /// sector that was last programmed to its end in this power-up.
    pub fn next(self, target: Value, finished: Option<usize>) -> Option<NextWrite> {
        let write = |sector, value, turn| {
            Some(NextWrite {
                sector,
                record: Record { value, turn },
                clear_other: false,
            })
        };
        match self.records {
            _ if target == Value::EMPTY => None,
            [None, None] => {
                let record = Record {
                    value: Value::EMPTY,
                    turn: 1,
                };
                Some(NextWrite {
                    sector: 0,
                    record,
                    clear_other: true,
                })
            }
            [Some(only), None] => Self::beside(only, 0, target, finished),
            [None, Some(only)] => Self::beside(only, 1, target, finished),
            [Some(first), Some(second)] => {
                let (low, high, high_at) = if first.turn > second.turn {
                    (second, first, 0)
                } else {
                    (first, second, 1)
                };
                // The higher turn is always one above the sure record's, so that turns grow with settled changes alone.
                let above = low.turn.saturating_add(1);
                let value = target.with_floor(low.value.issue);
                if low.value == high.value {
                    return if value == high.value {
                        None
                    } else {
                        write(high_at, value, above)
                    };
                }
                match finished == Some(high_at) {
                    true => write(1 - high_at, high.value, high.turn.saturating_add(1)),
                    false => write(high_at, value, above),
                }
            }
        }
    }

    fn beside(only: Record, at: usize, target: Value, finished: Option<usize>) -> Option<NextWrite> {
        if only.value == Value::EMPTY && finished != Some(at) {
            return Some(NextWrite {
                sector: at,
                record: only,
                clear_other: true,
            });
        }
        let value = target.with_floor(only.value.issue);
        let record = Record {
            value,
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
    use packstaff_envelope::VersionNumbers;
    use std::collections::BTreeSet;
    use std::prelude::v1::*;

    #[test]
    fn any_changed_bit_makes_the_record_not_whole() {
        let version = VersionNumbers::new(&[2, 1]).unwrap();
        let descriptor = Descriptor {
            image_size: 9,
            sequence: 3,
            version,
            image_digest: [7; 32],
        };
        for held in [
            None,
            Some(Held {
                second: false,
                descriptor,
            }),
            Some(Held {
                second: true,
                descriptor,
            }),
        ] {
            let record = Record {
                value: Value {
                    issue: 0x0123_4567_89ab_cdef,
                    held,
                },
                turn: 7,
            };
            let bytes = record.encode();
            assert_eq!(Record::decode(&bytes), Some(record));
            for bit in 0..REGISTER_LEN * 8 {
                let mut torn = bytes;
                torn[bit / 8] ^= 1 << (bit % 8);
                assert_eq!(Record::decode(&torn), None, "bit {bit}");
            }
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

    fn record(issue: u64, turn: u32) -> Record {
        Record {
            value: Value { issue, held: None },
            turn,
        }
    }

    fn readings(cells: Cells) -> Vec<Option<Record>> {
        match cells {
            Cells::Empty => vec![None],
            Cells::Sure(issue, turn) => vec![Some(record(issue, turn))],
            Cells::Wavering(issue, turn) => vec![None, Some(record(issue, turn))],
        }
    }

    /// Every order of changes and cuts, every reading of every doubtful record: once the writes for a value are done, every
    /// later reading has it among its candidates, or one that was being written in its place; and the floor is never below it.
    #[test]
    fn a_settled_value_is_never_lost_whatever_is_cut() {
        let mut seen = BTreeSet::new();
        let mut open = vec![([Cells::Empty; 2], 0_u64)];
        while let Some((sectors, settled)) = open.pop() {
            if !seen.insert((sectors, settled)) {
                continue;
            }
            for first in readings(sectors[0]) {
                for second in readings(sectors[1]) {
                    let register = Register {
                        records: [first, second],
                    };
                    assert!(
                        register.floor() >= settled,
                        "{sectors:?} settled at {settled} reads {register:?}"
                    );
                    let kept = register.candidates().any(|value| value.issue >= settled);
                    assert!(
                        kept || settled == 0,
                        "{sectors:?} settled at {settled} reads {register:?}"
                    );
                    // An image of any issue that was not barred for sure may come to be installed.
                    for target in settled..=3 {
                        change(sectors, register.records, target, settled, &mut open);
                    }
                }
            }
        }
        assert!(seen.len() > 50, "{}", seen.len());
    }

    fn change(
        mut sectors: Sectors,
        mut records: [Option<Record>; 2],
        target: u64,
        settled: u64,
        open: &mut Vec<(Sectors, u64)>,
    ) {
        let mut finished = None;
        let mut writes = 0;
        let value = Value {
            issue: target,
            held: None,
        };
        while let Some(NextWrite {
            sector,
            record,
            clear_other,
        }) = (Register { records }).next(value, finished)
        {
            if clear_other {
                sectors[1 - sector] = Cells::Empty;
                open.push((sectors, settled));
            }
            // Cut in the erase, or in the program.
            let mut cut = sectors;
            cut[sector] = Cells::Empty;
            open.push((cut, settled));
            cut[sector] = Cells::Wavering(record.value.issue, record.turn);
            open.push((cut, settled));
            sectors[sector] = Cells::Sure(record.value.issue, record.turn);
            records[sector] = Some(record);
            finished = Some(sector);
            writes += 1;
            assert!(writes <= 4, "does not come to an end");
            open.push((sectors, settled));
        }
        open.push((sectors, settled.max(target)));
    }
}
