//! Carry-over tables: how a record of one layout becomes a record of another, as plain bytes.
//!
//! The host writes a table (`table::Writer`, feature `alloc`); a unit holds it as a constant and runs it with
//! [`carry`](crate::carry::carry). The C code that a maker gets runs the same bytes.
//!
//! A table begins with ten bytes, numbers little-endian:
//!
//! | offset | bytes | field |
//! | --- | --- | --- |
//! | 0 | 2 | `K1` |
//! | 2 | 2 | layout that it takes |
//! | 4 | 2 | layout that it makes |
//! | 6 | 2 | bytes of a record that it takes |
//! | 8 | 2 | bytes of a record that it makes |
//!
//! Operations follow, to the table's end. Each is one byte (the operation; bit 7 set where the field may be given back from a
//! record that was kept aside), then its operands: unsigned and signed numbers in the base-128 form of DWARF 5, section 7.6
//! (ULEB128, SLEB128), floats as eight bytes of IEEE 754, little-endian. A *cell* is two numbers, its offset and its [`Kind`].
//!
//! | operation | operands | what it does |
//! | --- | --- | --- |
//! | 1 copy | from, to, len | bytes as they are |
//! | 2 put | to, len, bytes | these bytes |
//! | 3 fill | to, len, byte | this byte, so many times |
//! | 4 number | from cell, to cell, scale, rounding, outside, low, high, default | see [`Number`] |
//! | 5 real | from cell, to cell, scale, outside, low, high, default (floats) | the same with a float as result |
//! | 6 choice | from cell, to cell, outside, default, n, n pairs | one of the pairs' first numbers becomes its second |
//! | 7 bits | from cell, to cell, n, n pairs of bit numbers | each bit becomes another; further bits of the result stay |
//! | 8 text | from, room, form, to, room, form, outside | see [`Text`] |
//! | 9 each | times, step in from, step in to, n | the next n bytes of the table, so many times, moved by the steps |
//! | 10 crc | start, len, at, big-endian | CRC-32 of bytes of the result, into the result |
//!
//! What no operation writes is zero.

use crate::leb::Reader;

/// Bytes before the first operation.
pub const HEAD_LEN: usize = 10;

const MAGIC: [u8; 2] = *b"K1";

/// How deep [`Op::Each`] may be nested.
pub const DEPTH_MAX: usize = 4;

/// Bit of an operation's first byte: what it makes is given back from the record that was kept aside, if there is one and the
/// older version did not change it.
pub const KEPT: u8 = 0x80;

/// A table: any bytes; what is wrong with them shows when they are run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Table<'a> {
    /// The layout that it takes.
    pub from: u16,
    /// The layout that it makes.
    pub to: u16,
    /// Bytes of a record that it takes.
    pub from_len: u16,
    /// Bytes of a record that it makes.
    pub to_len: u16,
    pub(crate) ops: &'a [u8],
}

impl<'a> Table<'a> {
    /// Reads the head; `None` if the bytes are no table.
    pub fn new(bytes: &'a [u8]) -> Option<Self> {
        let (head, ops) = bytes.split_first_chunk::<HEAD_LEN>()?;
        let [m0, m1, f0, f1, t0, t1, a0, a1, b0, b1] = *head;
        ([m0, m1] == MAGIC).then_some(Self {
            from: u16::from_le_bytes([f0, f1]),
            to: u16::from_le_bytes([t0, t1]),
            from_len: u16::from_le_bytes([a0, a1]),
            to_len: u16::from_le_bytes([b0, b1]),
            ops,
        })
    }

    /// The operations in the order of the table, those inside of an [`Op::Each`] once. Ends early where one is malformed.
    pub fn ops(&self) -> Ops<'a> {
        Ops {
            reader: Reader::new(self.ops),
        }
    }
}

/// How a number is kept in a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// One byte.
    U8,
    /// One byte, two's complement.
    I8,
    /// Two bytes.
    U16,
    /// Two bytes, two's complement.
    I16,
    /// Four bytes.
    U32,
    /// Four bytes, two's complement.
    I32,
    /// Eight bytes.
    U64,
    /// Eight bytes, two's complement.
    I64,
    /// IEEE 754 binary32.
    F32,
    /// IEEE 754 binary64.
    F64,
}

