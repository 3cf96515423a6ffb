//! The image of a CD: its primary volume descriptor in sector 16 of 2048 bytes (ECMA-119, 8.1 and 8.4).

use super::{Family, Format, array, doubt, label, le32};
use crate::Window;

pub(super) fn read(window: &mut Window<'_>, whole: u64) -> Option<Format> {
    let descriptor = window.bytes(16 * 2048, 2048);
    if array::<5>(&descriptor, 1) != *b"CD001" {
        return None;
    }
    // Both orders of bytes are stored; they must agree.
    let (sectors, again) = (le32(&descriptor, 80), u32::from_be_bytes(array(&descriptor, 84)));
    let bytes = u64::from(sectors) * 2048;
    let is_primary = array::<1>(&descriptor, 0) == [1];
    Some(Format {
        label: is_primary.then(|| label(&array::<32>(&descriptor, 40))).flatten(),
        bytes: is_primary.then_some(bytes),
        doubt: doubt(&[
            (array::<1>(&descriptor, 6) == [1], "its version is not 1"),
            (
                !is_primary || sectors == again,
                "its size is stored in two ways that differ",
            ),
            (!is_primary || bytes <= whole, "it claims more than there is"),
        ]),
        ..Format::bare(Family::Iso9660)
    })
}
