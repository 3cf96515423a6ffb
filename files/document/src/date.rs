//! Calendar days, as records carry them.

use std::fmt;
use std::str::FromStr;
use thiserror::Error;

/// A day of the Gregorian calendar, written as RFC 3339 `full-date`: `2026-01-05`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Date {
    year: u16,
    month: u8,
    day: u8,
}

impl Date {
    /// The day of these numbers.
    ///
    /// # Errors
    /// There is no such day, or the year is not from 1 to 9999.
    pub const fn new(year: u16, month: u8, day: u8) -> Result<Self, DateError> {
        let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
        let days = match month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            _ => 0,
        };
        if year == 0 || year > 9999 || day == 0 || day > days {
            return Err(DateError::NoSuchDay);
        }
        Ok(Self { year, month, day })
    }

    /// The year.
    pub const fn year(self) -> u16 {
        self.year
    }

    /// The month, 1 to 12.
    pub const fn month(self) -> u8 {
        self.month
    }

    /// The day of the month, from 1.
    pub const fn day(self) -> u8 {
        self.day
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

impl FromStr for Date {
    type Err = DateError;

    fn from_str(text: &str) -> Result<Self, DateError> {
        let mut fields = text.split('-');
        let mut field = |width: usize| {
            let digits = fields.next().filter(|digits| digits.len() == width)?;
            digits.bytes().all(|byte| byte.is_ascii_digit()).then_some(digits)
        };
        let (Some(year), Some(month), Some(day)) = (field(4), field(2), field(2)) else {
            return Err(DateError::NotADate);
        };
        if fields.next().is_some() {
            return Err(DateError::NotADate);
        }
        let number = |digits: &str| digits.parse().map_err(|_| DateError::NotADate);
        Self::new(
            year.parse().map_err(|_| DateError::NotADate)?,
            number(month)?,
            number(day)?,
        )
    }
}

/// Why a text is not a date.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum DateError {
    /// The text has another form.
    #[error("a date is written year-month-day, such as 2026-01-05")]
    NotADate,
    /// The calendar has no such day.
    #[error("the calendar has no such day")]
    NoSuchDay,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leap_years_follow_the_gregorian_rule() {
        for (text, exists) in [
            ("2024-02-29", true),
            ("2026-02-29", false),
            ("1900-02-29", false),
            ("2000-02-29", true),
        ] {
            assert_eq!(text.parse::<Date>().is_ok(), exists, "{text}");
        }
    }

    #[test]
    fn only_the_one_form_is_read() {
        assert_eq!("2026-01-05".parse::<Date>().unwrap().to_string(), "2026-01-05");
        for text in [
            "",
            "2026-1-5",
            "5.1.2026",
            "2026-01-05T00:00",
            "2026-01-05-",
            "+026-01-05",
            " 2026-01-05",
        ] {
            assert_eq!(text.parse::<Date>(), Err(DateError::NotADate), "{text}");
        }
        assert_eq!("2026-13-01".parse::<Date>(), Err(DateError::NoSuchDay));
        assert_eq!("0000-01-01".parse::<Date>(), Err(DateError::NoSuchDay));
    }
}