impl Kind {
    /// All, by their numbers in a table.
    pub const ALL: [Self; 10] = [
        Self::U8,
        Self::I8,
        Self::U16,
        Self::I16,
        Self::U32,
        Self::I32,
        Self::U64,
        Self::I64,
        Self::F32,
        Self::F64,
    ];

    /// Its number in a table, without the byte order.
    pub const fn number(self) -> u8 {
        self as u8
    }

    /// Bytes.
    pub const fn len(self) -> usize {
        match self {
            Self::U8 | Self::I8 => 1,
            Self::U16 | Self::I16 => 2,
            Self::U32 | Self::I32 | Self::F32 => 4,
            Self::U64 | Self::I64 | Self::F64 => 8,
        }
    }

    /// Never: no number is kept in no bytes.
    pub const fn is_empty(self) -> bool {
        false
    }

    /// Whether it is a float.
    pub const fn is_real(self) -> bool {
        matches!(self, Self::F32 | Self::F64)
    }

    /// The lowest and the highest whole number that it can hold; of `U64` as far as `i64` goes, as everything here. For
    /// floats, all of `i64`.
    pub const fn span(self) -> (i64, i64) {
        match self {
            Self::U8 => (0, 0xff),
            Self::I8 => (-0x80, 0x7f),
            Self::U16 => (0, 0xffff),
            Self::I16 => (-0x8000, 0x7fff),
            Self::U32 => (0, 0xffff_ffff),
            Self::I32 => (-0x8000_0000, 0x7fff_ffff),
            Self::U64 => (0, i64::MAX),
            Self::I64 | Self::F32 | Self::F64 => (i64::MIN, i64::MAX),
        }
    }
}

/// Bit of a kind's number in a table: the most significant byte comes first.
pub(crate) const BIG_ENDIAN: u8 = 0x10;

/// Where a number lies in a record, and how it is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Cell {
    /// Offset of its first byte.
    pub at: u16,
    /// How it is kept.
    pub kind: Kind,
    /// The most significant byte comes first.
    pub big_endian: bool,
}

impl Cell {
    /// Little-endian.
    pub const fn little(at: u16, kind: Kind) -> Self {
        Self {
            at,
            kind,
            big_endian: false,
        }
    }
}

/// `(x * mul + add) / div`, exact but for one rounding. On whole numbers it is whole-number arithmetic of 64 bits; what does
/// not fit counts as outside of the range. With a float on either side it is three operations in binary64, in this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Scale {
    /// Factor.
    pub mul: i64,
    /// Addend, in the result's measure times `div`.
    pub add: i64,
    /// Divisor, above zero.
    pub div: i64,
}

impl Scale {
    /// The number as it is.
    pub const SAME: Self = Self { mul: 1, add: 0, div: 1 };
}

/// How a fraction becomes a whole number.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Rounding {
    /// The nearest one; a half goes away from zero.
    #[default]
    HalfAway,
    /// The nearest one; a half goes to the even one.
    HalfEven,
    /// The next lower one.
    Down,
    /// The next higher one.
    Up,
    /// The next one towards zero.
    TowardZero,
}

impl Rounding {
    /// All, by their numbers in a table.
    pub const ALL: [Self; 5] = [Self::HalfAway, Self::HalfEven, Self::Down, Self::Up, Self::TowardZero];
}

/// What becomes of a value that the new layout does not allow.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Outside {
    /// The nearest value that it allows. A choice has none: its default.
    Clamp,
    /// The default.
    Default,
    /// There is no carry-over: the record stays as it is, and the unit says so.
    Refuse,
}

impl Outside {
    /// All, by their numbers in a table.
    pub const ALL: [Self; 3] = [Self::Clamp, Self::Default, Self::Refuse];
}

/// How a text fills its room.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Form {
    /// Up to the first NUL, or the whole room.
    Filled,
    /// The same, but there is always a NUL: it holds one byte less.
    Terminated,
    /// The first byte says how many follow.
    Counted,
}

