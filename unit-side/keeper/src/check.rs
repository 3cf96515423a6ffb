//! The check value of records.

/// CRC-32 as in IEEE 802.3 (zlib's crc32), in the making: plain data, so that a machine can stop anywhere inside of a record.
/// Bit by bit, without a table, because a unit is short of flash, not of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Crc32(u32);

impl Crc32 {
    pub(crate) const fn new() -> Self {
        Self(u32::MAX)
    }

    pub(crate) fn add(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 ^= u32::from(*byte);
            for _ in 0..8 {
                let carry = self.0 & 1;
                self.0 = self.0.wrapping_shr(1) ^ carry.wrapping_mul(0xedb8_8320);
            }
        }
    }

    pub(crate) const fn value(self) -> u32 {
        !self.0
    }
}

/// CRC-32 as in IEEE 802.3: zlib's crc32.
pub fn checksum(bytes: &[u8]) -> u32 {
    let mut crc = Crc32::new();
    crc.add(bytes);
    crc.value()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::vec::Vec;

    /// The check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms.
    #[test]
    fn check_value() {
        assert_eq!(checksum(b"123456789"), 0xCBF4_3926);
    }

    proptest! {
        /// Beside the crate `crc`.
        #[test]
        fn any_bytes(bytes: Vec<u8>) {
            prop_assert_eq!(checksum(&bytes), crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&bytes));
        }
    }
}
