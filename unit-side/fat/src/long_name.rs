//! Long file names: up to 20 pieces of 13 UTF-16 units before the short entry that they belong to (FAT specification, "FAT Long
//! Directory Entries").

use core::fmt;

use crate::bytes::{u8_at, u16_at};

/// The most UTF-16 units that a long name has.
const MOST: usize = 255;
/// UTF-16 units in one piece, and where they stand in it.
const PIECE: usize = 13;
const AT: [usize; PIECE] = [1, 3, 5, 7, 9, 14, 16, 18, 20, 22, 24, 28, 30];

/// The checksum that ties the pieces of a long name to the 11 bytes of its short name, as stored.
#[must_use]
pub fn short_name_checksum(name: &[u8; 11]) -> u8 {
    name.iter()
        .fold(0u8, |sum, &byte| sum.rotate_right(1).wrapping_add(byte))
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum State {
    Empty,
    /// Pieces down to `next + 1` are here, and `next` is due; 0 when all are.
    Filling {
        next: u8,
        checksum: u8,
    },
    /// The name belongs to the entry last given.
    Whole,
}

/// A buffer for one long name, kept by the caller, so that a unit may do without.
///
/// Pass the same one to every step of a [`DirectoryReader`](crate::DirectoryReader). After a step that gives an entry it holds that
/// entry's long name, or nothing if there is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct LongName {
    units: [u16; MOST],
    length: u8,
    state: State,
}

impl Default for LongName {
    fn default() -> Self {
        Self::new()
    }
}

impl LongName {
    /// An empty buffer.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            units: [0; MOST],
            length: 0,
            state: State::Empty,
        }
    }

    /// Whether there is no long name.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        !matches!(self.state, State::Whole)
    }

    /// The UTF-16 units as stored. They may be anything: never use them as a path.
    #[must_use]
    pub fn units(&self) -> &[u16] {
        if self.is_empty() {
            &[]
        } else {
            self.units.get(..usize::from(self.length)).unwrap_or(&[])
        }
    }

    /// The characters, with U+FFFD for what is not UTF-16.
    pub fn chars(&self) -> impl Iterator<Item = char> {
        char::decode_utf16(self.units().iter().copied()).map(|unit| unit.unwrap_or(char::REPLACEMENT_CHARACTER))
    }

    /// Takes in a piece, the 32 bytes as stored.
    pub(crate) fn piece(&mut self, raw: &[u8; 32]) {
        let order = u8_at(raw, 0);
        let number = order & 0x3F;
        let checksum = u8_at(raw, 13);
        let is_first = order & 0x40 != 0;
        if is_first {
            self.length = 0;
        }
        let fits = match self.state {
            _ if order & 0x80 != 0 || u8_at(raw, 12) != 0 => false,
            _ if is_first => (1..=20).contains(&number),
            State::Filling {
                next,
                checksum: expected,
            } => next != 0 && number == next && checksum == expected,
            State::Empty | State::Whole => false,
        };
        if !fits || !self.take_units(raw, number, is_first) {
            self.clear();
            return;
        }
        self.state = State::Filling {
            next: number.wrapping_sub(1),
            checksum,
        };
    }

    /// Copies a piece's units to their place. False if it holds an end where none can be, or too much.
    fn take_units(&mut self, raw: &[u8; 32], number: u8, is_first: bool) -> bool {
        let start = usize::from(number.wrapping_sub(1)).wrapping_mul(PIECE);
        let mut ended = false;
        for (position, &at) in (start..).zip(AT.iter()) {
            let unit = u16_at(raw, at);
            if unit == 0 || ended {
                ended = true;
                continue;
            }
            let Some(place) = self.units.get_mut(position) else {
                return false;
            };
            *place = unit;
            if is_first {
                self.length = u8::try_from(position.wrapping_add(1)).unwrap_or(u8::MAX);
            }
        }
        if is_first {
            u8_at(raw, 1) | u8_at(raw, 2) != 0
        } else {
            !ended
        }
    }

    /// Settles whether the pieces belong to the short entry that came after them.
    pub(crate) fn settle(&mut self, short: &[u8; 11]) {
        match self.state {
            State::Filling { next: 0, checksum } if checksum == short_name_checksum(short) => self.state = State::Whole,
            _ => self.clear(),
        }
    }

    /// Forgets everything.
    pub(crate) fn clear(&mut self) {
        *self = Self::new();
    }
}