impl Form {
    /// All, by their numbers in a table.
    pub const ALL: [Self; 3] = [Self::Filled, Self::Terminated, Self::Counted];
}

/// A whole number from a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Number {
    /// Where it is taken from.
    pub from: Cell,
    /// Where it goes: no float.
    pub to: Cell,
    /// What it is turned by.
    pub scale: Scale,
    /// How a fraction becomes whole.
    pub rounding: Rounding,
    /// What becomes of a result that is not from `low` to `high`. A float that is no number is below everything.
    pub outside: Outside,
    /// The lowest that is allowed.
    pub low: i64,
    /// The highest that is allowed.
    pub high: i64,
    /// What stands there otherwise.
    pub default: i64,
}

/// A float from a number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Real {
    /// Where it is taken from.
    pub from: Cell,
    /// Where it goes: a float.
    pub to: Cell,
    /// What it is turned by.
    pub scale: Scale,
    /// What becomes of a result that is not from `low` to `high`. What is no number is below everything.
    pub outside: Outside,
    /// The lowest that is allowed.
    pub low: f64,
    /// The highest that is allowed.
    pub high: f64,
    /// What stands there otherwise.
    pub default: f64,
}

/// A text, cut to the new room where it must be: never inside of a character of UTF-8.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Text {
    /// Where it is taken from.
    pub from: u16,
    /// Bytes there.
    pub from_room: u16,
    /// How it fills them.
    pub from_form: Form,
    /// Where it goes.
    pub to: u16,
    /// Bytes there.
    pub to_room: u16,
    /// How it fills them. What it does not fill is zero.
    pub to_form: Form,
    /// What becomes of a text that is too long: cut, empty, or no carry-over at all.
    pub outside: Outside,
}

/// One operation, as it is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Op<'a> {
    /// Bytes as they are.
    Copy {
        /// Where they are taken from.
        from: u16,
        /// Where they go.
        to: u16,
        /// How many.
        len: u16,
    },
    /// These bytes.
    Put {
        /// Where they go.
        to: u16,
        /// Which.
        bytes: &'a [u8],
    },
    /// One byte many times.
    Fill {
        /// Where they go.
        to: u16,
        /// How many.
        len: u16,
        /// Which.
        byte: u8,
    },
    /// A whole number.
    Number(Number),
    /// A float.
    Real(Real),
    /// One of several numbers becomes one of several others.
    Choice {
        /// Where it is taken from: no float.
        from: Cell,
        /// Where it goes: no float.
        to: Cell,
        /// What becomes of any other number.
        outside: Outside,
        /// What stands there otherwise.
        default: i64,
        /// What becomes what.
        pairs: Pairs<'a>,
    },
    /// Bits become other bits.
    Bits {
        /// Where they are taken from: no float.
        from: Cell,
        /// Where they go: no float.
        to: Cell,
        /// Which bit becomes which; the lowest is 0.
        pairs: Pairs<'a>,
    },
    /// A text.
    Text(Text),
    /// The next `body` bytes of the table, so many times.
    Each {
        /// How many times.
        times: u16,
        /// By how much offsets in the old record move each time.
        from_step: u16,
        /// By how much offsets in the new one do.
        to_step: u16,
        /// Bytes of the table.
        body: usize,
    },
    /// The CRC-32 (IEEE 802.3) of bytes of the new record, as far as it was made.
    Crc {
        /// Where the bytes begin.
        start: u16,
        /// How many.
        len: u16,
        /// Where the four bytes of the check value go.
        at: u16,
        /// The most significant byte comes first.
        big_endian: bool,
    },
}

/// Pairs of numbers, still in the table's form.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Pairs<'a> {
    pub(crate) count: usize,
    pub(crate) bytes: &'a [u8],
}

impl<'a> Pairs<'a> {
    /// The pairs.
    pub fn iter(self) -> impl Iterator<Item = (i64, i64)> + 'a {
        let mut reader = Reader::new(self.bytes);
        (0..self.count).map_while(move |_| Some((reader.signed()?, reader.signed()?)))
    }
}

/// The operations of a table: where each begins in it, whether it may be given back, and what it is.
#[derive(Clone, Debug)]
pub struct Ops<'a> {
    reader: Reader<'a>,
}

