//! Raw binaries: the bytes alone, at a base address that the maker states.

use crate::build::{Build, Segment};
use crate::error::ReadError;
use crate::note::Note;
use crate::recognise::{Format, is_text};

pub(crate) fn read(bytes: &[u8], base: Option<u32>) -> Result<Build, ReadError> {
    let Some(base) = base else {
        return Err(ReadError::NoRawBase { begins: begins(bytes) });
    };
    let beyond = (u64::from(base) + bytes.len() as u64).saturating_sub(1 << 32);
    if beyond > 0 {
        return Err(ReadError::RawPastEnd {
            base,
            len: bytes.len(),
            beyond,
        });
    }
    let mut notes = Vec::new();
    if bytes.iter().all(|&byte| is_text(byte)) && bytes.iter().any(u8::is_ascii_graphic) {
        notes.push(Note::AllText);
    }
    Build::new(
        Format::Raw,
        vec![Segment {
            address: base,
            data: bytes.to_vec(),
        }],
        None,
        notes,
    )
}

/// The first bytes as hexadecimal numbers, and as text where they are text.
fn begins(bytes: &[u8]) -> String {
    let first = bytes.get(..8).unwrap_or(bytes);
    let numbers: Vec<String> = first.iter().map(|byte| format!("{byte:02X}")).collect();
    if first.iter().all(|byte| byte.is_ascii_graphic() || *byte == b' ') {
        format!("{} (\"{}\")", numbers.join(" "), first.escape_ascii())
    } else {
        numbers.join(" ")
    }
}
