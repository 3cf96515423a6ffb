//! Dates and times of directory entries (FAT specification, "Date and Time Formats"): local time without a zone, two
//! seconds fine, years 1980 to 2107.

/// A date and a time as stored. Any pair of words can occur on a stick; [`Stamp::calendar`] says whether it means anything.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Stamp {
    /// Bits 0-4 day, 5-8 month, 9-15 years since 1980.
    pub date: u16,
    /// Bits 0-4 seconds / 2, 5-10 minutes, 11-15 hours.
    pub time: u16,
}

/// A moment in parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Calendar {
    /// 1980 to 2107.
    pub year: u16,
    /// 1 to 12.
    pub month: u8,
    /// 1 to the month's last.
    pub day: u8,
    /// 0 to 23.
    pub hour: u8,
    /// 0 to 59.
    pub minute: u8,
    /// 0 to 59; stored as the even second at or before it.
    pub second: u8,
}

impl Calendar {
    const fn is_valid(&self) -> bool {
        let leap = self.year.is_multiple_of(4) && (!self.year.is_multiple_of(100) || self.year.is_multiple_of(400));
        let last = match self.month {
            2 if leap => 29,
            2 => 28,
            4 | 6 | 9 | 11 => 30,
            1..=12 => 31,
            _ => return false,
        };
        self.year >= 1980
            && self.year <= 2107
            && self.day >= 1
            && self.day <= last
            && self.hour < 24
            && self.minute < 60
            && self.second < 60
    }
}

impl Stamp {
    /// The stored form of a moment, or `None` if there is no such moment or FAT cannot store its year.
    #[must_use]
    pub const fn from_calendar(at: Calendar) -> Option<Self> {
        if !at.is_valid() {
            return None;
        }
        let year = at.year.wrapping_sub(1980);
        Some(Self {
            date: year << 9 | (at.month as u16) << 5 | at.day as u16,
            time: (at.hour as u16) << 11 | (at.minute as u16) << 5 | (at.second as u16) >> 1,
        })
    }

    /// The moment, or `None` if the words hold none (a month 0, a second 60).
    #[must_use]
    pub const fn calendar(&self) -> Option<Calendar> {
        let at = Calendar {
            year: (self.date >> 9).wrapping_add(1980),
            month: (self.date >> 5 & 0x0F) as u8,
            day: (self.date & 0x1F) as u8,
            hour: (self.time >> 11) as u8,
            minute: (self.time >> 5 & 0x3F) as u8,
            second: ((self.time & 0x1F) << 1) as u8,
        };
        if at.is_valid() { Some(at) } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_of_the_range_are_the_specifications() {
        // FAT specification, "Date and Time Formats": 1980-01-01 to 2107-12-31, 00:00:00 to 23:59:58.
        let first = Calendar {
            year: 1980,
            month: 1,
            day: 1,
            hour: 0,
            minute: 0,
            second: 0,
        };
        assert_eq!(Stamp::from_calendar(first), Some(Stamp { date: 0x0021, time: 0 }));
        let last = Calendar {
            year: 2107,
            month: 12,
            day: 31,
            hour: 23,
            minute: 59,
            second: 58,
        };
        assert_eq!(
            Stamp::from_calendar(last),
            Some(Stamp {
                date: 0xFF9F,
                time: 0xBF7D
            })
        );
    }

    #[test]
    fn every_word_pair_that_means_something_goes_round() {
        for date in 0..=u16::MAX {
            let stamp = Stamp {
                date,
                time: date.rotate_left(5),
            };
            if let Some(at) = stamp.calendar() {
                assert_eq!(Stamp::from_calendar(at), Some(stamp));
            }
        }
    }

    #[test]
    fn days_that_do_not_exist_are_none() {
        for (year, month, day) in [
            (2026, 2, 29),
            (2100, 2, 29),
            (2026, 4, 31),
            (2026, 13, 1),
            (2026, 0, 1),
            (2026, 1, 0),
        ] {
            let at = Calendar {
                year,
                month,
                day,
                hour: 0,
                minute: 0,
                second: 0,
            };
            assert_eq!(Stamp::from_calendar(at), None, "{at:?}");
        }
        let leap = Calendar {
            year: 2028,
            month: 2,
            day: 29,
            hour: 0,
            minute: 0,
            second: 0,
        };
        assert!(Stamp::from_calendar(leap).is_some());
        assert_eq!(Stamp { date: 0, time: 0 }.calendar(), None);
        assert_eq!(Stamp { date: 0x0021, time: 30 }.calendar(), None);
    }
}
