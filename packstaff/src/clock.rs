//! Today's date: the one place that looks at a clock.

use miette::Diagnostic;
use packstaff_product::{Date, DateError};
use std::time::{SystemTime, UNIX_EPOCH};
use thiserror::Error;

/// Today in UTC, or the day that `SOURCE_DATE_EPOCH` names, so that releases can be made again byte for byte
/// (reproducible-builds.org specification of that variable).
///
/// # Errors
/// The clock, or the variable, shows a day outside the years 1970 to 9999, or the variable is not a number.
pub(crate) fn today() -> Result<Date, ClockError> {
    let seconds = match std::env::var_os(VARIABLE) {
        Some(set) => set.to_str().and_then(|text| text.parse().ok()).ok_or_else(|| {
            let found = set.to_string_lossy().into_owned();
            ClockError::NotSeconds { found }
        })?,
        None => SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .map_or(0, |since| since.as_secs()),
    };
    Ok(day(seconds / 86_400)?)
}

const VARIABLE: &str = "SOURCE_DATE_EPOCH";

/// Why there is no date.
#[derive(Debug, Error, Diagnostic)]
pub(crate) enum ClockError {
    /// The variable holds no number. Its specification says to stop then, rather than to take the clock.
    #[error("{VARIABLE} is {found:?}, which is no number of seconds since 1970")]
    #[diagnostic(help("set it as `date +%s` prints it, or unset it"))]
    NotSeconds {
        /// What it holds.
        found: String,
    },
    /// A day that this program does not know.
    #[error("the clock or {VARIABLE} shows a day that cannot be written with a year of four digits")]
    OutOfRange(#[from] DateError),
}

/// The day that is `days` after 1 January 1970, by the proleptic Gregorian calendar: Howard Hinnant's `civil_from_days`,
/// "chrono-Compatible Low-Level Date Algorithms".
fn day(days: u64) -> Result<Date, DateError> {
    let shifted = days + 719_468;
    let (era, of_era) = (shifted / 146_097, shifted % 146_097);
    let year_of_era = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_index = (5 * of_year + 2) / 153;
    let day = of_year - (153 * month_index + 2) / 5 + 1;
    let month = if month_index < 10 {
        month_index + 3
    } else {
        month_index - 9
    };
    let year = year_of_era + era * 400 + u64::from(month <= 2);
    Date::new(
        u16::try_from(year).map_err(|_| DateError::NoSuchDay)?,
        month as u8,
        day as u8,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From `date -u -d @N +%F` of GNU coreutils.
    #[test]
    fn days_agree_with_coreutils() {
        for (seconds, text) in [
            (0_u64, "1970-01-01"),
            (951_782_400, "2000-02-29"),
            (1_764_028_800, "2025-11-25"),
            (4_107_542_400, "2100-03-01"),
        ] {
            assert_eq!(day(seconds / 86_400).unwrap().to_string(), text);
        }
    }
}
