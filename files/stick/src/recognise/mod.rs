//! Which format a volume has, by its signature and by whether its first fields make sense.
//!
//! For what is not FAT this is all that is ever read: no other format is listed.

mod apple;
mod exfat;
mod ext;
mod iso;
mod ntfs;

use std::fmt;

use packstaff_fat::{BLOCK, Kind, Mount, Step};

use crate::{BlockSource, Window};

/// A family of formats.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// FAT, in the form that the unit's reader takes it for.
    Fat(Kind),
    /// FAT, or what was FAT: the unit's reader refuses it.
    DamagedFat(packstaff_fat::Error),
    /// exFAT.
    ExFat,
    /// NTFS.
    Ntfs,
    /// ext2, ext3 or ext4.
    Ext(u8),
    /// HFS+.
    HfsPlus,
    /// APFS.
    Apfs,
    /// The image of a CD.
    Iso9660,
    /// Encrypted, as some Linux desktops do it.
    Luks,
    /// Encrypted, as Windows does it.
    BitLocker,
    /// Not a volume: a file packed with gzip, zip or xz.
    Packed(&'static str),
    /// Nothing but zeros where any format would begin.
    Zeros,
    /// Nothing but FF where any format would begin: flash that was never written.
    Ones,
    /// Something, but nothing that is known.
    Unknown,
}

impl fmt::Display for Family {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Fat(kind) => return kind.fmt(f),
            Self::DamagedFat(_) => "FAT, damaged",
            Self::ExFat => "exFAT",
            Self::Ntfs => "NTFS",
            Self::Ext(number) => return write!(f, "ext{number}"),
            Self::HfsPlus => "HFS+",
            Self::Apfs => "APFS",
            Self::Iso9660 => "ISO 9660",
            Self::Luks => "LUKS (encrypted)",
            Self::BitLocker => "BitLocker (encrypted)",
            Self::Packed(how) => return write!(f, "a file packed with {how}"),
            Self::Zeros => "nothing but zeros",
            Self::Ones => "nothing but FF",
            Self::Unknown => "nothing known",
        })
    }
}

/// What a volume is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Format {
    /// The family.
    pub family: Family,
    /// Its label, where the first sectors have it.
    pub label: Option<String>,
    /// Bytes that it says it has.
    pub bytes: Option<u64>,
    /// Why the signature alone must not be trusted: a field that makes no sense.
    pub doubt: Option<&'static str>,
}

impl Format {
    const fn bare(family: Family) -> Self {
        Self {
            family,
            label: None,
            bytes: None,
            doubt: None,
        }
    }
}

/// What the first MiB is looked at for, if nothing is recognised.
const BLANK_BLOCKS: u64 = 2048;

/// Recognises the volume that fills a window. Reads at most a MiB.
pub fn recognise(window: &mut Window<'_>) -> Format {
    let whole = window.blocks() * BLOCK as u64;
    // exFAT sums its first eleven sectors, and keeps the sum in the twelfth.
    let start = window.bytes(0, 12 * 512);
    let begins = |at: usize, mark: &[u8]| start.get(at..).is_some_and(|rest| rest.starts_with(mark));
    if begins(3, b"EXFAT   ") {
        return exfat::read(&start, whole);
    }
    if begins(3, b"NTFS    ") {
        return ntfs::read(&start, whole);
    }
    // The marks of encrypted volumes are from memory.
    if begins(3, b"-FVE-FS-") || fat_refusal(window) == Some(packstaff_fat::Error::BitLocker) {
        return Format::bare(Family::BitLocker);
    }
    if begins(0, b"LUKS\xBA\xBE") {
        return Format::bare(Family::Luks);
    }
    if let Some(format) = apple::container(&start, whole) {
        return format;
    }
    let fat = fat_of(window);
    if let Some(
        format @ Format {
            family: Family::Fat(_), ..
        },
    ) = fat
    {
        return format;
    }
    let inner = ext::read(window, whole)
        .or_else(|| apple::volume(window, whole))
        .or_else(|| iso::read(window, whole));
    if let Some(format) = inner.or(fat) {
        return format;
    }
    // RFC 1952, 2.3.1; APPNOTE 4.3.7; the xz file format, 2.1.1.1.
    for (mark, how) in [
        (&b"\x1F\x8B"[..], "gzip"),
        (b"PK\x03\x04", "zip"),
        (b"\xFD7zXZ\0", "xz"),
    ] {
        if begins(0, mark) {
            return Format::bare(Family::Packed(how));
        }
    }
    Format::bare(blank(window))
}

/// What the unit's own reader says of the volume.
fn mount(window: &mut Window<'_>) -> Result<packstaff_fat::Volume, packstaff_fat::Error> {
    let mut mount = Mount::new(window.blocks());
    let mut held = None;
    loop {
        match mount.step(held.as_ref())? {
            // Within the window, the first block alone is a boot sector: a table there is none of the volume's.
            Step::Read(0) => {
                held = Some(
                    window
                        .read(0)
                        .map_err(|_| packstaff_fat::Error::NoSignature { block: 0 })?,
                )
            }
            Step::Read(_) => return Err(packstaff_fat::Error::NotFat { block: 0 }),
            Step::Ready(volume) => return Ok(volume),
        }
    }
}

fn fat_refusal(window: &mut Window<'_>) -> Option<packstaff_fat::Error> {
    mount(window).err()
}

fn fat_of(window: &mut Window<'_>) -> Option<Format> {
    match mount(window) {
        Ok(volume) => Some(Format {
            bytes: Some(volume.blocks() * BLOCK as u64),
            ..Format::bare(Family::Fat(volume.kind()))
        }),
        // A boot sector whose fields do not hold has a code of its own; one that is none at all has one below 30.
        Err(error) if error.code() >= 30 => Some(Format::bare(Family::DamagedFat(error))),
        Err(_) => None,
    }
}

fn blank(window: &mut Window<'_>) -> Family {
    let (mut zeros, mut ones) = (true, true);
    for number in 0..window.blocks().min(BLANK_BLOCKS) {
        let Ok(block) = window.read(number) else {
            return Family::Unknown;
        };
        zeros &= block.iter().all(|byte| *byte == 0);
        ones &= block.iter().all(|byte| *byte == 0xFF);
        if !zeros && !ones {
            return Family::Unknown;
        }
    }
    if zeros { Family::Zeros } else { Family::Ones }
}

fn array<const N: usize>(bytes: &[u8], at: usize) -> [u8; N] {
    bytes
        .get(at..)
        .and_then(|rest| rest.first_chunk())
        .copied()
        .unwrap_or([0; N])
}

fn le16(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes(array(bytes, at))
}

fn le32(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(array(bytes, at))
}

fn le64(bytes: &[u8], at: usize) -> u64 {
    u64::from_le_bytes(array(bytes, at))
}

/// A label of bytes, up to the first zero, without the spaces that fill it.
fn label(bytes: &[u8]) -> Option<String> {
    let text: String = bytes
        .iter()
        .take_while(|byte| **byte != 0)
        .map(|byte| {
            if (b' '..=b'~').contains(byte) {
                char::from(*byte)
            } else {
                '?'
            }
        })
        .collect();
    let text = text.trim_end();
    (!text.is_empty()).then(|| text.to_owned())
}

/// The first field that makes no sense.
fn doubt(checks: &[(bool, &'static str)]) -> Option<&'static str> {
    checks.iter().find(|(holds, _)| !holds).map(|(_, why)| *why)
}
