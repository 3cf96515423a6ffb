//! How long a save takes in a settings memory.

use crate::range::{OutOfRange, demand};
use packstaff_unit::part::{Part, PartKind};

/// A save that cannot be timed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SaveTimeError {
    /// An input out of its range.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The part is no settings memory, or the table has no time for it.
    #[error(
        "{part} has no write time for settings in the parts table: name a settings memory whose data sheet gives one"
    )]
    NoTime {
        /// The part.
        part: String,
    },
}

/// How many pages `bytes` bytes at `at` lie in.
pub fn pages_touched(at: u32, bytes: u32, page_bytes: u32) -> u32 {
    let page = u64::from(page_bytes.max(1));
    if bytes == 0 {
        return 0;
    }
    let last = (u64::from(at) + u64::from(bytes) - 1) / page;
    (last - u64::from(at) / page + 1) as u32
}

/// Longest time, in seconds, of writing `bytes` bytes (1 to the part's size) at `at`, page by page, over a bus of `bus_hz`
/// (1 kHz to 50 MHz; of no account for a microcontroller's own memory).
///
/// Each page takes its transfer and then its write cycle. I2C: start, control byte, two address bytes and the data at nine clocks
/// each, stop (Microchip DS20001203, 4.0 to 6.2). SPI: write enable, then instruction, two address bytes and data at eight clocks
/// each (DS20001822, 2.0). Asking whether the write cycle is over may find out up to one question late; that is not counted.
///
/// # Errors
/// An input out of its range, or a part without a write time.
pub fn longest_save_s(part: &Part, at: u32, bytes: u32, bus_hz: f64) -> Result<f64, SaveTimeError> {
    let none = || SaveTimeError::NoTime { part: part.id.clone() };
    let cycle_s = part.write_cycle_max_us.ok_or_else(none)? / 1e6;
    let size = f64::from(part.size_bytes);
    demand("the save", "bytes", f64::from(bytes), 1.0..=size)?;
    let longest = size - f64::from(bytes);
    demand("the save's address", "", f64::from(at), 0.0..=longest)?;
    demand("the bus", "Hz", bus_hz, 1e3..=50e6)?;
    // A memory without pages takes it all in one go.
    let pages = match (part.page_bytes, part.kind) {
        (Some(page), _) => pages_touched(at, bytes, page),
        (None, PartKind::McuEeprom) => bytes,
        (None, _) => 1,
    };
    let (clocks_each, clocks_byte) = match part.kind {
        PartKind::I2cEeprom | PartKind::I2cFram => (2.0 + 3.0 * 9.0, 9.0),
        PartKind::SpiEeprom | PartKind::SpiFram => (8.0 + 3.0 * 8.0, 8.0),
        PartKind::McuEeprom => (0.0, 0.0),
        PartKind::McuFlash | PartKind::McuFram | PartKind::SpiNor => return Err(none()),
    };
    let clocks = f64::from(pages) * clocks_each + f64::from(bytes) * clocks_byte;
    Ok(f64::from(pages) * cycle_s + clocks / bus_hz)
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_unit::part::PartsTable;
    use proptest::prelude::*;

    /// Microchip 24LC256, DS20001203W: pages of 64 bytes (features), write cycle of byte or page 5 ms at most (table 1-2, T_WC).
    /// A page at 400 kHz: 67 bytes of nine clocks, start and stop: 1.5125 ms, and 5 ms.
    #[test]
    fn a_page_of_a_24lc256() {
        let memory = PartsTable::built_in().part("24lc256").unwrap();
        let page = longest_save_s(memory, 0x40, 64, 400e3).unwrap();
        assert!((page - (0.005 + (67.0 * 9.0 + 2.0) / 400e3)).abs() < 1e-12, "{page}");
        // The whole memory, page by page: 512 write cycles are 2.56 s.
        let all = longest_save_s(memory, 0, 32_768, 50e6).unwrap();
        assert!((2.56..2.57).contains(&all), "{all}");
    }

    /// A byte that lies across a page's end costs a page more.
    #[test]
    fn pages_are_those_that_are_touched() {
        let seen = [(0, 0), (0, 1), (0, 64), (63, 2), (64, 64), (60, 128), (0, 1344)];
        let seen = seen.map(|(at, bytes)| pages_touched(at, bytes, 64));
        assert_eq!(seen, [0, 1, 1, 2, 1, 3, 21]);
        assert_eq!(pages_touched(u32::MAX, u32::MAX, 0), u32::MAX);
    }

    /// Cypress FM25L16B, 001-84485: no write delay, so only the transfer counts. At 20 MHz 64 bytes take 27.2 us.
    #[test]
    fn a_ferroelectric_memory_waits_for_nothing() {
        let s = longest_save_s(PartsTable::built_in().part("fm25l16b").unwrap(), 0, 64, 20e6).unwrap();
        assert!((s - 27.2e-6).abs() < 1e-9, "{s}");
    }

    #[test]
    fn what_is_no_settings_memory_is_said() {
        let error = longest_save_s(PartsTable::built_in().part("stm32f405-512k").unwrap(), 0, 64, 400e3).unwrap_err();
        assert!(
            error.to_string().starts_with("stm32f405-512k has no write time"),
            "{error}"
        );
        let memory = PartsTable::built_in().part("24lc256").unwrap();
        for (at, bytes, hz) in [
            (0, 0, 4e5),
            (32_768, 1, 4e5),
            (1, 32_768, 4e5),
            (0, 64, 0.0),
            (0, 64, f64::NAN),
        ] {
            assert!(longest_save_s(memory, at, bytes, hz).is_err(), "{at} {bytes} {hz}");
        }
    }

    proptest! {
        #[test]
        fn pages_are_counted_as_by_hand(at in 0..5000_u32, bytes in 0..300_u32, page in 1..130_u32) {
            let by_hand: std::collections::BTreeSet<_> = (at..at + bytes).map(|byte| byte / page).collect();
            prop_assert_eq!(pages_touched(at, bytes, page), by_hand.len() as u32);
        }
    }
}
