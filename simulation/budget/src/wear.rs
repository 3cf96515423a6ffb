//! When memory wears out: cycles that a data sheet rates, divided by cycles that a unit makes.
//!
//! In an EEPROM a whole page is written when any byte of it is (Microchip DS20001203, 6.2: a write of less than a page still
//! refreshes, and wears, all of it). So wear belongs to pages: records that share a page wear it together, and a record that
//! rotates among several places wears each of them less.

use crate::YEAR_DAYS;
use crate::range::{OutOfRange, demand};
use packstaff_unit::part::{Part, PartKind};
use serde::Serialize;
use std::collections::BTreeMap;

/// Something that a unit saves now and then.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// What it is.
    pub name: String,
    /// Address of its first place.
    pub at: u32,
    /// Bytes written at each save, at least 1.
    pub bytes: u32,
    /// How many places it rotates among, one after another; 1 if it stays where it is.
    pub places: u32,
    /// Bytes from the beginning of one place to the next; at least `bytes`. Of no account for a single place.
    pub apart: u32,
    /// Saves a day in ordinary use: 0 to 1e6.
    pub per_day: f64,
    /// Saves a day of the owner who saves most: `per_day` to 1e6.
    pub per_day_most: f64,
}

/// Cells that wear together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cells {
    /// Address of the first of them.
    pub at: u32,
    /// Which records wear them, by their numbers.
    pub records: Vec<usize>,
    /// Writes a day in ordinary use.
    pub writes_per_day: f64,
    /// Writes a day with the owner who saves most.
    pub writes_per_day_most: f64,
}

/// Why wear cannot be computed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WearError {
    /// An input out of its range.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// A record that does not fit into the memory.
    #[error("the record {name:?} ends at {end:#x}, and the memory at {size:#x}: correct its address, bytes or places")]
    Outside {
        /// The record.
        name: String,
        /// Its end.
        end: u64,
        /// The memory's end.
        size: u32,
    },
    /// A record whose places overlap.
    #[error("the places of {name:?} are {apart} bytes apart, and it has {bytes}: they must not overlap")]
    Overlapping {
        /// The record.
        name: String,
        /// Its bytes.
        bytes: u32,
        /// Bytes from place to place.
        apart: u32,
    },
}

/// How many bytes of a settings memory wear together: its page; one byte or word where there are no pages.
///
/// Ferroelectric memories wear by reads as well, eight bytes at a time (FM25L16B, 001-84485, *Endurance*): those eight are taken.
pub fn bytes_that_wear_together(part: &Part) -> u32 {
    match (part.page_bytes, part.kind) {
        (Some(page), _) => page.max(1),
        (None, PartKind::I2cFram | PartKind::SpiFram) => 8,
        (None, _) => part.program_granule_bytes.max(1),
    }
}

/// The wear of every page of a memory of `size` bytes that is ever written, those worn most by the owner who saves most first.
///
/// # Errors
/// A record that cannot lie in the memory, or a rate out of its range.
pub fn cells(size: u32, page_bytes: u32, records: &[Record]) -> Result<Vec<Cells>, WearError> {
    let page = page_bytes.max(1);
    let mut worn: BTreeMap<u32, Cells> = BTreeMap::new();
    for (number, record) in records.iter().enumerate() {
        check(record, size)?;
        for place in 0..record.places {
            let at = record.at + place * if record.places > 1 { record.apart } else { 0 };
            for index in at / page..=(at + record.bytes - 1) / page {
                let cells = worn.entry(index).or_insert_with(|| Cells {
                    at: index * page,
                    records: Vec::new(),
                    writes_per_day: 0.0,
                    writes_per_day_most: 0.0,
                });
                if cells.records.last() != Some(&number) {
                    cells.records.push(number);
                }
                cells.writes_per_day += record.per_day / f64::from(record.places);
                cells.writes_per_day_most += record.per_day_most / f64::from(record.places);
            }
        }
    }
    let mut worn: Vec<_> = worn.into_values().collect();
    worn.sort_by(|a, b| b.writes_per_day_most.total_cmp(&a.writes_per_day_most));
    Ok(worn)
}

fn check(record: &Record, size: u32) -> Result<(), WearError> {
    demand("the rate of saves", "a day", record.per_day, 0.0..=1e6)?;
    demand(
        "the highest rate of saves",
        "a day",
        record.per_day_most,
        record.per_day..=1e6,
    )?;
    demand("the record", "bytes", f64::from(record.bytes), 1.0..=f64::from(size))?;
    demand(
        "the number of places",
        "",
        f64::from(record.places),
        1.0..=f64::from(size),
    )?;
    if record.places > 1 && record.apart < record.bytes {
        return Err(WearError::Overlapping {
            name: record.name.clone(),
            bytes: record.bytes,
            apart: record.apart,
        });
    }
    let span = u64::from(record.places - 1) * u64::from(record.apart);
    let end = u64::from(record.at) + span + u64::from(record.bytes);
    match end > u64::from(size) {
        true => Err(WearError::Outside {
            name: record.name.clone(),
            end,
            size,
        }),
        false => Ok(()),
    }
}

/// Years until `cycles` rated cycles are made, at `per_day` cycles a day; infinite if none are.
pub fn years(cycles: f64, per_day: f64) -> f64 {
    match per_day > 0.0 {
        true => cycles / per_day / YEAR_DAYS,
        false => f64::INFINITY,
    }
}

