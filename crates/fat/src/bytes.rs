//! Little-endian fields of a block.
//!
//! A position past the end reads as zero, which no caller here relies on: all positions are constants below the size of what
//! they read, or masked to it.

pub(crate) fn u8_at(bytes: &[u8], at: usize) -> u8 {
    bytes.get(at).copied().unwrap_or(0)
}

pub(crate) fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([u8_at(bytes, at), u8_at(bytes, at.wrapping_add(1))])
}

pub(crate) fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from(u16_at(bytes, at)) | u32::from(u16_at(bytes, at.wrapping_add(2))) << 16
}

pub(crate) fn array_at<const N: usize>(bytes: &[u8], at: usize) -> [u8; N] {
    let mut out = [0; N];
    for (to, from) in out.iter_mut().zip(bytes.iter().skip(at)) {
        *to = *from;
    }
    out
}
