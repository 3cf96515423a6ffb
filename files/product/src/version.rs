//! Version texts and the integers behind them.
//!
//! Texts are for people, integers decide. The two common ways of reading a version disagree: to a reader of decimal
//! fractions 0.85 is older than 0.9, to a reader of dotted integers it is newer. So a product declares its [`Scheme`],
//! every text maps to one to three integers (what a SUIT manifest's version holds: draft-ietf-suit-update-management,
//! 3.1), and only integers are compared. [`lint`] finds texts that a person could put in another order.

use std::cmp::Ordering;
use std::fmt;
use thiserror::Error;

/// How a product's version texts map to integers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Scheme {
    /// One to three integers with points between them: 3.10 is newer than 3.9.
    Dotted,
    /// A decimal fraction of at most `places` digits: 0.9 is newer than 0.85. It maps to its whole part and its
    /// fraction filled up to `places` digits, so that 0.9 with two places becomes 0 and 90.
    Decimal {
        /// Digits behind the point, 1 to 9.
        places: u8,
    },
}

/// Most digits that a decimal scheme may have behind the point: a fraction of nine digits still fits 32 bits.
pub const MAX_PLACES: u8 = 9;

/// One to three integers, compared from the left; an integer that is not there counts as 0, so 2 equals 2.0.
#[derive(Clone, Copy, Debug)]
pub struct Numbers {
    values: [u32; 3],
    count: u8,
}

impl Numbers {
    /// The integers given; `None` unless there are one to three.
    pub fn new(numbers: &[u32]) -> Option<Self> {
        let count = u8::try_from(numbers.len())
            .ok()
            .filter(|count| (1..=3).contains(count))?;
        let mut values = [0; 3];
        for (value, number) in values.iter_mut().zip(numbers) {
            *value = *number;
        }
        Some(Self { values, count })
    }

    /// The integers.
    pub fn as_slice(&self) -> &[u32] {
        self.values.get(..usize::from(self.count)).unwrap_or(&self.values)
    }
}

impl PartialEq for Numbers {
    fn eq(&self, other: &Self) -> bool {
        self.values == other.values
    }
}

impl Eq for Numbers {}

impl std::hash::Hash for Numbers {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        self.values.hash(state);
    }
}

impl PartialOrd for Numbers {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Numbers {
    fn cmp(&self, other: &Self) -> Ordering {
        self.values.cmp(&other.values)
    }
}

/// As a list: `[2, 1]`, so that nobody takes it for a version text.
impl fmt::Display for Numbers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.as_slice())
    }
}

/// A version: the text that people see, and its integers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Version {
    text: String,
    numbers: Numbers,
}

impl Version {
    /// The text, as the maker writes it.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The integers that decide.
    pub const fn numbers(&self) -> Numbers {
        self.numbers
    }
}

impl fmt::Display for Version {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// Why a text is not a version of a scheme.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum VersionError {
    /// Nothing there.
    #[error("the version text is empty")]
    Empty,
    /// A blank inside or around it.
    #[error("the version {text:?} has white space in it")]
    WhiteSpace {
        /// The text.
        text: String,
    },
    /// Something other than ASCII digits and points: a letter in front, a suffix, a sign.
    #[error("the version {text:?} has {character:?} in it")]
    NotDigits {
        /// The text.
        text: String,
        /// The first character that does not belong there.
        character: char,
    },
    /// A point with no digits on one of its sides.
    #[error("the version {text:?} has a point without a number beside it")]
    EmptyNumber {
        /// The text.
        text: String,
    },
    /// A number with a zero in front, which readers drop or not as they please.
    #[error("the version {text:?} has a number with a leading zero")]
    LeadingZero {
        /// The text.
        text: String,
    },
    /// A number beyond 32 bits.
    #[error("the version {text:?} has a number above 4294967295")]
    TooLarge {
        /// The text.
        text: String,
    },
    /// More numbers than the scheme has.
    #[error("the version {text:?} has {found} numbers; the most here is {most}")]
    TooManyNumbers {
        /// The text.
        text: String,
        /// How many there are.
        found: usize,
        /// How many there may be.
        most: usize,
    },
    /// More digits behind the point than the scheme has.
    #[error("the version {text:?} has {found} digits behind the point; the scheme has {places}")]
    TooManyPlaces {
        /// The text.
        text: String,
        /// Digits found.
        found: usize,
        /// Digits that the scheme has.
        places: u8,
    },
}

