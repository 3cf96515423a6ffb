//! Intel HEX.
//!
//! Source: Intel, "Hexadecimal Object File Format Specification", Revision A, 6 January 1988, as
//! Debian's srec_intel(5) renders it. A record is `:` length(1) offset(2) type(1) data(length)
//! checksum(1), each byte as two digits; all of these bytes sum to zero modulo 256. Where a data
//! byte goes:
//!
//! - after a type 04 record with upper half U, and before any base record (U = 0): `(U * 2^16 +
//!   offset + index) mod 2^32`;
//! - after a type 02 record with segment S: `S * 2^4 + ((offset + index) mod 2^16)`, so it wraps
//!   inside its segment.
//!
//! The last base record holds until the next. The specification does not say what a 02 record means
//! while a non-zero 04 base is in effect, and programs differ (some add the two), so such a file is
//! refused.

use crate::assemble::Assembler;
use crate::build::Build;
use crate::error::{Place, Position, ReadError, RecordFault};
use crate::note::Note;
use crate::recognise::Format;
use crate::text::RecordText;

const SEGMENT: u64 = 0x1_0000;
const SPACE: u64 = 1 << 32;

/// The base that data records are relative to.
#[derive(Clone, Copy)]
enum Base {
    Linear(u32),
    Segment(u32),
}

impl Base {
    fn address(self) -> u32 {
        match self {
            Base::Linear(address) | Base::Segment(address) => address,
        }
    }

    fn kind(self) -> &'static str {
        match self {
            Base::Linear(_) => "linear",
            Base::Segment(_) => "segment",
        }
    }
}

struct Reader<'a> {
    text: RecordText<'a>,
    pieces: Assembler,
    base: Base,
    entry: Option<u32>,
    notes: Vec<Note>,
}

/// One record whose checksum holds.
struct Record<'a> {
    mark: Position,
    kind: u8,
    offset: u16,
    data: &'a [u8],
}

pub(crate) fn read(bytes: &[u8]) -> Result<Build, ReadError> {
    let mut reader = Reader {
        text: RecordText::new(Format::IntelHex, bytes)?,
        // Records of 16 bytes, the usual size, spend 2.75 characters on a byte.
        pieces: Assembler::with_capacity(bytes.len() / 8 * 3),
        base: Base::Linear(0),
        entry: None,
        notes: Vec::new(),
    };
    reader.records()?;
    let (segments, mut notes) = reader.pieces.finish()?;
    notes.append(&mut reader.notes);
    Build::new(Format::IntelHex, segments, reader.entry, notes)
}

