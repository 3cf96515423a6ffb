//! Writing tables: the host's side.

use crate::table::{
    BIG_ENDIAN, Cell, DEPTH_MAX, Form, HEAD_LEN, KEPT, Number, Outside, Real, Rounding, Scale, Table, Text,
};
use alloc::vec::Vec;
use core::fmt;

/// Why a table cannot be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WriteFault {
    /// A list, a body or the bytes of a `put` are longer than 65535.
    TooLong,
    /// Repetitions are nested deeper than [`DEPTH_MAX`].
    TooDeep,
    /// A divisor that is not above zero.
    Divisor,
    /// A float where a whole number is to be, or the other way round.
    Kind,
}

impl fmt::Display for WriteFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooLong => "a list, a body or a constant of a carry-over table is longer than 65535 bytes",
            Self::TooDeep => "repetitions in a carry-over table are nested deeper than four",
            Self::Divisor => "a divisor in a carry-over table is not above zero",
            Self::Kind => {
                "an operation of a carry-over table has a float where a whole number is to be, or the reverse"
            }
        })
    }
}

impl core::error::Error for WriteFault {}

/// Writes a table, one operation after another. Each method adds one operation; a fault is told by [`finish`](Self::finish).
///
/// Operations marked by [`kept`](Self::kept) may be given back from a record that was kept aside.
#[derive(Clone, Debug)]
pub struct Writer {
    bytes: Vec<u8>,
    depth: usize,
    keep: bool,
    fault: Option<WriteFault>,
}

impl Writer {
    /// A table from records of one layout, so many bytes long, to those of another. What no operation writes is zero.
    pub fn new(from: u16, from_len: u16, to: u16, to_len: u16) -> Self {
        let mut bytes = Vec::with_capacity(HEAD_LEN);
        bytes.extend_from_slice(b"K1");
        for number in [from, to, from_len, to_len] {
            bytes.extend_from_slice(&number.to_le_bytes());
        }
        Self {
            bytes,
            depth: 0,
            keep: false,
            fault: None,
        }
    }

    /// The operations that `write` adds may be given back.
    pub fn kept(&mut self, write: impl FnOnce(&mut Self)) -> &mut Self {
        let before = core::mem::replace(&mut self.keep, true);
        write(self);
        self.keep = before;
        self
    }

    /// Bytes as they are.
    pub fn copy(&mut self, from: u16, to: u16, len: u16) -> &mut Self {
        self.code(1);
        self.offset(from);
        self.offset(to);
        self.offset(len);
        self
    }

    /// These bytes: a default.
    pub fn put(&mut self, to: u16, bytes: &[u8]) -> &mut Self {
        self.code(2);
        self.offset(to);
        self.count(bytes.len());
        self.bytes.extend_from_slice(bytes);
        self
    }

    /// One byte many times.
    pub fn fill(&mut self, to: u16, len: u16, byte: u8) -> &mut Self {
        self.code(3);
        self.offset(to);
        self.offset(len);
        self.bytes.push(byte);
        self
    }

    /// A whole number.
    pub fn number(&mut self, number: &Number) -> &mut Self {
        self.code(4);
        self.cell(number.from);
        self.whole(number.to);
        self.scale(number.scale);
        self.index(&Rounding::ALL, &number.rounding);
        self.index(&Outside::ALL, &number.outside);
        self.signed(number.low);
        self.signed(number.high);
        self.signed(number.default);
        self
    }

    /// A float.
    pub fn real(&mut self, real: &Real) -> &mut Self {
        self.code(5);
        self.cell(real.from);
        if !real.to.kind.is_real() {
            self.fail(WriteFault::Kind);
        }
        self.cell(real.to);
        self.scale(real.scale);
        self.index(&Outside::ALL, &real.outside);
        for number in [real.low, real.high, real.default] {
            self.bytes.extend_from_slice(&number.to_le_bytes());
        }
        self
    }

    /// One of several numbers becomes one of several others.
    pub fn choice(&mut self, from: Cell, to: Cell, pairs: &[(i64, i64)], outside: Outside, default: i64) -> &mut Self {
        self.code(6);
        self.whole(from);
        self.whole(to);
        self.index(&Outside::ALL, &outside);
        self.signed(default);
        self.pairs(pairs.iter().copied())
    }

