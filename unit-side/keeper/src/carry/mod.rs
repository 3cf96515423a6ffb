//! Carry-over: a table is run on a record of the old layout and makes one of the new layout.
//!
//! Nothing is kept between runs and nothing is read but what is given, so that the same record and table give the same bytes
//! on every unit, on the host, and in the C code that is generated.

mod number;
mod text;

use crate::check::checksum;
use crate::leb::Reader;
use crate::table::{Cell, DEPTH_MAX, HEAD_LEN, Op, Outside, Pairs, Table, read_op};
use number::read_whole;

/// Most operations that a run may take, repetitions counted: whatever a table says, a run comes to an end.
pub const STEPS_MAX: u32 = 1 << 16;

/// Why there is no carry-over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CarryFault {
    /// The table is damaged at this offset.
    Malformed {
        /// Offset in the table.
        at: usize,
    },
    /// A record is not as long as the table says.
    Length {
        /// What was found, bytes.
        found: usize,
        /// What the table says, bytes.
        expected: usize,
    },
    /// The operation at this offset of the table reaches beyond a record.
    Beyond {
        /// Offset in the table.
        at: usize,
    },
    /// A value is not allowed in the new layout, and the table says to refuse then.
    Refused {
        /// Offset of the field in the new record.
        to: usize,
    },
    /// More than [`STEPS_MAX`] operations.
    Endless,
}

impl core::fmt::Display for CarryFault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match *self {
            Self::Malformed { at } => write!(f, "the carry-over table is damaged at its byte {at}: generate it again"),
            Self::Length { found, expected } => write!(
                f,
                "a record of {found} bytes was given, and the carry-over table is for {expected}: take the table of that layout"
            ),
            Self::Beyond { at } => write!(
                f,
                "the operation at byte {at} of the carry-over table reaches beyond the record: generate it again"
            ),
            Self::Refused { to } => write!(
                f,
                "the value for offset {to} of the new record is not allowed there, and the rule for it is to refuse"
            ),
            Self::Endless => write!(
                f,
                "the carry-over table takes more than {STEPS_MAX} operations: generate it again"
            ),
        }
    }
}

impl core::error::Error for CarryFault {}

/// What an older version could not hold, kept aside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Aside<'a> {
    /// The record of the new layout that was there before the older version.
    pub newer: &'a [u8],
    /// What the older version was given of it. Where the old record still says the same, its field was not changed since, and
    /// the newer one's is given back.
    pub left: &'a [u8],
}

/// Something that an owner may want to know of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Notice {
    /// Offset of the operation in the table.
    pub op: usize,
    /// Offset of the field in the new record.
    pub to: usize,
    /// What happened to it.
    pub what: Happened,
}

/// What happened to a field beside being converted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Happened {
    /// It was moved into the new range.
    Clamped,
    /// It was replaced by the default.
    Defaulted,
    /// A text was cut.
    Cut,
    /// It came from the record that was kept aside.
    GivenBack,
}

/// A repetition that is going on.
#[derive(Clone, Copy)]
struct Frame {
    start: usize,
    end: usize,
    left: u16,
    steps: (u16, u16),
    bases: (usize, usize),
}

/// Everything that one operation works on.
struct Run<'a, N> {
    from: &'a [u8],
    to: &'a mut [u8],
    aside: Option<Aside<'a>>,
    notice: N,
    bases: (usize, usize),
    at: usize,
}