impl Reader<'_> {
    fn records(&mut self) -> Result<(), ReadError> {
        let mut buffer = [0; 256];
        while let Some(mark) = self.text.next_mark(b':') {
            let record = self.record(mark?, &mut buffer)?;
            match (record.kind, record.data) {
                (0, _) => self.place(&record)?,
                (1, []) => return self.end(&record),
                (2, &[high, low]) => self.rebase(&record, Base::Segment(u32::from_be_bytes([0, 0, high, low]) << 4))?,
                (3, &[cs_high, cs_low, ip_high, ip_low]) => {
                    let segment = u32::from_be_bytes([0, 0, cs_high, cs_low]) << 4;
                    self.start(&record, segment + u32::from_be_bytes([0, 0, ip_high, ip_low]))?;
                }
                (4, &[high, low]) => self.rebase(&record, Base::Linear(u32::from_be_bytes([high, low, 0, 0])))?,
                (5, &[a, b, c, d]) => self.start(&record, u32::from_be_bytes([a, b, c, d]))?,
                _ => return Err(self.unsuitable(&record)),
            }
        }
        let fault = RecordFault::MissingEnd {
            expected: "an end of file record (:00000001FF)",
        };
        Err(self.text.fault(self.text.position(), fault))
    }

    fn record<'b>(&mut self, mark: Position, buffer: &'b mut [u8; 256]) -> Result<Record<'b>, ReadError> {
        let mut head = [0; 4];
        let head_sum = self.text.decode(&mut head)?;
        let [len, high, low, kind] = head;
        let len = usize::from(len);
        let (data, checksum) = buffer.split_at_mut(len);
        let data_sum = self.text.decode(data)?;
        let checksum_at = self.text.position();
        // `len` is at most 255, so one byte of the buffer always remains.
        let checksum = &mut checksum[..1];
        let found = self.text.decode(checksum)?;
        let expected = head_sum.wrapping_add(data_sum).wrapping_neg();
        if found != expected {
            return Err(self.text.fault(checksum_at, RecordFault::Checksum { found, expected }));
        }
        self.text.end_record()?;
        Ok(Record {
            mark,
            kind,
            offset: u16::from_be_bytes([high, low]),
            data,
        })
    }

    fn place(&mut self, record: &Record<'_>) -> Result<(), ReadError> {
        let place = Place::Record(record.mark);
        let offset = u64::from(record.offset);
        // How many bytes fit before the addresses wrap, and where they wrap to.
        let (room, restart) = match self.base {
            Base::Segment(base) => (SEGMENT - offset, base),
            Base::Linear(base) => (SPACE - (u64::from(base) + offset), 0),
        };
        let (before, after) = record
            .data
            .split_at(record.data.len().min(usize::try_from(room).unwrap_or(usize::MAX)));
        if !after.is_empty() {
            self.notes.push(match self.base {
                Base::Segment(base) => Note::SegmentWrap { base, place },
                Base::Linear(_) => Note::LinearWrap { place },
            });
        }
        let address = self.base.address() + u32::from(record.offset);
        self.pieces
            .place(address, before, place)
            .and_then(|()| self.pieces.place(restart, after, place))
            .map_err(|beyond| self.text.fault(record.mark, RecordFault::PastEnd { beyond }))
    }

    fn rebase(&mut self, record: &Record<'_>, base: Base) -> Result<(), ReadError> {
        self.no_offset(record, "base address")?;
        let old = self.base;
        if old.kind() != base.kind() && old.address() != 0 {
            let fault = RecordFault::MixedBases {
                found: base.kind(),
                new: base.address(),
                other: old.kind(),
                old: old.address(),
            };
            return Err(self.text.fault(record.mark, fault));
        }
        self.base = base;
        Ok(())
    }

    fn start(&mut self, record: &Record<'_>, address: u32) -> Result<(), ReadError> {
        self.no_offset(record, "start address")?;
        match self.entry.replace(address) {
            Some(was) if was != address => Err(self
                .text
                .fault(record.mark, RecordFault::SecondStart { was, now: address })),
            _ => Ok(()),
        }
    }

    fn end(&mut self, record: &Record<'_>) -> Result<(), ReadError> {
        if record.offset != 0 {
            let address = u32::from(record.offset);
            self.notes.push(Note::StartInEnd { address });
            self.entry.get_or_insert(address);
        }
        self.text.nothing_after(record.mark.line, "end of file")
    }

    fn no_offset(&self, record: &Record<'_>, kind: &'static str) -> Result<(), ReadError> {
        match record.offset {
            0 => Ok(()),
            found => Err(self.text.fault(record.mark, RecordFault::Offset { kind, found })),
        }
    }

    /// Why a record's type and length do not go together.
    fn unsuitable(&self, record: &Record<'_>) -> ReadError {
        let (kind, expected) = match record.kind {
            1 => ("end of file", "0"),
            2 | 4 => ("base address", "2"),
            3 | 5 => ("start address", "4"),
            other => {
                let fault = RecordFault::Type {
                    found: format!("{other:02X}"),
                    expected: "00 to 05",
                };
                return self.text.fault(record.mark, fault);
            }
        };
        let found = record.data.len() as u8;
        self.text
            .fault(record.mark, RecordFault::Length { kind, found, expected })
    }
}
