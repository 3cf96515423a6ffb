//! Motorola S-records.
//!
//! Source: Debian's srec_motorola(5), and Motorola's M68000 Family Programmer's Reference Manual,
//! appendix C (from memory). A record is `S` type(1 digit) count(1) address(2, 3 or 4) data
//! checksum(1); the count covers address, data and checksum; count to checksum sum to 0xFF modulo
//! 256.
//!
//! | type | address | meaning |
//! | --- | --- | --- |
//! | S0 | 2 | header text |
//! | S1, S2, S3 | 2, 3, 4 | data |
//! | S5, S6 | 2, 3 | how many S1, S2 and S3 records came before |
//! | S9, S8, S7 | 2, 3, 4 | the end, and the start address: zero where there is none |
//!
//! S4 is reserved. A file is one block: one ending record and nothing after it. Some programs write
//! no ending record when they know of no start address; that is accepted where the last record is a
//! count, since a count proves that nothing is missing.

use crate::assemble::Assembler;
use crate::build::Build;
use crate::error::{Place, Position, ReadError, RecordFault};
use crate::note::Note;
use crate::recognise::Format;
use crate::text::RecordText;

/// One record whose checksum holds.
struct Record<'a> {
    mark: Position,
    /// The type, 0 to 9, as its digit.
    digit: u8,
    address: u32,
    data: &'a [u8],
}

struct Reader<'a> {
    text: RecordText<'a>,
    pieces: Assembler,
    data_records: u64,
    /// The digit of the ending record that belongs to the widest data record so far.
    end_digit: Option<u8>,
    /// Whether the last record was a count, which agreed.
    counted: bool,
    entry: Option<u32>,
    notes: Vec<Note>,
}

pub(crate) fn read(bytes: &[u8]) -> Result<Build, ReadError> {
    let mut reader = Reader {
        text: RecordText::new(Format::SRecord, bytes)?,
        pieces: Assembler::with_capacity(bytes.len() / 8 * 3),
        data_records: 0,
        end_digit: None,
        counted: false,
        entry: None,
        notes: Vec::new(),
    };
    reader.records()?;
    let (segments, mut notes) = reader.pieces.finish()?;
    notes.append(&mut reader.notes);
    Build::new(Format::SRecord, segments, reader.entry, notes)
}

impl Reader<'_> {
    fn records(&mut self) -> Result<(), ReadError> {
        let mut buffer = [0; 255];
        while let Some(mark) = self.text.next_mark(b'S') {
            let record = self.record(mark?, &mut buffer)?;
            self.counted = false;
            match record.digit {
                b'0' => self.header(&record),
                b'1'..=b'3' => self.place(&record)?,
                b'5' | b'6' => self.count(&record)?,
                _ => return self.end(&record),
            }
        }
        if self.counted {
            self.notes.push(Note::EndedByCount);
            return Ok(());
        }
        let fault = RecordFault::MissingEnd {
            expected: "an S7, S8 or S9 record, or at least an S5 or S6 count",
        };
        Err(self.text.fault(self.text.position(), fault))
    }

    fn record<'b>(&mut self, mark: Position, buffer: &'b mut [u8; 255]) -> Result<Record<'b>, ReadError> {
        let digit = self.text.take().unwrap_or_default();
        let address_len: usize = match digit {
            b'0' | b'1' | b'5' | b'9' => 2,
            b'2' | b'6' | b'8' => 3,
            b'3' | b'7' => 4,
            _ => return Err(self.unknown(mark, digit)),
        };
        let mut count = [0];
        self.text.decode(&mut count)?;
        let [count] = count;
        if usize::from(count) < address_len + 1
            || (b'5'..=b'9').contains(&digit) && usize::from(count) > address_len + 1
        {
            return Err(self.unsuitable(mark, digit, count));
        }
        let body = &mut buffer[..usize::from(count) - 1];
        let sum = self.text.decode(body)?.wrapping_add(count);
        let checksum_at = self.text.position();
        let found = self.text.decode(&mut [0])?;
        if found != !sum {
            return Err(self
                .text
                .fault(checksum_at, RecordFault::Checksum { found, expected: !sum }));
        }
        self.text.end_record()?;
        let (address, data) = body.split_at(address_len);
        let address = address.iter().fold(0, |address, &byte| address << 8 | u32::from(byte));
        Ok(Record {
            mark,
            digit,
            address,
            data,
        })
    }

    fn header(&mut self, record: &Record<'_>) {
        let known = self.notes.iter().any(|note| matches!(note, Note::Header(_)));
        if !known && !record.data.is_empty() {
            self.notes.push(Note::Header(record.data.escape_ascii().to_string()));
        }
    }

    fn place(&mut self, record: &Record<'_>) -> Result<(), ReadError> {
        self.data_records += 1;
        // S1 belongs to S9, S2 to S8, S3 to S7: the wider the address, the lower the digit.
        let end_digit = b'9' - (record.digit - b'1');
        let known = self.end_digit.unwrap_or(end_digit);
        if known != end_digit && !self.notes.iter().any(|note| matches!(note, Note::MixedWidths { .. })) {
            self.notes.push(Note::MixedWidths {
                place: Place::Record(record.mark),
            });
        }
        self.end_digit = Some(known.min(end_digit));
        self.pieces
            .place(record.address, record.data, Place::Record(record.mark))
            .map_err(|beyond| self.text.fault(record.mark, RecordFault::PastEnd { beyond }))
    }

    fn count(&mut self, record: &Record<'_>) -> Result<(), ReadError> {
        if u64::from(record.address) == self.data_records {
            self.counted = true;
            return Ok(());
        }
        let fault = RecordFault::Count {
            stated: record.address,
            counted: self.data_records,
        };
        Err(self.text.fault(record.mark, fault))
    }

    fn end(&mut self, record: &Record<'_>) -> Result<(), ReadError> {
        self.entry = Some(record.address).filter(|&address| address != 0);
        if let Some(expected) = self.end_digit.filter(|&expected| expected != record.digit) {
            let (found, expected) = (char::from(record.digit), char::from(expected));
            self.notes.push(Note::EndOfOtherWidth { found, expected });
        }
        self.text.nothing_after(record.mark.line, "ending")
    }

    fn unknown(&self, mark: Position, digit: u8) -> ReadError {
        let found = format!("S{}", digit.escape_ascii());
        self.text.fault(
            mark,
            RecordFault::Type {
                found,
                expected: "S0 to S3 or S5 to S9",
            },
        )
    }

    fn unsuitable(&self, mark: Position, digit: u8, found: u8) -> ReadError {
        let (kind, expected) = match digit {
            b'0' => ("S0", "3 or more"),
            b'1' => ("S1", "3 or more"),
            b'2' => ("S2", "4 or more"),
            b'3' => ("S3", "5 or more"),
            b'5' => ("S5", "3"),
            b'6' => ("S6", "4"),
            b'7' => ("S7", "5"),
            b'8' => ("S8", "4"),
            _ => ("S9", "3"),
        };
        self.text.fault(mark, RecordFault::Length { kind, found, expected })
    }
}
