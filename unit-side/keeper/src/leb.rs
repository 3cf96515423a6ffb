//! Numbers in the base-128 form of DWARF 5, section 7.6.

/// Reads numbers one after another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Reader<'a> {
    pub(crate) const fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }

    /// Bytes read so far.
    pub(crate) const fn at(&self) -> usize {
        self.at
    }

    /// Goes to a place that was there before.
    pub(crate) const fn go(&mut self, at: usize) {
        self.at = at;
    }

    pub(crate) fn rest(&self) -> &'a [u8] {
        self.bytes.get(self.at..).unwrap_or_default()
    }

    pub(crate) fn is_at_end(&self) -> bool {
        self.at >= self.bytes.len()
    }

    pub(crate) fn byte(&mut self) -> Option<u8> {
        let byte = *self.bytes.get(self.at)?;
        self.at = self.at.checked_add(1)?;
        Some(byte)
    }

    pub(crate) fn take(&mut self, len: usize) -> Option<&'a [u8]> {
        let end = self.at.checked_add(len)?;
        let taken = self.bytes.get(self.at..end)?;
        self.at = end;
        Some(taken)
    }

    /// An unsigned number of at most 16 bits, in at most three bytes.
    pub(crate) fn offset(&mut self) -> Option<u16> {
        let mut value = 0_u32;
        for shift in [0, 7, 14] {
            let byte = self.byte()?;
            value |= u32::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return u16::try_from(value).ok();
            }
        }
        None
    }

    /// A signed number of at most 64 bits, in at most ten bytes; of the tenth only its lowest bit counts.
    pub(crate) fn signed(&mut self) -> Option<i64> {
        let mut value = 0_i64;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            value |= i64::from(byte & 0x7f).wrapping_shl(shift);
            if byte & 0x80 == 0 {
                let used = shift + 7;
                if used < 64 && byte & 0x40 != 0 {
                    value |= (-1_i64).wrapping_shl(used);
                }
                return Some(value);
            }
        }
        None
    }

    pub(crate) fn real(&mut self) -> Option<f64> {
        let bytes = self.take(8)?.first_chunk::<8>()?;
        Some(f64::from_le_bytes(*bytes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The examples of DWARF 5, tables 7.7 and 7.8 (from memory).
    #[test]
    fn published_examples() {
        let unsigned: [(&[u8], u16); 5] = [
            (&[2], 2),
            (&[127], 127),
            (&[0x80, 1], 128),
            (&[0x81, 1], 129),
            (&[57 + 0x80, 100], 12857),
        ];
        for (bytes, value) in unsigned {
            assert_eq!(Reader::new(bytes).offset(), Some(value));
        }
        let signed: [(&[u8], i64); 8] = [
            (&[2], 2),
            (&[0x7e], -2),
            (&[0xff, 0], 127),
            (&[0x81, 0x7f], -127),
            (&[0x80, 1], 128),
            (&[0x80, 0x7f], -128),
            (&[0x81, 1], 129),
            (&[0xff, 0x7e], -129),
        ];
        for (bytes, value) in signed {
            assert_eq!(Reader::new(bytes).signed(), Some(value), "{bytes:02x?}");
        }
    }

    #[test]
    fn what_is_too_long_or_cut_short_is_refused() {
        assert_eq!(Reader::new(&[0x80, 0x80, 0x80, 0]).offset(), None);
        assert_eq!(Reader::new(&[0xff, 0xff, 0x07]).offset(), None);
        assert_eq!(Reader::new(&[0xff, 0xff, 0x03]).offset(), Some(0xffff));
        assert_eq!(Reader::new(&[0x80; 11]).signed(), None);
        assert_eq!(Reader::new(&[0x80]).signed(), None);
    }
}