impl fmt::Display for LongName {
    /// The name with control characters, bidirectional marks and broken units escaped.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for unit in char::decode_utf16(self.units().iter().copied()) {
            match unit {
                Ok(c) if c.is_control() || is_direction_mark(c) => write!(f, "{}", c.escape_unicode())?,
                Ok(c) => write!(f, "{c}")?,
                Err(broken) => write!(f, "\\u{{{:x}}}", broken.unpaired_surrogate())?,
            }
        }
        Ok(())
    }
}

/// Characters that change the direction of the text around them, or that cannot be seen.
fn is_direction_mark(c: char) -> bool {
    matches!(c, '\u{061C}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{2069}' | '\u{FEFF}')
}

#[cfg(test)]
mod tests {
    use std::string::{String, ToString};
    use std::vec::Vec;

    use super::*;

    const SHORT: [u8; 11] = *b"FOO     BAR";

    /// The pieces of a name, in the order in which they stand on a stick.
    fn pieces(name: &str, checksum: u8) -> Vec<[u8; 32]> {
        let mut units: Vec<u16> = name.encode_utf16().collect();
        let count = units.len().div_ceil(PIECE);
        if !units.len().is_multiple_of(PIECE) {
            units.push(0);
            units.resize(count * PIECE, 0xFFFF);
        }
        let mut out = Vec::new();
        for (index, chunk) in units.chunks(PIECE).enumerate().rev() {
            let mut raw = [0u8; 32];
            raw[0] = index as u8 + 1 + if index + 1 == count { 0x40 } else { 0 };
            raw[11] = 0x0F;
            raw[13] = checksum;
            for (unit, at) in chunk.iter().zip(AT) {
                raw[at..at + 2].copy_from_slice(&unit.to_le_bytes());
            }
            out.push(raw);
        }
        out
    }

    fn read(pieces: &[[u8; 32]]) -> LongName {
        let mut name = LongName::new();
        for raw in pieces {
            name.piece(raw);
        }
        name.settle(&SHORT);
        name
    }

    #[test]
    fn checksums_as_mtools_writes_them() {
        // Seen on images made by mtools 4.0.32, and computed apart from it.
        assert_eq!(short_name_checksum(&SHORT), 0x53);
        assert_eq!(short_name_checksum(b"KC4-0142UPD"), 0x88);
        assert_eq!(short_name_checksum(b"README  TXT"), 0x73);
    }

    #[test]
    fn names_of_every_length_come_back() {
        for length in 1..=255 {
            let text: String = ('a'..='z').cycle().take(length).collect();
            let name = read(&pieces(&text, 0x53));
            assert_eq!(name.to_string(), text);
            assert_eq!(name.units().len(), length);
        }
        assert!(read(&pieces(&"x".repeat(256), 0x53)).is_empty());
    }

    #[test]
    fn orphans_are_ignored() {
        let good = pieces("a name that takes three pieces", 0x53);
        assert_eq!(good.len(), 3);
        assert!(!read(&good).is_empty());
        assert!(
            read(&pieces("a name that takes three pieces", 0x52)).is_empty(),
            "checksum of another entry"
        );
        assert!(read(&good[1..]).is_empty(), "first piece lost");
        assert!(read(&good[..2]).is_empty(), "last piece lost");
        assert!(read(&[good[0], good[2]]).is_empty(), "middle piece lost");
        assert!(read(&[good[0], good[2], good[1]]).is_empty(), "out of order");
        assert!(
            read(&[good[0], good[1], good[2], good[2]]).is_empty(),
            "one piece twice"
        );
        for at in [0, 12, 13] {
            let mut other = good.clone();
            other[1][at] ^= 0x80;
            assert!(read(&other).is_empty(), "byte {at} of a piece changed");
        }
        let mut early_end = good.clone();
        early_end[1][14..16].copy_from_slice(&[0, 0]);
        assert!(read(&early_end).is_empty(), "an end within the name");
        // A broken set does not spoil the whole one after it.
        assert!(!read(&[&good[..2], &good[..]].concat()).is_empty());
    }

    #[test]
    fn what_cannot_be_shown_is_escaped() {
        assert_eq!(
            read(&pieces("a\u{202E}b\tc\u{E9}\u{1F525}", 0x53)).to_string(),
            "a\\u{202e}b\\u{9}c\u{E9}\u{1F525}"
        );
        let mut broken = pieces("abc", 0x53);
        broken[0][3..5].copy_from_slice(&0xD800u16.to_le_bytes());
        let name = read(&broken);
        assert_eq!(name.to_string(), "a\\u{d800}c");
        assert_eq!(name.chars().collect::<String>(), "a\u{FFFD}c");
    }
}