impl<'a> Iterator for Ops<'a> {
    type Item = (usize, bool, Op<'a>);

    fn next(&mut self) -> Option<Self::Item> {
        let at = HEAD_LEN.saturating_add(self.reader.at());
        let (kept, op) = read_op(&mut self.reader)?;
        Some((at, kept, op))
    }
}

/// Reads one operation; `None` if it is malformed or there is none.
pub(crate) fn read_op<'a>(reader: &mut Reader<'a>) -> Option<(bool, Op<'a>)> {
    let code = reader.byte()?;
    let op = match code & !KEPT {
        1 => Op::Copy {
            from: reader.offset()?,
            to: reader.offset()?,
            len: reader.offset()?,
        },
        2 => {
            let to = reader.offset()?;
            let len = reader.offset()?;
            Op::Put {
                to,
                bytes: reader.take(usize::from(len))?,
            }
        }
        3 => Op::Fill {
            to: reader.offset()?,
            len: reader.offset()?,
            byte: reader.byte()?,
        },
        4 => Op::Number(Number {
            from: cell(reader)?,
            to: whole(reader)?,
            scale: scale(reader)?,
            rounding: *Rounding::ALL.get(usize::from(reader.byte()?))?,
            outside: outside(reader)?,
            low: reader.signed()?,
            high: reader.signed()?,
            default: reader.signed()?,
        }),
        5 => Op::Real(Real {
            from: cell(reader)?,
            to: cell(reader).filter(|cell| cell.kind.is_real())?,
            scale: scale(reader)?,
            outside: outside(reader)?,
            low: reader.real()?,
            high: reader.real()?,
            default: reader.real()?,
        }),
        6 => Op::Choice {
            from: whole(reader)?,
            to: whole(reader)?,
            outside: outside(reader)?,
            default: reader.signed()?,
            pairs: pairs(reader)?,
        },
        7 => Op::Bits {
            from: whole(reader)?,
            to: whole(reader)?,
            pairs: pairs(reader)?,
        },
        8 => Op::Text(Text {
            from: reader.offset()?,
            from_room: reader.offset()?,
            from_form: form(reader)?,
            to: reader.offset()?,
            to_room: reader.offset()?,
            to_form: form(reader)?,
            outside: outside(reader)?,
        }),
        9 => Op::Each {
            times: reader.offset()?,
            from_step: reader.offset()?,
            to_step: reader.offset()?,
            body: usize::from(reader.offset()?),
        },
        10 => Op::Crc {
            start: reader.offset()?,
            len: reader.offset()?,
            at: reader.offset()?,
            big_endian: reader.byte()? != 0,
        },
        _ => return None,
    };
    Some((code & KEPT != 0, op))
}

fn cell(reader: &mut Reader<'_>) -> Option<Cell> {
    let at = reader.offset()?;
    let number = reader.byte()?;
    Some(Cell {
        at,
        kind: *Kind::ALL.get(usize::from(number & !BIG_ENDIAN))?,
        big_endian: number & BIG_ENDIAN != 0,
    })
}

fn whole(reader: &mut Reader<'_>) -> Option<Cell> {
    cell(reader).filter(|cell| !cell.kind.is_real())
}

fn scale(reader: &mut Reader<'_>) -> Option<Scale> {
    let scale = Scale {
        mul: reader.signed()?,
        add: reader.signed()?,
        div: reader.signed()?,
    };
    (scale.div > 0).then_some(scale)
}

fn outside(reader: &mut Reader<'_>) -> Option<Outside> {
    Outside::ALL.get(usize::from(reader.byte()?)).copied()
}

fn form(reader: &mut Reader<'_>) -> Option<Form> {
    Form::ALL.get(usize::from(reader.byte()?)).copied()
}

fn pairs<'a>(reader: &mut Reader<'a>) -> Option<Pairs<'a>> {
    let count = usize::from(reader.offset()?);
    let bytes = reader.rest();
    for _ in 0..count {
        reader.signed()?;
        reader.signed()?;
    }
    Some(Pairs { count, bytes })
}
