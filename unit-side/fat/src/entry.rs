//! A directory entry (FAT specification, "FAT Directory Structure").

use core::fmt;

use crate::bytes::{array_at, u8_at, u16_at, u32_at};
use crate::{Kind, Stamp};

/// Bits of the attribute byte.
pub mod attributes {
    /// May not be written.
    pub const READ_ONLY: u8 = 0x01;
    /// Not shown.
    pub const HIDDEN: u8 = 0x02;
    /// Belongs to the system.
    pub const SYSTEM: u8 = 0x04;
    /// The label of the volume.
    pub const LABEL: u8 = 0x08;
    /// A folder.
    pub const DIRECTORY: u8 = 0x10;
    /// Changed since the last backup.
    pub const ARCHIVE: u8 = 0x20;
    /// All of the low six bits 0F: a piece of a long name.
    pub const LONG_NAME: u8 = READ_ONLY | HIDDEN | SYSTEM | LABEL;
}

/// A name of 8 and 3 bytes, padded with spaces, as stored, and the bits that say which part is shown in lower case.
///
/// Shown as `NAME.EXT`; bytes outside ASCII are in a code page that the stick does not name, and are shown as `?`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ShortName {
    /// As stored: the first byte 05 stands for E5.
    pub bytes: [u8; 11],
    /// 08: base in lower case; 10: extension in lower case. (Windows NT line, Linux, mtools; the specification reserves them.)
    pub case: u8,
}

impl ShortName {
    /// The characters of the shown form.
    pub fn chars(&self) -> impl Iterator<Item = char> + '_ {
        let (base, extension) = self.bytes.split_at_checked(8).unwrap_or((&[], &[]));
        let shown = |part: &'_ [u8], lower: bool| {
            let length = part
                .iter()
                .rposition(|&byte| byte != b' ')
                .map_or(0, |last| last.saturating_add(1));
            (length, lower)
        };
        let (base_length, base_lower) = shown(base, self.case & 0x08 != 0);
        let (extension_length, extension_lower) = shown(extension, self.case & 0x10 != 0);
        let dot = (extension_length != 0).then_some('.');
        let as_char = |lower: bool| {
            move |&byte: &u8| match byte {
                b' '..=b'~' if lower => char::from(byte.to_ascii_lowercase()),
                b' '..=b'~' => char::from(byte),
                _ => '?',
            }
        };
        let base = base.iter().take(base_length).map(as_char(base_lower));
        let extension = extension.iter().take(extension_length).map(as_char(extension_lower));
        base.chain(dot).chain(extension)
    }

    /// Whether this is the name, without regard to case (of ASCII).
    #[must_use]
    pub fn matches(&self, name: &str) -> bool {
        let ours = self.chars().map(|c| c.to_ascii_uppercase());
        ours.eq(name.chars().map(|c| c.to_ascii_uppercase()))
    }
}

impl fmt::Display for ShortName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.chars().try_for_each(|c| write!(f, "{c}"))
    }
}

/// A file or a folder, as its directory entry describes it. Nothing in it has been checked against the FAT.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Entry {
    /// The short name.
    pub short: ShortName,
    /// See [`attributes`].
    pub attributes: u8,
    /// The first cluster; 0 for a file without contents, and for a `..` that is the root.
    pub first_cluster: u32,
    /// Bytes; means nothing for a folder.
    pub size: u32,
    /// When last written.
    pub written: Stamp,
    /// When made; often zero.
    pub created: Stamp,
    /// Which entry of its directory this is, from 0, counting pieces of long names and deleted entries.
    pub position: u32,
}

impl Entry {
    /// Whether this is a folder.
    #[must_use]
    pub const fn is_directory(&self) -> bool {
        self.attributes & attributes::DIRECTORY != 0
    }

    /// Whether this is the `.` or the `..` of a folder. Do not follow them: they need not lead where they should.
    #[must_use]
    pub const fn is_dot(&self) -> bool {
        matches!(&self.short.bytes, b".          " | b"..         ")
    }

    pub(crate) fn read(raw: &[u8; 32], kind: Kind, position: u32) -> Self {
        // On FAT12 and FAT16 the high word holds other things.
        let high = if kind == Kind::Fat32 {
            u32::from(u16_at(raw, 20)) << 16
        } else {
            0
        };
        Self {
            short: ShortName {
                bytes: array_at(raw, 0),
                case: u8_at(raw, 12) & 0x18,
            },
            attributes: u8_at(raw, 11) & 0x3F,
            first_cluster: high | u32::from(u16_at(raw, 26)),
            size: u32_at(raw, 28),
            written: Stamp {
                time: u16_at(raw, 22),
                date: u16_at(raw, 24),
            },
            created: Stamp {
                time: u16_at(raw, 14),
                date: u16_at(raw, 16),
            },
            position,
        }
    }
}

#[cfg(test)]
mod tests {
    use std::string::ToString;

    use super::*;

    #[test]
    fn names_are_shown_as_people_write_them() {
        for (bytes, case, shown) in [
            (b"KC4-0142UPD", 0x00, "KC4-0142.UPD"),
            (b"KC4-0142UPD", 0x18, "kc4-0142.upd"),
            (b"KC4-0142UPD", 0x08, "kc4-0142.UPD"),
            (b"KC4-0142UPD", 0x10, "KC4-0142.upd"),
            (b"NOTES      ", 0x00, "NOTES"),
            (b"A B     C D", 0x00, "A B.C D"),
            (b"\x05BC     TXT", 0x00, "?BC.TXT"),
            (b"AB\x90     \x01\x7F ", 0x18, "ab?.??"),
            (b"..         ", 0x00, ".."),
        ] {
            let short = ShortName { bytes: *bytes, case };
            assert_eq!(short.to_string(), shown);
            assert!(short.matches(&shown.to_ascii_lowercase()));
            assert!(!short.matches(&shown[1..]));
        }
    }

    #[test]
    fn the_high_word_counts_on_fat32_only() {
        let mut raw = [0u8; 32];
        raw[20..22].copy_from_slice(&[0x34, 0x12]);
        raw[26..28].copy_from_slice(&[0x78, 0x56]);
        assert_eq!(Entry::read(&raw, Kind::Fat32, 0).first_cluster, 0x1234_5678);
        assert_eq!(Entry::read(&raw, Kind::Fat16, 0).first_cluster, 0x5678);
        assert_eq!(Entry::read(&raw, Kind::Fat12, 0).first_cluster, 0x5678);
    }
}