/// Runs `table` on the record `from` and fills `to`. `notice` is told of each field that was not simply converted.
///
/// # Errors
/// Why there is no new record; `to` is of no use then.
pub fn carry(
    table: &Table<'_>,
    from: &[u8],
    aside: Option<Aside<'_>>,
    to: &mut [u8],
    notice: impl FnMut(Notice),
) -> Result<(), CarryFault> {
    let of_length = |found: usize, expected: u16| {
        let expected = usize::from(expected);
        if found == expected {
            Ok(())
        } else {
            Err(CarryFault::Length { found, expected })
        }
    };
    of_length(from.len(), table.from_len)?;
    of_length(to.len(), table.to_len)?;
    if let Some(aside) = aside {
        of_length(aside.newer.len(), table.to_len)?;
        of_length(aside.left.len(), table.from_len)?;
    }
    to.fill(0);
    let mut run = Run {
        from,
        to,
        aside,
        notice,
        bases: (0, 0),
        at: 0,
    };
    let mut reader = Reader::new(table.ops);
    let mut frames: [Option<Frame>; DEPTH_MAX] = [None; DEPTH_MAX];
    let mut depth = 0_usize;
    let mut steps = 0_u32;
    loop {
        // The end of a body: once more, or on.
        while let Some(Some(frame)) = depth.checked_sub(1).and_then(|top| frames.get_mut(top)) {
            if reader.at() < frame.end {
                break;
            }
            frame.left = frame.left.saturating_sub(1);
            if frame.left == 0 {
                run.bases = frame.bases;
                depth = depth.saturating_sub(1);
            } else {
                run.bases.0 = run.bases.0.saturating_add(usize::from(frame.steps.0));
                run.bases.1 = run.bases.1.saturating_add(usize::from(frame.steps.1));
                reader.go(frame.start);
            }
        }
        if reader.is_at_end() {
            return Ok(());
        }
        steps = steps.saturating_add(1);
        if steps > STEPS_MAX {
            return Err(CarryFault::Endless);
        }
        let at = reader.at();
        run.at = HEAD_LEN.saturating_add(at);
        let malformed = CarryFault::Malformed { at: run.at };
        let (kept, op) = read_op(&mut reader).ok_or(malformed)?;
        let innermost = depth.checked_sub(1).and_then(|top| frames.get(top).copied().flatten());
        let end = innermost.map_or(table.ops.len(), |frame| frame.end);
        if reader.at() > end {
            return Err(malformed);
        }
        let Op::Each {
            times,
            from_step,
            to_step,
            body,
        } = op
        else {
            run.one(kept, &op)?;
            continue;
        };
        let start = reader.at();
        reader.take(body).ok_or(malformed)?;
        if reader.at() > end {
            return Err(malformed);
        }
        if times > 0 && body > 0 {
            let frame = frames.get_mut(depth).ok_or(malformed)?;
            *frame = Some(Frame {
                start,
                end: reader.at(),
                left: times,
                steps: (from_step, to_step),
                bases: run.bases,
            });
            depth = depth.saturating_add(1);
            reader.go(start);
        }
    }
}

impl<'a, N: FnMut(Notice)> Run<'a, N> {
    fn one(&mut self, kept: bool, op: &Op<'_>) -> Result<(), CarryFault> {
        if let Op::Bits { from, to, pairs } = *op {
            return self.bits(kept, from, to, pairs);
        }
        if kept && self.give_back(op)? {
            return Ok(());
        }
        match *op {
            Op::Copy { from, to, len } => {
                let bytes = self.old(from, usize::from(len))?;
                self.put(to, bytes)
            }
            Op::Put { to, bytes } => self.put(to, bytes),
            Op::Fill { to, len, byte } => {
                self.room(to, usize::from(len))?.fill(byte);
                Ok(())
            }
            Op::Number(number) => {
                let value = self.old_bytes(number.from)?;
                let place = self.place(number.to.at);
                let (value, happened) = number.carry(value).ok_or(CarryFault::Refused { to: place })?;
                self.tell(place, happened);
                self.write(number.to, value)
            }
            Op::Real(real) => {
                let value = self.old_bytes(real.from)?;
                let place = self.place(real.to.at);
                let (bits, happened) = real.carry(value).ok_or(CarryFault::Refused { to: place })?;
                self.tell(place, happened);
                self.write(real.to, bits)
            }
            Op::Choice {
                from,
                to,
                outside,
                default,
                pairs,
            } => {
                let value = read_whole(from, self.old_bytes(from)?);
                let found = pairs.iter().find(|(is, _)| value == Some(*is));
                let place = self.place(to.at);
                let becomes = match (found, outside) {
                    (Some((_, becomes)), _) => becomes,
                    (None, Outside::Refuse) => return Err(CarryFault::Refused { to: place }),
                    (None, Outside::Clamp | Outside::Default) => {
                        self.tell(place, Some(Happened::Defaulted));
                        default
                    }
                };
                self.write(to, becomes as u64)
            }
            Op::Text(text) => {
                let room = self.old(text.from, usize::from(text.from_room))?;
                let place = self.place(text.to);
                let fit = text::fit(&text, room).ok_or(CarryFault::Refused { to: place })?;
                self.tell(place, fit.happened);
                let to = self.room(text.to, usize::from(text.to_room))?;
                text::fill(to, text.to_form, fit.bytes);
                Ok(())
            }
            Op::Crc {
                start,
                len,
                at,
                big_endian,
            } => {
                let check = checksum(self.room(start, usize::from(len))?);
                let bytes = if big_endian {
                    check.to_be_bytes()
                } else {
                    check.to_le_bytes()
                };
                self.put(at, &bytes)
            }
            // These two were taken care of before.
            Op::Bits { .. } | Op::Each { .. } => Ok(()),
        }
    }