/// Years until a flash sector has made its `cycles` rated erase cycles, erased `erases` times in an update, `updates_per_year`
/// times a year; infinite if it never is. An update that was cut erases once more.
pub fn flash_years(cycles: f64, erases: f64, updates_per_year: f64) -> f64 {
    years(cycles, erases * updates_per_year / YEAR_DAYS)
}

/// How many saves a ring of flash pages takes, before any has made its `cycles` rated erase cycles: records are appended, and the
/// next page is erased when one is full.
///
/// `pages x records a page x cycles`, as in vendors' notes on emulating an EEPROM (the scheme: ST AN4894). `header_bytes` of each
/// page are not for records.
pub fn saves_in_pages(pages: u32, page_bytes: u32, header_bytes: u32, record_bytes: u32, cycles: f64) -> f64 {
    let records = page_bytes.saturating_sub(header_bytes) / record_bytes.max(1);
    f64::from(pages) * f64::from(records) * cycles
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_unit::part::PartsTable;
    use proptest::prelude::*;

    fn record(name: &str, at: u32, bytes: u32, places: u32, per_day: f64) -> Record {
        Record {
            name: name.to_owned(),
            at,
            bytes,
            places,
            apart: bytes,
            per_day,
            per_day_most: per_day * 2.0,
        }
    }

    /// Worked apart, from the million cycles of DS20001203: a save a minute into one page lasts 1.9 years, one an hour 114. And
    /// two pages of 2 KiB with 254 records of 8 bytes each and ten thousand cycles take 5.08 million saves.
    #[test]
    fn worked_examples() {
        let cycles = PartsTable::built_in().part("24lc256").unwrap().endurance_min.unwrap() as f64;
        assert!((years(cycles, 1440.0) - 1.9).abs() < 0.05);
        assert!((years(cycles, 24.0) - 114.0).abs() < 0.5);
        assert_eq!(saves_in_pages(2, 2048, 16, 8, 10_000.0), 5.08e6);
        assert!((flash_years(10_000.0, 1.0, 4.0) - 2500.0).abs() < 1e-6);
        assert_eq!(flash_years(10_000.0, 1.0, 0.0), f64::INFINITY);
    }

    #[test]
    fn records_that_share_a_page_wear_it_together() {
        let records = [record("hours", 0, 4, 1, 24.0), record("settings", 60, 8, 1, 2.0)];
        let worn = cells(32_768, 64, &records).unwrap();
        assert_eq!(worn.len(), 2);
        assert_eq!(
            (worn[0].at, &worn[0].records[..], worn[0].writes_per_day),
            (0, &[0, 1][..], 26.0)
        );
        assert_eq!(
            (worn[1].at, &worn[1].records[..], worn[1].writes_per_day_most),
            (64, &[1][..], 4.0)
        );
    }

    /// Rotating inside one page spares nothing: the page is what wears.
    #[test]
    fn places_help_only_across_pages() {
        let wear = |places, apart| {
            let record = Record {
                apart,
                ..record("hours", 0, 8, places, 24.0)
            };
            cells(32_768, 64, &[record]).unwrap()[0].writes_per_day
        };
        assert_eq!((wear(1, 8), wear(8, 8), wear(8, 64)), (24.0, 24.0, 3.0));
    }

    #[test]
    fn what_cannot_be_is_said() {
        let far = cells(256, 16, &[record("log", 200, 20, 3, 1.0)]).unwrap_err();
        assert_eq!(
            far.to_string(),
            "the record \"log\" ends at 0x104, and the memory at 0x100: correct its address, bytes or places"
        );
        let close = Record {
            apart: 10,
            ..record("log", 0, 20, 3, 1.0)
        };
        assert!(
            cells(256, 16, &[close])
                .unwrap_err()
                .to_string()
                .contains("must not overlap")
        );
        assert!(cells(256, 16, &[record("log", 0, 0, 1, 1.0)]).is_err());
        assert!(cells(256, 16, &[record("log", 0, 1, 0, 1.0)]).is_err());
        assert!(cells(256, 16, &[record("log", 0, 1, 1, f64::NAN)]).is_err());
    }

    proptest! {
        /// Every save writes as many pages as it touches: nothing is lost or counted twice.
        #[test]
        fn all_writes_are_counted(
            list in prop::collection::vec((0..2000_u32, 1..200_u32, 1..6_u32, 0..50_u32, 0.0..100.0_f64), 1..6),
            page in prop::sample::select(vec![1, 4, 8, 16, 64, 128_u32]),
        ) {
            let records: Vec<_> = list
                .iter()
                .map(|&(at, bytes, places, gap, rate)| Record {
                    apart: bytes + gap,
                    ..record("r", at, bytes, places, rate)
                })
                .collect();
            let worn = cells(8192, page, &records).unwrap();
            let ours: f64 = worn.iter().map(|cells| cells.writes_per_day).sum();
            let by_hand: f64 = records
                .iter()
                .map(|record| {
                    let touched: u32 = (0..record.places)
                        .map(|place| crate::save_time::pages_touched(record.at + place * record.apart, record.bytes, page))
                        .sum();
                    record.per_day * f64::from(touched) / f64::from(record.places)
                })
                .sum();
            prop_assert!((ours - by_hand).abs() <= 1e-9 * by_hand.max(1.0), "{ours} {by_hand}");
            prop_assert!(worn.windows(2).all(|pair| pair[0].writes_per_day_most >= pair[1].writes_per_day_most));
        }
    }
}
