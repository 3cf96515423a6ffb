//! A record, byte by byte.
//!
//! | offset | bytes | field |
//! | --- | --- | --- |
//! | 0 | 4 | `PKK1` |
//! | 4 | 4 | turn: one higher than that of the record that was written before |
//! | 8 | 4 | turn of the record that was relied on when this one was begun; 0 for none |
//! | 12 | 2 | layout |
//! | 14 | 2 | length of the payload |
//! | 16 | 4 | CRC-32 of the 16 bytes before |
//! | 20 | length | payload |
//! | 20 + length | 4 | CRC-32 of everything before |
//!
//! Numbers are little-endian. Turns go round: of two, the one that is less than 2^31 ahead of the other is the newer one
//! (serial number arithmetic, RFC 1982). 0 is left out.

use crate::check::{Crc32, checksum};

/// Bytes before the payload.
pub const HEAD: usize = 20;
/// Bytes around the payload.
pub const FRAME: usize = HEAD + 4;

const MAGIC: [u8; 4] = *b"PKK1";

/// What stands before a payload.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Head {
    /// One higher than that of the record before.
    pub turn: u32,
    /// The turn of the record that was relied on when this one was begun; 0 for none.
    pub sure: u32,
    /// The payload's layout.
    pub layout: u16,
    /// Bytes of payload.
    pub len: u16,
}

impl Head {
    /// As it is written.
    pub fn encode(self) -> [u8; HEAD] {
        let mut out = [0; HEAD];
        let fields: [&[u8]; 5] = [
            &MAGIC,
            &self.turn.to_le_bytes(),
            &self.sure.to_le_bytes(),
            &self.layout.to_le_bytes(),
            &self.len.to_le_bytes(),
        ];
        let body = fields.into_iter().flatten();
        out.iter_mut().zip(body).for_each(|(to, from)| *to = *from);
        let check = out.first_chunk::<16>().map_or(0, |body| checksum(body));
        if let Some(to) = out.last_chunk_mut::<4>() {
            *to = check.to_le_bytes();
        }
        out
    }

    /// Reads a head; `None` if it is not whole.
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let (body, rest) = bytes.split_first_chunk::<16>()?;
        let check = rest.first_chunk::<4>()?;
        let [m0, m1, m2, m3, t0, t1, t2, t3, s0, s1, s2, s3, l0, l1, n0, n1] = *body;
        let whole = [m0, m1, m2, m3] == MAGIC && u32::from_le_bytes(*check) == checksum(body);
        whole.then_some(Self {
            turn: u32::from_le_bytes([t0, t1, t2, t3]),
            sure: u32::from_le_bytes([s0, s1, s2, s3]),
            layout: u16::from_le_bytes([l0, l1]),
            len: u16::from_le_bytes([n0, n1]),
        })
    }

    /// The check value behind the payload.
    pub fn seal(self, payload: &[u8]) -> u32 {
        let mut crc = Crc32::new();
        crc.add(&self.encode());
        crc.add(payload);
        crc.value()
    }

    /// Bytes of the whole record.
    pub fn size(self) -> u32 {
        (FRAME as u32).saturating_add(u32::from(self.len))
    }
}

/// Whether a turn comes after another.
pub fn is_newer(turn: u32, than: u32) -> bool {
    (turn.wrapping_sub(than) as i32) > 0
}

/// The turn after this one.
pub fn next_turn(turn: u32) -> u32 {
    turn.wrapping_add(1).max(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_changed_bit_makes_a_head_not_whole() {
        let head = Head {
            turn: u32::MAX,
            sure: 7,
            layout: 0x0201,
            len: 1344,
        };
        let bytes = head.encode();
        assert_eq!(Head::decode(&bytes), Some(head));
        for bit in 0..HEAD * 8 {
            let mut torn = bytes;
            torn[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Head::decode(&torn), None, "bit {bit}");
        }
    }

    /// The examples of RFC 1982, section 5.2, for 32 bits, and the missing zero.
    #[test]
    fn turns_go_round() {
        assert!(is_newer(1, 0) && is_newer(0x8000_0000, 1) && is_newer(5, 0xffff_fff0));
        assert!(!is_newer(0, 1) && !is_newer(5, 5));
        assert!(is_newer(next_turn(u32::MAX), u32::MAX));
        assert_eq!(next_turn(u32::MAX), 1);
    }
}
