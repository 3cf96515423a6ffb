//! What the two record formats share: a cursor over lines of hexadecimal digits that always knows
//! where it is.
//!
//! Neither specification says what may stand between records, so this is our policy. A record has a
//! line of its own. A line ends with LF, CR LF or CR alone. Blank lines, and spaces and tabs at
//! either end of a line, mean nothing. A UTF-8 byte-order mark in front of the first line means
//! nothing either. Anything else outside a record is refused: it may be the rest of a damaged
//! record, and skipping it would lose bytes silently. Digits may be of either case.

use crate::error::{Position, ReadError, RecordFault};
use crate::recognise::{Format, is_utf16};

pub(crate) const UTF8_MARK: &[u8] = b"\xEF\xBB\xBF";

/// A format's text, read from front to back exactly once.
pub(crate) struct RecordText<'a> {
    format: Format,
    bytes: &'a [u8],
    at: usize,
    line: usize,
    line_start: usize,
}

impl<'a> RecordText<'a> {
    pub(crate) fn new(format: Format, bytes: &'a [u8]) -> Result<Self, ReadError> {
        if is_utf16(bytes) {
            return Err(ReadError::WideText { format });
        }
        let at = if bytes.starts_with(UTF8_MARK) {
            UTF8_MARK.len()
        } else {
            0
        };
        Ok(Self {
            format,
            bytes,
            at,
            line: 1,
            line_start: 0,
        })
    }

    /// Where the cursor stands.
    pub(crate) fn position(&self) -> Position {
        self.position_of(self.at)
    }

    /// Moves to the next byte that is neither blank nor a line end, and takes it if it is `mark`.
    /// `None` is the end of the file.
    pub(crate) fn next_mark(&mut self, mark: u8) -> Option<Result<Position, ReadError>> {
        while let Some(&byte) = self.bytes.get(self.at) {
            if is_line_end(byte) {
                self.take_line_end(byte);
            } else if is_blank(byte) {
                self.at += 1;
            } else if byte == mark {
                let position = self.position();
                self.at += 1;
                return Some(Ok(position));
            } else {
                let fault = RecordFault::NotARecord {
                    found: byte,
                    mark: char::from(mark),
                };
                return Some(Err(self.fault(self.position(), fault)));
            }
        }
        None
    }

    /// Takes one byte that is not hexadecimal data, such as the type digit of an S-record.
    pub(crate) fn take(&mut self) -> Option<u8> {
        let byte = *self.bytes.get(self.at)?;
        self.at += 1;
        Some(byte)
    }

    /// Decodes two digits for each byte of `into` and gives the sum of those bytes modulo 256.
    pub(crate) fn decode(&mut self, into: &mut [u8]) -> Result<u8, ReadError> {
        let wanted = into.len() * 2;
        let Some(digits) = self.bytes.get(self.at..self.at + wanted) else {
            return Err(self.broken(wanted));
        };
        let (pairs, _) = digits.as_chunks::<2>();
        let (mut invalid, mut sum) = (0u8, 0u8);
        for (&[high, low], byte) in pairs.iter().zip(into) {
            let (high, low) = (NIBBLES[usize::from(high)], NIBBLES[usize::from(low)]);
            invalid |= high | low;
            *byte = high << 4 | low & 0x0F;
            sum = sum.wrapping_add(*byte);
        }
        if invalid > 0x0F {
            return Err(self.broken(wanted));
        }
        self.at += wanted;
        Ok(sum)
    }

    /// Demands that nothing but blanks stands between here and the end of the line.
    pub(crate) fn end_record(&mut self) -> Result<(), ReadError> {
        loop {
            match self.bytes.get(self.at) {
                None => return Ok(()),
                Some(&byte) if is_line_end(byte) => {
                    self.take_line_end(byte);
                    return Ok(());
                }
                Some(&byte) if is_blank(byte) => self.at += 1,
                Some(&found) => {
                    return Err(self.fault(self.position(), RecordFault::Longer { found }));
                }
            }
        }
    }

