//! The slot's descriptor: which image the slot holds. It is programmed last, and voided first.
//!
//! It lies at the very end of the slot: the record, in whole granules, and behind it one granule that stays erased for
//! as long as the descriptor stands. Programming that granule to zeros voids the descriptor without an erase, which
//! every part of the parts table allows exactly once.
//!
//! | offset | bytes | field |
//! | --- | --- | --- |
//! | 0 | 3 | `PKD` |
//! | 3 | 1 | how many version integers count, 1 to 3 |
//! | 4 | 4 | image size in bytes |
//! | 8 | 8 | issue (sequence number) |
//! | 16 | 12 | version, three integers |
//! | 28 | 32 | SHA-256 of the image |
//! | 60 | 4 | CRC-32 (IEEE 802.3) of the 60 bytes before |
//!
//! All integers are little-endian.

use crate::geometry::{Geometry, Region};
use crate::record::{Fields, checksum};
use packstaff_envelope::VersionNumbers;

/// Bytes of the record.
pub const DESCRIPTOR_LEN: usize = 64;
/// Bytes of the void mark that are looked at; the mark itself is a whole granule.
pub const VOID_MARK_LEN: usize = 8;

const MAGIC: [u8; 3] = *b"PKD";

/// What a slot holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Descriptor {
    /// Size of the image in bytes, from the slot's start.
    pub image_size: u32,
    /// The issue that the image came with.
    pub sequence: u64,
    /// The image's version.
    pub version: VersionNumbers,
    /// SHA-256 of the image.
    pub image_digest: [u8; 32],
}

impl Descriptor {
    /// The record as it is programmed.
    pub fn encode(&self) -> [u8; DESCRIPTOR_LEN] {
        let mut out = [0; DESCRIPTOR_LEN];
        let mut fields = Fields::new(&mut out);
        let numbers = self.version.padded();
        fields.put(&MAGIC);
        fields.put(&[self.version.count()]);
        fields.put(&self.image_size.to_le_bytes());
        fields.put(&self.sequence.to_le_bytes());
        for number in numbers {
            fields.put(&number.to_le_bytes());
        }
        fields.put(&self.image_digest);
        fields.seal();
        out
    }

    /// Reads a record; `None` if it is not whole: wrong mark, wrong check value, or fields that no installer writes.
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let (record, _) = bytes.split_first_chunk::<DESCRIPTOR_LEN>()?;
        let (body, check) = record.split_last_chunk::<4>()?;
        if checksum(body) != u32::from_le_bytes(*check) {
            return None;
        }
        let (magic, body) = body.split_first_chunk::<3>()?;
        let (count, body) = body.split_first()?;
        let (image_size, body) = body.split_first_chunk::<4>()?;
        let (sequence, body) = body.split_first_chunk::<8>()?;
        let (a, body) = body.split_first_chunk::<4>()?;
        let (b, body) = body.split_first_chunk::<4>()?;
        let (c, body) = body.split_first_chunk::<4>()?;
        let image_digest = *body.first_chunk::<32>()?;
        let numbers = [*a, *b, *c].map(u32::from_le_bytes);
        let version = VersionNumbers::new(numbers.get(..usize::from(*count))?)?;
        (*magic == MAGIC && version.padded() == numbers).then_some(Self {
            image_size: u32::from_le_bytes(*image_size),
            sequence: u64::from_le_bytes(*sequence),
            version,
            image_digest,
        })
    }
}

/// Where the descriptor of a slot lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Place {
    /// The record.
    pub record: Region,
    /// The granule whose programming voids it.
    pub void: Region,
}

impl Place {
    /// The place at the end of `slot`.
    pub const fn in_slot(slot: Region, geometry: Geometry<'_>) -> Self {
        let record = geometry.whole_granules(DESCRIPTOR_LEN as u32);
        let void = geometry.whole_granules(VOID_MARK_LEN as u32);
        let end = slot.base.wrapping_add(slot.size);
        Self {
            record: Region {
                base: end.wrapping_sub(void).wrapping_sub(record),
                size: record,
            },
            void: Region {
                base: end.wrapping_sub(void),
                size: void,
            },
        }
    }

    /// Bytes at the end of the slot that an image may not use.
    pub const fn size(self) -> u32 {
        self.record.size.saturating_add(self.void.size)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sample() -> Descriptor {
        Descriptor {
            image_size: 40_960,
            sequence: 7,
            version: VersionNumbers::new(&[2, 1]).unwrap(),
            image_digest: [0x5a; 32],
        }
    }

    #[test]
    fn any_changed_bit_makes_the_record_not_whole() {
        let record = sample().encode();
        assert_eq!(Descriptor::decode(&record), Some(sample()));
        for bit in 0..DESCRIPTOR_LEN * 8 {
            let mut torn = record;
            torn[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Descriptor::decode(&torn), None, "bit {bit}");
        }
    }

    #[test]
    fn erased_and_zeroed_flash_hold_no_descriptor() {
        assert_eq!(Descriptor::decode(&[0xff; DESCRIPTOR_LEN]), None);
        assert_eq!(Descriptor::decode(&[0x00; DESCRIPTOR_LEN]), None);
        assert_eq!(Descriptor::decode(&[]), None);
    }

    #[test]
    fn record_and_void_mark_never_share_a_granule() {
        let slot = Region {
            base: 0x0801_0000,
            size: 0x7_0000,
        };
        for granule in [1, 2, 4, 8, 16, 32, 64, 256, 512] {
            let geometry = Geometry {
                base: 0x0800_0000,
                runs: &[],
                granule,
                erased: 0xff,
            };
            let place = Place::in_slot(slot, geometry);
            assert_eq!(place.void.end(), slot.end());
            assert_eq!(place.record.end(), u64::from(place.void.base));
            assert_eq!(place.record.base % granule, 0);
            assert_eq!(place.void.base % granule, 0);
        }
    }

    proptest! {
        #[test]
        fn round_trip(image_size: u32, sequence: u64, numbers in proptest::collection::vec(any::<u32>(), 1..=3), image_digest: [u8; 32]) {
            let version = VersionNumbers::new(&numbers).unwrap();
            let descriptor = Descriptor { image_size, sequence, version, image_digest };
            prop_assert_eq!(Descriptor::decode(&descriptor.encode()), Some(descriptor));
        }
    }
}
