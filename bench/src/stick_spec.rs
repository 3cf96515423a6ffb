//! How our sticks are laid out.

use packstaff_fat::Calendar;
use packstaff_product::Date;
use packstaff_stick::StickSpec;

/// Name of the sheet on a stick.
pub const SHEET: &str = "SHEET.HTM";
/// Name of the short text on a stick.
pub const README: &str = "README.TXT";

/// A stick as it is sent to owners: label, identifier and dates come from the release, so that making it again gives the same
/// bytes.
pub fn for_release(short: &str, numbers: &[u32], date: Date) -> StickSpec {
    // Any function of the release would do; this one is the 32-bit FNV-1a hash (Fowler, Noll, Vo).
    let digits = numbers.iter().flat_map(|number| number.to_be_bytes());
    let id = short.bytes().chain(digits).fold(0x811c_9dc5_u32, |hash, byte| {
        (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193)
    });
    let stamp = Calendar {
        year: date.year().clamp(1980, 2107),
        month: date.month(),
        day: date.day(),
        hour: 12,
        minute: 0,
        second: 0,
    };
    let label = format!("{short} UPDATE")
        .chars()
        .take(11)
        .collect::<String>()
        .to_ascii_uppercase();
    StickSpec {
        label: Some(label),
        ..StickSpec::usual(id, stamp)
    }
}

/// A stick with nothing but these files, for a rehearsal.
pub fn plain(files: &[(&str, &[u8])]) -> StickSpec {
    let stamp = Calendar {
        year: 2000,
        month: 1,
        day: 1,
        hour: 12,
        minute: 0,
        second: 0,
    };
    files.iter().fold(StickSpec::usual(1, stamp), |spec, (name, contents)| {
        spec.with_file(*name, *contents)
    })
}
