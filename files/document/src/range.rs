//! Address ranges.

use std::fmt;
use thiserror::Error;

/// A range of a unit's 32-bit address space: never empty, never beyond its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Range {
    start: u32,
    size: u32,
}

impl Range {
    /// A range of `size` bytes from `start`.
    ///
    /// # Errors
    /// It is empty, or reaches beyond 4 GiB.
    pub fn new(start: u32, size: u32) -> Result<Self, RangeError> {
        if size == 0 {
            return Err(RangeError::Empty);
        }
        if u64::from(start) + u64::from(size) > 1 << 32 {
            return Err(RangeError::BeyondAddresses { start, size });
        }
        Ok(Self { start, size })
    }

    /// First address.
    pub const fn start(self) -> u32 {
        self.start
    }

    /// Bytes.
    pub const fn size(self) -> u32 {
        self.size
    }

    /// The first address behind the range; 64 bits, since a range may reach the end of the address space.
    pub const fn end(self) -> u64 {
        self.start as u64 + self.size as u64
    }

    /// Whether `other` lies wholly inside.
    pub const fn holds(self, other: Self) -> bool {
        other.start >= self.start && other.end() <= self.end()
    }

    /// The bytes that both have.
    pub fn shared_with(self, other: Self) -> Option<Self> {
        let start = self.start.max(other.start);
        let end = self.end().min(other.end());
        let size = u32::try_from(end.checked_sub(u64::from(start))?).ok()?;
        Self::new(start, size).ok()
    }
}

impl fmt::Display for Range {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let last = self.end() - 1;
        write!(f, "{:#010x}..={last:#010x}", self.start)
    }
}

/// Why two numbers are not a range.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum RangeError {
    /// No bytes.
    #[error("a range of no bytes")]
    Empty,
    /// Reaches beyond 4 GiB.
    #[error("{size:#x} bytes from {start:#010x} reach beyond the 32-bit address space")]
    BeyondAddresses {
        /// First address.
        start: u32,
        /// Bytes.
        size: u32,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edges_of_the_address_space() {
        let last = Range::new(0xffff_fffc, 4).unwrap();
        assert_eq!(last.end(), 1 << 32);
        assert_eq!(last.to_string(), "0xfffffffc..=0xffffffff");
        assert_eq!(
            Range::new(0xffff_fffc, 5),
            Err(RangeError::BeyondAddresses {
                start: 0xffff_fffc,
                size: 5
            })
        );
        assert_eq!(Range::new(7, 0), Err(RangeError::Empty));
    }

    #[test]
    fn neighbours_share_nothing() {
        let low = Range::new(0x1000, 0x100).unwrap();
        let high = Range::new(0x1100, 0x100).unwrap();
        let across = Range::new(0x10f0, 0x20).unwrap();
        assert_eq!(low.shared_with(high), None);
        assert_eq!(across.shared_with(low), Range::new(0x10f0, 0x10).ok());
        assert_eq!(high.shared_with(across), Range::new(0x1100, 0x10).ok());
        assert!(low.holds(Range::new(0x1000, 0x100).unwrap()));
        assert!(!low.holds(across));
    }
}
