//! The one buffer from which flash is programmed.

use crate::config::GRANULE_MAX;
use packstaff_fat::BLOCK;

/// Bytes that fit: what one block of the stick brings, behind less than one granule that was left over.
pub(crate) const CAPACITY: usize = BLOCK + GRANULE_MAX as usize;

/// Bytes waiting to be programmed. What is not in use is zero, so that two machines in the same state are equal.
#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Buffer {
    bytes: [u8; CAPACITY],
    len: usize,
    /// How many of them the present program request takes.
    offered: usize,
}

impl Buffer {
    pub(crate) const EMPTY: Self = Self {
        bytes: [0; CAPACITY],
        len: 0,
        offered: 0,
    };

    pub(crate) fn clear(&mut self) {
        self.bytes.fill(0);
        self.len = 0;
        self.offered = 0;
    }

    pub(crate) const fn len(&self) -> usize {
        self.len
    }

    /// Appends `bytes` and hands out the place they went to, to be decrypted there. What does not fit is left out: the
    /// digest over flash would not hold then.
    pub(crate) fn append(&mut self, bytes: &[u8]) -> &mut [u8] {
        let free = self.bytes.get_mut(self.len..).unwrap_or_default();
        let taken = bytes.len().min(free.len());
        self.len = self.len.saturating_add(taken);
        let place = free.get_mut(..taken).unwrap_or_default();
        packstaff_envelope::copy(place, bytes);
        place
    }

    /// Fills up with `value` to a multiple of `granule`.
    pub(crate) fn pad(&mut self, granule: u32, value: u8) {
        let padded = self.len.checked_next_multiple_of(granule as usize).unwrap_or(self.len);
        if let Some(place) = self.bytes.get_mut(self.len..padded) {
            place.fill(value);
        }
        self.len = padded.min(CAPACITY);
    }

    /// Offers the whole granules that are there; how many bytes that is.
    pub(crate) fn offer(&mut self, granule: u32) -> u32 {
        let rest = self.len.checked_rem(granule as usize).unwrap_or(0);
        self.offered = self.len.saturating_sub(rest);
        self.offered as u32
    }

    /// The bytes on offer.
    pub(crate) fn offered(&self) -> &[u8] {
        self.bytes.get(..self.offered).unwrap_or_default()
    }

    /// Drops what was offered and moves the rest to the front.
    pub(crate) fn taken(&mut self) {
        let offered = self.offered.min(CAPACITY);
        self.bytes.copy_within(offered.., 0);
        self.len = self.len.saturating_sub(offered);
        self.offered = 0;
        if let Some(free) = self.bytes.get_mut(self.len..) {
            free.fill(0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_granules_leave_and_the_rest_moves_up() {
        let mut buffer = Buffer::EMPTY;
        buffer.append(&[1, 2, 3, 4, 5, 6, 7]);
        assert_eq!(buffer.offer(4), 4);
        assert_eq!(buffer.offered(), [1, 2, 3, 4]);
        buffer.taken();
        assert_eq!(buffer.len(), 3);
        buffer.pad(4, 0xff);
        assert_eq!(buffer.offer(4), 4);
        assert_eq!(buffer.offered(), [5, 6, 7, 0xff]);
        buffer.taken();
        assert!(buffer == Buffer::EMPTY);
    }

    #[test]
    fn a_full_buffer_takes_no_more() {
        let mut buffer = Buffer::EMPTY;
        assert_eq!(buffer.append(&[7; CAPACITY + 1]).len(), CAPACITY);
        assert!(buffer.append(&[7]).is_empty());
    }
}