    /// Bits become other bits; the lowest is 0.
    pub fn bits(&mut self, from: Cell, to: Cell, pairs: &[(u8, u8)]) -> &mut Self {
        self.code(7);
        self.whole(from);
        self.whole(to);
        self.pairs(pairs.iter().map(|(from, to)| (i64::from(*from), i64::from(*to))))
    }

    /// A text.
    pub fn text(&mut self, text: &Text) -> &mut Self {
        self.code(8);
        self.offset(text.from);
        self.offset(text.from_room);
        self.index(&Form::ALL, &text.from_form);
        self.offset(text.to);
        self.offset(text.to_room);
        self.index(&Form::ALL, &text.to_form);
        self.index(&Outside::ALL, &text.outside);
        self
    }

    /// What `write` adds, so many times; each time offsets in the old record are higher by `from_step`, those in the new one
    /// by `to_step`.
    pub fn each(&mut self, times: u16, from_step: u16, to_step: u16, write: impl FnOnce(&mut Self)) -> &mut Self {
        if self.depth >= DEPTH_MAX {
            self.fail(WriteFault::TooDeep);
            return self;
        }
        let mut body = Self {
            bytes: Vec::new(),
            depth: self.depth.saturating_add(1),
            keep: self.keep,
            fault: None,
        };
        write(&mut body);
        if let Some(fault) = body.fault {
            self.fail(fault);
        }
        self.code(9);
        self.offset(times);
        self.offset(from_step);
        self.offset(to_step);
        self.count(body.bytes.len());
        self.bytes.extend_from_slice(&body.bytes);
        self
    }

    /// The CRC-32 of bytes of the new record, as far as it was made: comes after what makes these bytes.
    pub fn crc(&mut self, start: u16, len: u16, at: u16, big_endian: bool) -> &mut Self {
        self.bytes.push(10);
        self.offset(start);
        self.offset(len);
        self.offset(at);
        self.bytes.push(u8::from(big_endian));
        self
    }

    /// The table.
    ///
    /// # Errors
    /// The first thing that could not be written.
    pub fn finish(self) -> Result<Vec<u8>, WriteFault> {
        match self.fault {
            Some(fault) => Err(fault),
            None => {
                debug_assert!(Table::new(&self.bytes).is_some(), "a table has a head");
                Ok(self.bytes)
            }
        }
    }

    fn fail(&mut self, fault: WriteFault) {
        self.fault.get_or_insert(fault);
    }

    fn code(&mut self, code: u8) {
        self.bytes.push(if self.keep { code | KEPT } else { code });
    }

    fn offset(&mut self, number: u16) {
        let mut rest = number;
        while rest > 0x7f {
            self.bytes.push(rest as u8 | 0x80);
            rest >>= 7;
        }
        self.bytes.push(rest as u8);
    }

    fn count(&mut self, count: usize) {
        match u16::try_from(count) {
            Ok(count) => self.offset(count),
            Err(_) => self.fail(WriteFault::TooLong),
        }
    }

    fn signed(&mut self, number: i64) {
        let mut rest = number;
        loop {
            let low = rest as u8 & 0x7f;
            rest >>= 7;
            if (rest == 0 && low & 0x40 == 0) || (rest == -1 && low & 0x40 != 0) {
                return self.bytes.push(low);
            }
            self.bytes.push(low | 0x80);
        }
    }

    fn cell(&mut self, cell: Cell) {
        self.offset(cell.at);
        let order = if cell.big_endian { BIG_ENDIAN } else { 0 };
        self.bytes.push(cell.kind.number() | order);
    }

    fn whole(&mut self, cell: Cell) {
        if cell.kind.is_real() {
            self.fail(WriteFault::Kind);
        }
        self.cell(cell);
    }

    fn scale(&mut self, scale: Scale) {
        if scale.div <= 0 {
            self.fail(WriteFault::Divisor);
        }
        self.signed(scale.mul);
        self.signed(scale.add);
        self.signed(scale.div);
    }

    fn index<T: PartialEq>(&mut self, all: &[T], one: &T) {
        let index = all.iter().position(|other| other == one).unwrap_or_default();
        self.bytes.push(index as u8);
    }

    fn pairs(&mut self, pairs: impl ExactSizeIterator<Item = (i64, i64)>) -> &mut Self {
        self.count(pairs.len());
        for (is, becomes) in pairs {
            self.signed(is);
            self.signed(becomes);
        }
        self
    }
}
