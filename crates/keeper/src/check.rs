//! The check value of records.

use crc::{CRC_32_ISO_HDLC, Crc, Digest, NoTable};

/// CRC-32 as in IEEE 802.3; without a table, because a unit is short of flash, not of time.
const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// CRC-32 as in IEEE 802.3: zlib's crc32.
pub fn checksum(bytes: &[u8]) -> u32 {
    CRC.checksum(bytes)
}

/// A check value in the making.
pub(crate) fn digest() -> Digest<'static, u32, NoTable> {
    CRC.digest()
}

#[cfg(test)]
mod tests {
    /// The check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms.
    #[test]
    fn check_value() {
        assert_eq!(super::checksum(b"123456789"), 0xCBF4_3926);
    }
}