impl VersionError {
    /// What to do about it.
    pub fn advice(&self) -> String {
        match self {
            Self::Empty => "Write one to three numbers with points between them, such as 2.1.",
            Self::WhiteSpace { .. } => "Take the white space out.",
            Self::NotDigits { .. } => {
                "Use digits and points only. A trial version gets a number of its own, so that units can tell it apart."
            }
            Self::EmptyNumber { .. } => "Write a number on both sides of every point.",
            Self::LeadingZero { .. } => "Write the number without it: an owner reads 1.08 and 1.8 as the same.",
            Self::TooLarge { .. } => "Use a smaller number.",
            Self::TooManyNumbers { .. } => "Leave the last number out, or choose the scheme that fits.",
            Self::TooManyPlaces { .. } => "Shorten it, or raise `places` in [versions] before the first release.",
        }
        .to_owned()
    }
}

impl Scheme {
    /// Reads a version text. It is the only place where texts become integers.
    ///
    /// # Errors
    /// The text is not in the scheme's one canonical form.
    pub fn read(self, text: &str) -> Result<Version, VersionError> {
        let owned = || text.to_owned();
        if text.is_empty() {
            return Err(VersionError::Empty);
        }
        if text.chars().any(char::is_whitespace) {
            return Err(VersionError::WhiteSpace { text: owned() });
        }
        if let Some(character) = text
            .chars()
            .find(|character| !character.is_ascii_digit() && *character != '.')
        {
            return Err(VersionError::NotDigits {
                text: owned(),
                character,
            });
        }
        let parts: Vec<&str> = text.split('.').collect();
        if parts.iter().any(|part| part.is_empty()) {
            return Err(VersionError::EmptyNumber { text: owned() });
        }
        let most = match self {
            Self::Dotted => 3,
            Self::Decimal { .. } => 2,
        };
        if parts.len() > most {
            return Err(VersionError::TooManyNumbers {
                text: owned(),
                found: parts.len(),
                most,
            });
        }
        let numbers = match self {
            Self::Dotted => parts
                .iter()
                .map(|part| whole(text, part))
                .collect::<Result<Vec<_>, _>>()?,
            Self::Decimal { places } => decimal(text, &parts, places.clamp(1, MAX_PLACES))?,
        };
        // One to three numbers: `parts` has at least one, and `most` bounds it.
        let numbers = Numbers::new(&numbers).ok_or(VersionError::Empty)?;
        Ok(Version { text: owned(), numbers })
    }

    /// How people who know the other reading would order the two texts; `None` where that reading cannot read them.
    fn other_order(self, one: &str, other: &str) -> Option<Ordering> {
        let reading = match self {
            Self::Dotted => Self::Decimal { places: MAX_PLACES },
            Self::Decimal { .. } => Self::Dotted,
        };
        Some(reading.read(one).ok()?.numbers.cmp(&reading.read(other).ok()?.numbers))
    }
}

fn whole(text: &str, digits: &str) -> Result<u32, VersionError> {
    if digits.len() > 1 && digits.starts_with('0') {
        return Err(VersionError::LeadingZero { text: text.to_owned() });
    }
    digits
        .parse()
        .map_err(|_| VersionError::TooLarge { text: text.to_owned() })
}

fn decimal(text: &str, parts: &[&str], places: u8) -> Result<Vec<u32>, VersionError> {
    let (whole_digits, fraction) = match parts {
        [whole_digits, fraction] => (whole_digits, *fraction),
        [whole_digits] => (whole_digits, "0"),
        _ => return Err(VersionError::Empty),
    };
    if fraction.len() > usize::from(places) {
        return Err(VersionError::TooManyPlaces {
            text: text.to_owned(),
            found: fraction.len(),
            places,
        });
    }
    let filled = format!("{fraction:0<width$}", width = usize::from(places));
    let fraction = filled
        .parse()
        .map_err(|_| VersionError::TooLarge { text: text.to_owned() })?;
    Ok(vec![whole(text, whole_digits)?, fraction])
}