    /// Demands that only blanks and line ends stand between here and the end of the file.
    pub(crate) fn nothing_after(&mut self, line: usize, end: &'static str) -> Result<(), ReadError> {
        while let Some(&byte) = self.bytes.get(self.at) {
            if is_line_end(byte) {
                self.take_line_end(byte);
            } else if is_blank(byte) {
                self.at += 1;
            } else {
                return Err(self.fault(self.position(), RecordFault::AfterEnd { found: byte, end, line }));
            }
        }
        Ok(())
    }

    pub(crate) fn fault(&self, position: Position, fault: RecordFault) -> ReadError {
        ReadError::Record {
            format: self.format,
            position,
            fault,
        }
    }

    fn position_of(&self, offset: usize) -> Position {
        Position {
            line: self.line,
            column: offset - self.line_start + 1,
            offset,
        }
    }

    fn take_line_end(&mut self, byte: u8) {
        let pair = byte == b'\r' && self.bytes.get(self.at + 1) == Some(&b'\n');
        self.at += if pair { 2 } else { 1 };
        self.line += 1;
        self.line_start = self.at;
    }

    /// Says why `wanted` digits could not be read from here.
    #[cold]
    fn broken(&self, wanted: usize) -> ReadError {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        let good = rest.iter().take(wanted).take_while(|&&byte| is_digit(byte)).count();
        let position = self.position_of(self.at + good);
        let fault = match rest.get(good) {
            Some(&found) if !is_line_end(found) => RecordFault::NotADigit { found },
            end => RecordFault::Shorter {
                missing: wanted - good,
                file_ends: end.is_none(),
            },
        };
        self.fault(position, fault)
    }
}

pub(crate) fn is_line_end(byte: u8) -> bool {
    matches!(byte, b'\n' | b'\r')
}

pub(crate) fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t')
}

pub(crate) fn is_digit(byte: u8) -> bool {
    byte.is_ascii_hexdigit()
}

/// The value of each hexadecimal digit; 0xFF for every other byte.
static NIBBLES: [u8; 256] = {
    let mut table = [0xFF; 256];
    let mut value = 0;
    while value < 16 {
        table[b"0123456789ABCDEF"[value] as usize] = value as u8;
        table[b"0123456789abcdef"[value] as usize] = value as u8;
        value += 1;
    }
    table
};

#[cfg(test)]
mod tests {
    use super::*;

    fn text(bytes: &[u8]) -> RecordText<'_> {
        RecordText::new(Format::IntelHex, bytes).expect("not UTF-16")
    }

    #[test]
    fn every_line_end_counts_once() {
        for file in [
            &b"\n\n :"[..],
            b"\r\n\r\n :",
            b"\r\r :",
            b"\n\r :",
            b"\xEF\xBB\xBF\r\n \t\r\n :",
        ] {
            let position = text(file).next_mark(b':').expect("a mark").expect("no fault");
            assert_eq!((position.line, position.column), (3, 2), "{file:?}");
            assert_eq!(position.offset, file.len() - 1);
        }
    }

    #[test]
    fn digits_of_either_case_are_decoded_and_summed() {
        let mut bytes = [0; 3];
        assert_eq!(text(b"fFa10B").decode(&mut bytes).expect("six digits"), 0xAB);
        assert_eq!(bytes, [0xFF, 0xA1, 0x0B]);
    }

    #[test]
    fn each_of_the_other_234_bytes_is_refused_where_it_stands() {
        for byte in (0..=255).filter(|&byte| !is_digit(byte) && !is_line_end(byte)) {
            for at in 0..4 {
                let mut file = *b"12ab";
                file[at] = byte;
                let ReadError::Record { position, fault, .. } = text(&file).decode(&mut [0; 2]).expect_err("refused")
                else {
                    panic!("another kind of error for {byte:#04X}");
                };
                assert_eq!((position.offset, fault), (at, RecordFault::NotADigit { found: byte }));
            }
        }
    }
}
