//! Which format the bytes are in, judged by the bytes alone.

use std::fmt;

use crate::text::{UTF8_MARK, is_blank, is_digit, is_line_end};

/// The formats that a build may come in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// The Executable and Linkable Format, as a linker writes it.
    Elf,
    /// Intel Hexadecimal Object File Format: text records that begin with a colon.
    IntelHex,
    /// Motorola S-records: text records that begin with a capital S.
    SRecord,
    /// The bytes alone, without addresses.
    Raw,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Format::Elf => "ELF",
            Format::IntelHex => "Intel HEX",
            Format::SRecord => "S-record",
            Format::Raw => "raw binary",
        })
    }
}

/// How far into a text the first record is looked for. A licence text in front of the records fits.
const TEXT_SEARCHED: usize = 64 * 1024;

/// Recognises a format from content.
///
/// ELF is known by its first four bytes. A record format is known by the first line that begins
/// like a record of that format (mark, then at least two hexadecimal digits) with nothing but text
/// before it: so a record file with foreign lines in front, or one damaged further down, is still
/// read as what it is and gets that reader's precise error, rather than being taken for a raw
/// binary. Everything else is [`Format::Raw`].
#[must_use]
pub fn recognise(bytes: &[u8]) -> Format {
    if bytes.starts_with(b"\x7FELF") {
        return Format::Elf;
    }
    let searched = narrow(bytes.get(..TEXT_SEARCHED).unwrap_or(bytes));
    let text = searched.strip_prefix(UTF8_MARK).unwrap_or(&searched);
    for line in text.split(|&byte| is_line_end(byte)) {
        match line.trim_ascii_start() {
            [b':', high, low, ..] if is_digit(*high) && is_digit(*low) => return Format::IntelHex,
            [b'S', b'0'..=b'9', high, low, ..] if is_digit(*high) && is_digit(*low) => {
                return Format::SRecord;
            }
            other if other.iter().all(|&byte| is_text(byte)) => {}
            _ => return Format::Raw,
        }
    }
    Format::Raw
}

/// Whether the bytes begin with one of the two byte-order marks of UTF-16.
pub(crate) fn is_utf16(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF])
}

/// Every second byte of a UTF-16 text, so that it is recognised and can be refused by its right
/// name.
fn narrow(bytes: &[u8]) -> std::borrow::Cow<'_, [u8]> {
    if is_utf16(bytes) {
        bytes
            .iter()
            .skip(2)
            .copied()
            .filter(|&byte| byte != 0)
            .collect::<Vec<u8>>()
            .into()
    } else {
        bytes.into()
    }
}

pub(crate) fn is_text(byte: u8) -> bool {
    byte.is_ascii_graphic() || is_blank(byte) || is_line_end(byte) || byte >= 0x80
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_format_is_known_by_its_content() {
        assert_eq!(recognise(b"\x7FELF\x01\x01\x01"), Format::Elf);
        assert_eq!(recognise(b":00000001FF"), Format::IntelHex);
        assert_eq!(recognise(b"S9030000FC"), Format::SRecord);
        assert_eq!(
            recognise(&[0x00, 0x00, 0x02, 0x20, 0xC1, 0x01, 0x01, 0x08]),
            Format::Raw
        );
        assert_eq!(recognise(b""), Format::Raw);
    }

    #[test]
    fn what_surrounds_the_first_record_does_not_hide_it() {
        assert_eq!(recognise(b"\r\n\n  :00000001FF"), Format::IntelHex);
        assert_eq!(recognise(b"\xEF\xBB\xBFS9030000FC"), Format::SRecord);
        assert_eq!(recognise(b"built by hand\n; comment\n:00000001FF"), Format::IntelHex);
        assert_eq!(recognise(b"\xFF\xFES\x009\x000\x003\x000\x000\x00"), Format::SRecord);
    }

    #[test]
    fn a_damaged_record_file_stays_a_record_file() {
        assert_eq!(recognise(b":10\x00\x00\x00"), Format::IntelHex);
        assert_eq!(recognise(b":02"), Format::IntelHex);
    }

    #[test]
    fn marks_without_digits_are_not_records() {
        assert_eq!(recognise(b"S: see below\n: and so on\n"), Format::Raw);
        assert_eq!(recognise(b":"), Format::Raw);
        assert_eq!(recognise(b"\x00\n:00000001FF"), Format::Raw);
    }
}