/// Two versions that cannot both stand, or that people could put in the wrong order.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum Clash {
    /// The texts differ, the integers do not.
    #[error("{first} and {second} are the same version, {numbers}")]
    Same {
        /// The earlier in the list.
        first: String,
        /// The later in the list.
        second: String,
        /// Their integers.
        numbers: Numbers,
    },
    /// The scheme orders them one way, the other common reading the other way.
    #[error("{newer} is newer than {older} here, but a reader of {reading} takes it for older")]
    Disputed {
        /// The older by the scheme.
        older: String,
        /// The newer by the scheme.
        newer: String,
        /// The reading that disagrees.
        reading: &'static str,
    },
}

impl Clash {
    /// What to do about it.
    pub const fn advice(&self) -> &'static str {
        match self {
            Self::Same { .. } => "Give one of them another number.",
            Self::Disputed { .. } => {
                "Number it so that both readings agree, or set accept_disputed_order = true and tell owners which is newer."
            }
        }
    }
}

/// Finds every pair of versions that are equal, or whose order depends on how a text is read.
///
/// Where a reading cannot read a text at all, it has no opinion: 2.1.3 is not a decimal fraction.
pub fn lint(scheme: Scheme, versions: &[Version]) -> Vec<Clash> {
    let reading = match scheme {
        Scheme::Dotted => "decimal fractions",
        Scheme::Decimal { .. } => "dotted numbers",
    };
    let mut clashes = Vec::new();
    for (index, second) in versions.iter().enumerate() {
        for first in versions.iter().take(index) {
            let order = first.numbers.cmp(&second.numbers);
            let (older, newer) = match order {
                Ordering::Less => (first, second),
                Ordering::Greater => (second, first),
                Ordering::Equal => {
                    clashes.push(Clash::Same {
                        first: first.text.clone(),
                        second: second.text.clone(),
                        numbers: first.numbers,
                    });
                    continue;
                }
            };
            if scheme.other_order(&newer.text, &older.text) == Some(Ordering::Less) {
                clashes.push(Clash::Disputed {
                    older: older.text.clone(),
                    newer: newer.text.clone(),
                    reading,
                });
            }
        }
    }
    clashes
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const DECIMAL: Scheme = Scheme::Decimal { places: 2 };

    fn numbers(scheme: Scheme, text: &str) -> Numbers {
        scheme.read(text).unwrap().numbers()
    }

    #[test]
    fn the_scheme_decides_whether_0_85_is_newer_than_0_9() {
        assert!(numbers(Scheme::Dotted, "0.85") > numbers(Scheme::Dotted, "0.9"));
        assert!(numbers(DECIMAL, "0.85") < numbers(DECIMAL, "0.9"));
        assert_eq!(numbers(DECIMAL, "0.9").as_slice(), [0, 90]);
        assert_eq!(numbers(DECIMAL, "0.85").as_slice(), [0, 85]);
        assert_eq!(numbers(DECIMAL, "0.05").as_slice(), [0, 5]);
    }

    #[test]
    fn dotted_3_10_follows_3_9_and_decimal_3_10_is_3_1() {
        assert!(numbers(Scheme::Dotted, "3.10") > numbers(Scheme::Dotted, "3.9"));
        assert!(numbers(DECIMAL, "3.10") < numbers(DECIMAL, "3.9"));
        assert_eq!(numbers(DECIMAL, "3.10"), numbers(DECIMAL, "3.1"));
    }

    #[test]
    fn missing_numbers_count_as_zero() {
        assert_eq!(numbers(Scheme::Dotted, "2"), numbers(Scheme::Dotted, "2.0.0"));
        assert!(numbers(Scheme::Dotted, "2") < numbers(Scheme::Dotted, "2.0.1"));
        assert_eq!(numbers(DECIMAL, "2"), numbers(DECIMAL, "2.0"));
    }

    #[test]
    fn every_other_form_is_refused_with_its_own_reason() {
        let text = |text: &str| text.to_owned();
        let dotted = |text: &str| Scheme::Dotted.read(text).unwrap_err();
        assert_eq!(dotted(""), VersionError::Empty);
        assert_eq!(dotted(" 2.1"), VersionError::WhiteSpace { text: text(" 2.1") });
        assert_eq!(dotted("2.1\n"), VersionError::WhiteSpace { text: text("2.1\n") });
        assert_eq!(
            dotted("2.1\u{a0}"),
            VersionError::WhiteSpace {
                text: text("2.1\u{a0}")
            }
        );
        assert_eq!(
            dotted("v2.1"),
            VersionError::NotDigits {
                text: text("v2.1"),
                character: 'v'
            }
        );
        assert_eq!(
            dotted("2.1b"),
            VersionError::NotDigits {
                text: text("2.1b"),
                character: 'b'
            }
        );
        assert_eq!(
            dotted("2.1-rc1"),
            VersionError::NotDigits {
                text: text("2.1-rc1"),
                character: '-'
            }
        );
        assert_eq!(
            dotted("+2.1"),
            VersionError::NotDigits {
                text: text("+2.1"),
                character: '+'
            }
        );
        assert_eq!(
            dotted("٢.1"),
            VersionError::NotDigits {
                text: text("٢.1"),
                character: '٢'
            }
        );
        assert_eq!(dotted("2..1"), VersionError::EmptyNumber { text: text("2..1") });
        assert_eq!(dotted("2."), VersionError::EmptyNumber { text: text("2.") });
        assert_eq!(dotted("1.08"), VersionError::LeadingZero { text: text("1.08") });
        assert_eq!(dotted("01.8"), VersionError::LeadingZero { text: text("01.8") });
        assert_eq!(
            dotted("1.4294967296"),
            VersionError::TooLarge {
                text: text("1.4294967296")
            }
        );
        assert_eq!(
            dotted("1.2.3.4"),
            VersionError::TooManyNumbers {
                text: text("1.2.3.4"),
                found: 4,
                most: 3
            }
        );
        assert_eq!(
            DECIMAL.read("1.2.3").unwrap_err(),
            VersionError::TooManyNumbers {
                text: text("1.2.3"),
                found: 3,
                most: 2
            }
        );
        assert_eq!(
            DECIMAL.read("0.855").unwrap_err(),
            VersionError::TooManyPlaces {
                text: text("0.855"),
                found: 3,
                places: 2
            }
        );
        assert_eq!(
            DECIMAL.read("00.5").unwrap_err(),
            VersionError::LeadingZero { text: text("00.5") }
        );
    }

    fn clashes(scheme: Scheme, texts: &[&str]) -> Vec<String> {
        let versions: Vec<_> = texts.iter().map(|text| scheme.read(text).unwrap()).collect();
        lint(scheme, &versions).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn lint_names_equal_and_disputed_pairs() {
        assert_eq!(clashes(Scheme::Dotted, &["1.8", "2.0", "2.1"]), [""; 0]);
        assert_eq!(clashes(Scheme::Dotted, &["2.1.2", "2.1.10"]), [""; 0]);
        assert_eq!(
            clashes(Scheme::Dotted, &["0.9", "0.85"]),
            ["0.85 is newer than 0.9 here, but a reader of decimal fractions takes it for older"]
        );
        assert_eq!(
            clashes(Scheme::Dotted, &["3.10", "3.9"]),
            ["3.10 is newer than 3.9 here, but a reader of decimal fractions takes it for older"]
        );
        assert_eq!(
            clashes(DECIMAL, &["0.85", "0.9"]),
            ["0.9 is newer than 0.85 here, but a reader of dotted numbers takes it for older"]
        );
        assert_eq!(
            clashes(DECIMAL, &["0.9", "0.90"]),
            ["0.9 and 0.90 are the same version, [0, 90]"]
        );
        assert_eq!(
            clashes(Scheme::Dotted, &["2", "2.0"]),
            ["2 and 2.0 are the same version, [2]"]
        );
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,12}|[0-9.]{0,14}", places in 0_u8..=255) {
            let _ = Scheme::Dotted.read(&text);
            let _ = Scheme::Decimal { places }.read(&text);
        }

        /// The order of decimal versions is the order of the fractions as rational numbers, computed here without
        /// filling up digits: a/10^m against b/10^n by cross-multiplying.
        #[test]
        fn decimal_order_is_numeric_order(a in "[0-9]\\.[0-9]{1,4}", b in "[0-9]\\.[0-9]{1,4}") {
            let scheme = Scheme::Decimal { places: 4 };
            let rational = |text: &str| {
                let digits = text.replace('.', "").parse::<u64>().unwrap();
                (digits, 10_u64.pow(u32::try_from(text.len()).unwrap() - 2))
            };
            let ((p, q), (r, s)) = (rational(&a), rational(&b));
            prop_assert_eq!(numbers(scheme, &a).cmp(&numbers(scheme, &b)), (p * s).cmp(&(r * q)));
        }
    }
}
