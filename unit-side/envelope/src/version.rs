//! A release's version as integers: what "newer" means, never its text.

use core::fmt;

/// One to three non-negative integers (set-version, draft-ietf-suit-update-management-14, 3.1).
///
/// Ordered integer by integer; a missing integer counts as 0, and of two that are equal so, the shorter comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct VersionNumbers {
    numbers: [u32; 3],
    count: u8,
}

impl VersionNumbers {
    /// None yet: a place to read one into.
    pub(crate) const ZERO: Self = Self {
        numbers: [0; 3],
        count: 0,
    };

    /// The version with these integers; `None` unless there are one to three.
    pub const fn new(numbers: &[u32]) -> Option<Self> {
        let (numbers, count) = match *numbers {
            [a] => ([a, 0, 0], 1),
            [a, b] => ([a, b, 0], 2),
            [a, b, c] => ([a, b, c], 3),
            _ => return None,
        };
        Some(Self { numbers, count })
    }

    /// How many integers count: 1 to 3.
    pub const fn count(self) -> u8 {
        self.count
    }

    /// All three integers; those that do not count are 0.
    pub const fn padded(self) -> [u32; 3] {
        self.numbers
    }

    /// The integers that count.
    pub fn as_slice(&self) -> &[u32] {
        self.numbers.get(..usize::from(self.count)).unwrap_or(&self.numbers)
    }
}

impl fmt::Display for VersionNumbers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.as_slice().iter().enumerate().try_for_each(|(index, number)| {
            let dot = if index == 0 { "" } else { "." };
            write!(f, "{dot}{number}")
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn version(numbers: &[u32]) -> VersionNumbers {
        VersionNumbers::new(numbers).unwrap()
    }

    #[test]
    fn order_is_by_integer() {
        assert!(version(&[0, 9]) < version(&[0, 85]));
        assert!(version(&[3, 9]) < version(&[3, 10]));
        assert!(version(&[2]) < version(&[2, 0]));
        assert!(version(&[2, 0]) < version(&[2, 0, 1]));
        assert!(version(&[2, 9, 9]) < version(&[3]));
    }

    #[test]
    fn only_one_to_three_integers() {
        assert_eq!(VersionNumbers::new(&[]), None);
        assert_eq!(VersionNumbers::new(&[1, 2, 3, 4]), None);
        assert_eq!(version(&[1, 20]).to_string(), "1.20");
        assert_eq!(version(&[1, 20]).as_slice(), [1, 20]);
    }
}
