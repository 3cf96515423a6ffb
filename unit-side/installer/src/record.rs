//! Small fixed records in flash, sealed by a CRC-32.

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

/// CRC-32 as in IEEE 802.3; without a table, because the unit is short of flash, not of time.
const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// The check value of a record's body.
pub(crate) fn checksum(body: &[u8]) -> u32 {
    CRC.checksum(body)
}

/// Writes fields one after another into a fixed record.
pub(crate) struct Fields<'a> {
    record: &'a mut [u8],
    filled: usize,
}

impl<'a> Fields<'a> {
    /// Starts at the record's first byte.
    pub(crate) fn new(record: &'a mut [u8]) -> Self {
        Self { record, filled: 0 }
    }

    /// Appends `bytes`; what does not fit is left out, which the record's own round-trip test would show.
    pub(crate) fn put(&mut self, bytes: &[u8]) {
        for (to, from) in self.record.iter_mut().skip(self.filled).zip(bytes) {
            *to = *from;
        }
        self.filled = self.filled.saturating_add(bytes.len());
    }

    /// Appends the check value over all that was put before.
    pub(crate) fn seal(&mut self) {
        let check = checksum(self.record.get(..self.filled).unwrap_or_default());
        self.put(&check.to_le_bytes());
    }
}

#[cfg(test)]
mod tests {
    /// The check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms; also zlib's crc32.
    #[test]
    fn check_value() {
        assert_eq!(super::checksum(b"123456789"), 0xCBF4_3926);
    }
}
