//! Pointers from C, looked at before they are used.
//!
//! What can be seen here: whether a pointer is null, whether it is aligned, whether two ranges share bytes. What cannot: whether
//! the memory is there, is initialised, and stays as it is during the call. For that the callers answer; the header says so.

#![allow(unsafe_code, reason = "pointers from C")]

use crate::types::returns;

/// A range of memory, to be compared with others.
#[derive(Clone, Copy)]
pub(crate) struct Span {
    start: usize,
    len: usize,
}

impl Span {
    /// The range of one value.
    pub(crate) fn of<T>(at: *const T) -> Self {
        Self::from(at, 1)
    }

    /// The range of `count` values.
    pub(crate) fn from<T>(at: *const T, count: usize) -> Self {
        Self {
            start: at.addr(),
            len: size_of::<T>().saturating_mul(count),
        }
    }

    /// An error if the two share bytes.
    pub(crate) fn apart_from(self, other: Self) -> Result<(), u32> {
        let ends_before = |first: Self, second: Self| first.start.saturating_add(first.len) <= second.start;
        if self.len == 0 || other.len == 0 || ends_before(self, other) || ends_before(other, self) {
            return Ok(());
        }
        Err(returns::OVERLAP)
    }
}

/// An error if the pointer is null or misaligned.
pub(crate) fn look<T>(at: *const T) -> Result<(), u32> {
    if at.is_null() {
        return Err(returns::NULL);
    }
    if !at.is_aligned() {
        return Err(returns::MISALIGNED);
    }
    Ok(())
}

/// What the pointer points to.
///
/// # Safety
/// If it is neither null nor misaligned, an initialised `T` lies there and nobody changes it for as long as `'a`. Any bytes
/// must make a `T`: the caller is written in C.
pub(crate) unsafe fn shared<'a, T>(at: *const T) -> Result<&'a T, u32> {
    look(at)?;
    // SAFETY: not null and aligned, as was just looked at; the rest is this function's own condition.
    Ok(unsafe { &*at })
}

/// The `count` values from the pointer on; it may be null if there are none.
///
/// # Safety
/// As [`shared`], for each of them, and together they are no more than half of the address space.
pub(crate) unsafe fn slice<'a, T>(at: *const T, count: usize) -> Result<&'a [T], u32> {
    if count == 0 {
        return Ok(&[]);
    }
    look(at)?;
    // SAFETY: not null and aligned, as was just looked at; the rest is this function's own condition.
    Ok(unsafe { core::slice::from_raw_parts(at, count) })
}

/// Writes what a call gives to the place that its caller named.
///
/// # Safety
/// If it is neither null nor misaligned, memory for a `T` lies there, and nobody else uses it during the call.
pub(crate) unsafe fn give<T: Copy>(to: *mut T, value: T) -> Result<(), u32> {
    look(to)?;
    // SAFETY: not null and aligned, as was just looked at; the rest is this function's own condition. What was there before is
    // plain data and needs no drop.
    unsafe { to.write(value) };
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_that_touch_are_apart_and_those_that_share_a_byte_are_not() {
        let bytes = [0_u8; 8];
        let span = |from: usize, len| Span::from(bytes[from..].as_ptr(), len);
        assert_eq!(span(0, 4).apart_from(span(4, 4)), Ok(()));
        assert_eq!(span(4, 4).apart_from(span(0, 4)), Ok(()));
        assert_eq!(span(0, 5).apart_from(span(4, 4)), Err(returns::OVERLAP));
        assert_eq!(span(2, 0).apart_from(span(0, 8)), Ok(()));
    }

    #[test]
    fn null_and_misaligned_pointers_are_told() {
        let words = [0_u64; 2];
        let odd = words.as_ptr().cast::<u8>().wrapping_add(1).cast::<u64>();
        assert_eq!(look(core::ptr::null::<u64>()), Err(returns::NULL));
        assert_eq!(look(odd), Err(returns::MISALIGNED));
        assert_eq!(look(words.as_ptr()), Ok(()));
    }
}
