//! What lies in a caller's storage: a mark that says what it is, and the thing itself.
//!
//! The mark tells storage that was begun from storage that was not, whatever bytes it happens to hold: by chance the mark stands
//! there once in 2^64 times. It is plain data without a pointer in it, so a caller may move it about as bytes.

#![allow(unsafe_code, reason = "storage of a C caller")]

use crate::pointer::look;
use crate::types::{DIGEST_SIZE, DigestStorage, INSTALLER_SIZE, InstallerStorage, STORAGE_ALIGN, returns};
use core::mem::MaybeUninit;
use core::sync::atomic::{Ordering, compiler_fence};
use packstaff_envelope::Sha256;
use packstaff_installer::Installer;

/// What a machine's storage holds.
pub(crate) struct Machine {
    pub(crate) installer: Installer,
    /// The kind of the last request; 0 before the first.
    pub(crate) asked: u32,
    /// How many bytes it asked for, if it reads flash.
    pub(crate) asked_len: u32,
}

/// A thing that lives in a caller's storage.
pub(crate) trait Kept: Sized {
    /// The storage as C knows it.
    type Storage;
    /// Tells it from all else.
    const MARK: u64;
}

impl Kept for Machine {
    type Storage = InstallerStorage;
    const MARK: u64 = u64::from_le_bytes(*b"PksInst1");
}

impl Kept for Sha256 {
    type Storage = DigestStorage;
    const MARK: u64 = u64::from_le_bytes(*b"PksHash1");
}

#[repr(C)]
struct Held<T> {
    mark: u64,
    thing: T,
}

const _: () = assert!(size_of::<Held<Machine>>() <= INSTALLER_SIZE && align_of::<Held<Machine>>() <= STORAGE_ALIGN);
const _: () = assert!(size_of::<Held<Sha256>>() <= DIGEST_SIZE && align_of::<Held<Sha256>>() <= STORAGE_ALIGN);

/// Puts `thing` into the storage.
///
/// # Safety
/// If it is neither null nor misaligned, `size` bytes of memory lie there, which nobody else uses during the call.
pub(crate) unsafe fn begin<T: Kept>(storage: *mut T::Storage, size: u32, thing: T) -> Result<(), u32> {
    look(storage)?;
    if (size as usize) < size_of::<T::Storage>() {
        return Err(returns::TOO_SMALL);
    }
    let mark = T::MARK;
    // SAFETY: there are as many bytes as the storage has, and that is enough for what is written (asserted above), as is the
    // alignment. What was there before, if anything, holds nothing outside of itself and need not be dropped.
    unsafe { storage.cast::<Held<T>>().write(Held { mark, thing }) };
    Ok(())
}

/// The thing in the storage.
///
/// # Safety
/// If the pointer is neither null nor misaligned, the whole storage lies there; if it bears the mark, its bytes are those that
/// the calls of this library left there; nobody else uses them for as long as `'a`.
pub(crate) unsafe fn held<'a, T: Kept>(storage: *mut T::Storage) -> Result<&'a mut T, u32> {
    look(storage)?;
    let held = storage.cast::<Held<T>>();
    // SAFETY: inside of the storage and aligned. That the bytes may never have been written does not matter to a C caller's
    // memory: it holds some bytes.
    let mark = unsafe { (&raw const (*held).mark).read_volatile() };
    if mark != T::MARK {
        return Err(returns::NOT_BEGUN);
    }
    // SAFETY: the mark stands there, so `begin` has put a thing of this type there, which is whole by this function's condition.
    Ok(unsafe { &mut (*held).thing })
}

/// Overwrites the storage with zeros: its secrets, and its mark.
///
/// # Safety
/// As [`held`].
pub(crate) unsafe fn end<T: Kept>(storage: *mut T::Storage) -> Result<(), u32> {
    // SAFETY: this function's own condition.
    unsafe { held::<T>(storage) }?;
    let bytes = storage.cast::<MaybeUninit<u8>>();
    for at in 0..size_of::<T::Storage>() {
        // SAFETY: inside of the storage. Volatile, so that the compiler does not leave it out because nobody reads it.
        unsafe { bytes.add(at).write_volatile(MaybeUninit::new(0)) };
    }
    compiler_fence(Ordering::SeqCst);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Storage that is much too large is memory that every unit pays for.
    #[test]
    fn storage_is_not_wasted() {
        assert!(
            size_of::<Held<Machine>>() + 256 > INSTALLER_SIZE,
            "{}",
            size_of::<Held<Machine>>()
        );
        assert!(
            size_of::<Held<Sha256>>() + 32 > DIGEST_SIZE,
            "{}",
            size_of::<Held<Sha256>>()
        );
    }
}
