//! HFS+ and APFS. Fields are from memory, after Apple's TN1150 and its APFS reference.

use super::{Family, Format, array, doubt, le32, le64};
use crate::Window;

/// HFS+ keeps its header at byte 1024, with the high byte first.
pub(super) fn volume(window: &mut Window<'_>, whole: u64) -> Option<Format> {
    let header = window.bytes(1024, 512);
    let version = match &array::<2>(&header, 0) {
        b"H+" => 4,
        b"HX" => 5,
        _ => return None,
    };
    let be32 = |at| u32::from_be_bytes(array(&header, at));
    let (size, count) = (be32(40), be32(44));
    let bytes = u64::from(size) * u64::from(count);
    Some(Format {
        bytes: Some(bytes),
        doubt: doubt(&[
            (
                u16::from_be_bytes(array(&header, 2)) == version,
                "its version does not suit its signature",
            ),
            (size.is_power_of_two() && size >= 512, "its blocks are no power of two"),
            (bytes <= whole, "it claims more than there is"),
        ]),
        ..Format::bare(Family::HfsPlus)
    })
}

/// An APFS container: `NXSB` in its first block, behind a header of 32 bytes that begins with a checksum.
pub(super) fn container(start: &[u8], whole: u64) -> Option<Format> {
    if array::<4>(start, 32) != *b"NXSB" {
        return None;
    }
    let (size, count) = (le32(start, 36), le64(start, 40));
    let bytes = u64::from(size).saturating_mul(count);
    let sums = start
        .get(8..size as usize)
        .filter(|_| size == 4096)
        .is_none_or(|body| fletcher(body) == le64(start, 0));
    Some(Format {
        bytes: Some(bytes),
        doubt: doubt(&[
            (
                (4096..=65_536).contains(&size) && size.is_power_of_two(),
                "its blocks are not 4 to 64 KiB",
            ),
            (bytes <= whole, "it claims more than there is"),
            (sums, "the checksum of its first block is another"),
        ]),
        ..Format::bare(Family::Apfs)
    })
}

/// The checksum of an APFS block: Fletcher's, over 32-bit words, modulo 2^32 - 1.
fn fletcher(body: &[u8]) -> u64 {
    const MODULUS: u64 = u32::MAX as u64;
    let (mut first, mut second) = (0u64, 0u64);
    for word in body.chunks_exact(4) {
        first = (first + u64::from(le32(word, 0))) % MODULUS;
        second = (second + first) % MODULUS;
    }
    let low = MODULUS - (first + second) % MODULUS;
    let high = MODULUS - (first + low) % MODULUS;
    high << 32 | low
}