    /// Gives the field back from the record that was kept aside, if the older version did not change it.
    fn give_back(&mut self, op: &Op<'_>) -> Result<bool, CarryFault> {
        let Some(aside) = self.aside else {
            return Ok(false);
        };
        let (from, to) = match *op {
            Op::Copy { from, to, len } => ((from, usize::from(len)), (to, usize::from(len))),
            Op::Put { to, bytes } => ((0, 0), (to, bytes.len())),
            Op::Fill { to, len, .. } => ((0, 0), (to, usize::from(len))),
            Op::Number(number) => (extent(number.from), extent(number.to)),
            Op::Real(real) => (extent(real.from), extent(real.to)),
            Op::Choice { from, to, .. } => (extent(from), extent(to)),
            Op::Text(text) => (
                (text.from, usize::from(text.from_room)),
                (text.to, usize::from(text.to_room)),
            ),
            Op::Bits { .. } | Op::Each { .. } | Op::Crc { .. } => return Ok(false),
        };
        let beyond = CarryFault::Beyond { at: self.at };
        if from.1 > 0 {
            let now = self.old(from.0, from.1)?;
            let then = slice(aside.left, self.bases.0, from.0, from.1).ok_or(beyond)?;
            if now != then {
                return Ok(false);
            }
        }
        let newer = slice(aside.newer, self.bases.1, to.0, to.1).ok_or(beyond)?;
        self.put(to.0, newer)?;
        self.tell(self.place(to.0), Some(Happened::GivenBack));
        Ok(true)
    }

    /// Bit by bit, so that what the old layout had no bit for can be given back whatever became of the others.
    fn bits(&mut self, kept: bool, from: Cell, to: Cell, pairs: Pairs<'_>) -> Result<(), CarryFault> {
        let beyond = CarryFault::Beyond { at: self.at };
        let read = |record: &[u8], base: usize, cell: Cell| {
            slice(record, base, cell.at, cell.kind.len()).map(|bytes| number::raw(cell, bytes))
        };
        let now = read(self.from, self.bases.0, from).ok_or(beyond)?;
        let mut made = read(self.to, self.bases.1, to).ok_or(beyond)?;
        let mut then = None;
        if let Some(aside) = self.aside.filter(|_| kept) {
            let newer = read(aside.newer, self.bases.1, to).ok_or(beyond)?;
            then = Some(read(aside.left, self.bases.0, from).ok_or(beyond)?);
            if made != newer {
                self.tell(self.place(to.at), Some(Happened::GivenBack));
            }
            made = newer;
        }
        let bit = |value: u64, number: u32| value.checked_shr(number).unwrap_or(0) & 1;
        for (is, becomes) in pairs.iter() {
            let (Ok(is), Ok(becomes)) = (u32::try_from(is), u32::try_from(becomes)) else {
                return Err(CarryFault::Malformed { at: self.at });
            };
            if then.is_some_and(|then| bit(then, is) == bit(now, is)) {
                continue;
            }
            let mask = 1_u64.checked_shl(becomes).unwrap_or(0);
            made = if bit(now, is) == 1 { made | mask } else { made & !mask };
        }
        self.write(to, made)
    }

    fn place(&self, to: u16) -> usize {
        self.bases.1.saturating_add(usize::from(to))
    }

    fn tell(&mut self, to: usize, what: Option<Happened>) {
        if let Some(what) = what {
            (self.notice)(Notice { op: self.at, to, what });
        }
    }

    /// Bytes of the old record.
    fn old(&self, at: u16, len: usize) -> Result<&'a [u8], CarryFault> {
        slice(self.from, self.bases.0, at, len).ok_or(CarryFault::Beyond { at: self.at })
    }

    fn old_bytes(&self, cell: Cell) -> Result<&'a [u8], CarryFault> {
        self.old(cell.at, cell.kind.len())
    }

    /// Bytes of the new record.
    fn room(&mut self, at: u16, len: usize) -> Result<&mut [u8], CarryFault> {
        let beyond = CarryFault::Beyond { at: self.at };
        let start = self.bases.1.saturating_add(usize::from(at));
        self.to.get_mut(start..start.saturating_add(len)).ok_or(beyond)
    }

    fn put(&mut self, at: u16, bytes: &[u8]) -> Result<(), CarryFault> {
        let room = self.room(at, bytes.len())?;
        room.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
        Ok(())
    }

    fn write(&mut self, cell: Cell, raw: u64) -> Result<(), CarryFault> {
        let room = self.room(cell.at, cell.kind.len())?;
        number::write_raw(cell, raw, room);
        Ok(())
    }
}

fn extent(cell: Cell) -> (u16, usize) {
    (cell.at, cell.kind.len())
}

fn slice(record: &[u8], base: usize, at: u16, len: usize) -> Option<&[u8]> {
    let start = base.checked_add(usize::from(at))?;
    record.get(start..start.checked_add(len)?)
}
