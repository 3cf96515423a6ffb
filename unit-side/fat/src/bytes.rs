//! Little-endian fields of a block.
//!
//! A position past the end reads as zero, which no caller here relies on: all positions are constants below the size of what
//! they read, or masked to it.

pub(crate) fn u8_at(bytes: &[u8], at: usize) -> u8 {
    bytes.get(at).copied().unwrap_or(0)
}

#[inline(never)]
pub(crate) fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes(array_at(bytes, at))
}

#[inline(never)]
pub(crate) fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(array_at(bytes, at))
}

pub(crate) fn array_at<const N: usize>(bytes: &[u8], at: usize) -> [u8; N] {
    let from = bytes.get(at..).and_then(|bytes| bytes.first_chunk());
    from.copied().unwrap_or([0; N])
}
