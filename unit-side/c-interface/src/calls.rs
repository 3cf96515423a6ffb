//! The calls. The header says what each does, in the words of C; here is why each holds.
//!
//! Every call returns one of [`returns`] and changes nothing unless it returns `OK`.

#![allow(unsafe_code, reason = "the C interface itself")]
// The C side's names.
#![allow(
    clippy::missing_safety_doc,
    reason = "one condition for all, at the top of the header and of this file"
)]

use crate::config::Taken;
use crate::pointer::{Span, give, look, shared, slice};
use crate::storage::{Machine, begin, end, held};
use crate::types::{Config, DigestStorage, InstallerStorage, Progress, Release, Reply, Request, Row, faults, returns};
use crate::{reply, request, rows};
use packstaff_envelope::Sha256;
use packstaff_installer::Installer;

/// Runs a call and gives its return code.
fn returned(call: impl FnOnce() -> Result<(), u32>) -> u32 {
    match call() {
        Ok(()) => returns::OK,
        Err(code) => code,
    }
}

// The conditions of all calls, as the header states them: a pointer that is not null leads to memory of the type's size that
// is initialised where it is read; arrays are as long as stated; nobody else uses that memory during the call; storage that was
// begun is changed by these calls alone (moving it as bytes is no change).

/// Looks for what a board's author got wrong in `config`; `fault` gets one of [`faults`].
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_config_check(config: *const Config, fault: *mut u32) -> u32 {
    returned(|| {
        look(fault)?;
        // SAFETY: the conditions of all calls.
        let taken = unsafe { Taken::from(config) };
        let checked = taken.and_then(|taken| taken.check());
        let (code, found) = match checked {
            Ok(()) => (returns::OK, faults::NONE),
            Err(refused) => (refused.code, refused.fault),
        };
        // SAFETY: the conditions of all calls.
        unsafe { give(fault, found) }?;
        match code {
            returns::OK => Ok(()),
            code => Err(code),
        }
    })
}

/// Begins a machine in `size` bytes of storage.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_installer_begin(
    machine: *mut InstallerStorage,
    size: u32,
    config: *const Config,
) -> u32 {
    returned(|| {
        look(machine)?;
        {
            // SAFETY: the conditions of all calls.
            let taken = unsafe { Taken::from(config) }.map_err(|refused| refused.code)?;
            taken.check().map_err(|refused| refused.code)?;
            taken.apart_from(Span::of(machine))?;
        }
        let fresh = Machine {
            installer: Installer::new(),
            asked: 0,
            asked_len: 0,
        };
        // SAFETY: the conditions of all calls.
        unsafe { begin(machine, size, fresh) }
    })
}

/// Takes the reply to the last request and makes the next one.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_installer_step(
    machine: *mut InstallerStorage,
    config: *const Config,
    reply: *const Reply,
    request: *mut Request,
) -> u32 {
    returned(|| {
        let storage = Span::of(machine);
        // SAFETY: the conditions of all calls. The reply is copied, so that it may lie anywhere.
        let reply = unsafe { *shared(reply)? };
        look(request)?;
        storage.apart_from(Span::of(request))?;
        // SAFETY: the conditions of all calls.
        let taken = unsafe { Taken::from(config) }.map_err(|refused| refused.code)?;
        taken.apart_from(storage)?;
        taken.apart_from(Span::of(request))?;
        // SAFETY: the conditions of all calls, and nothing else that is read here lies in the storage, as was just looked at.
        let held = unsafe { held::<Machine>(machine) }?;
        // SAFETY: the conditions of all calls.
        let reply = unsafe { reply::take(reply, held.asked, held.asked_len, storage) }?;
        let next = request::give(held.installer.step(&taken.view(), reply));
        held.asked = next.kind;
        held.asked_len = next.len;
        // SAFETY: the conditions of all calls.
        unsafe { give(request, next) }
    })
}

/// What the unit is doing.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_installer_progress(
    machine: *mut InstallerStorage,
    config: *const Config,
    progress: *mut Progress,
) -> u32 {
    returned(|| {
        look(machine)?;
        look(progress)?;
        Span::of(machine).apart_from(Span::of(progress))?;
        // SAFETY: the conditions of all calls.
        let taken = unsafe { Taken::from(config) }.map_err(|refused| refused.code)?;
        taken.apart_from(Span::of(machine))?;
        // SAFETY: the conditions of all calls.
        let now = unsafe { held::<Machine>(machine) }?.installer.progress(&taken.view());
        let now = Progress {
            phase: rows::phase(now.phase),
            done: now.done,
            total: now.total,
        };
        // SAFETY: the conditions of all calls.
        unsafe { give(progress, now) }
    })
}

/// A row of what the stick holds.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_installer_row(machine: *mut InstallerStorage, index: u32, row: *mut Row) -> u32 {
    returned(|| {
        look(machine)?;
        look(row)?;
        Span::of(machine).apart_from(Span::of(row))?;
        // SAFETY: the conditions of all calls.
        let listing = unsafe { held::<Machine>(machine) }?.installer.listing();
        let found = rows::row(listing.row(index as usize).ok_or(returns::NOTHING)?);
        // SAFETY: the conditions of all calls.
        unsafe { give(row, found) }
    })
}

/// How many files found no row.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_installer_left_out(machine: *mut InstallerStorage, count: *mut u32) -> u32 {
    returned(|| {
        look(machine)?;
        look(count)?;
        Span::of(machine).apart_from(Span::of(count))?;
        // SAFETY: the conditions of all calls.
        let left_out = unsafe { held::<Machine>(machine) }?.installer.listing().left_out;
        // SAFETY: the conditions of all calls.
        unsafe { give(count, u32::from(left_out)) }
    })
}

/// What is installed and may be started.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_installer_installed(machine: *mut InstallerStorage, release: *mut Release) -> u32 {
    returned(|| {
        look(machine)?;
        look(release)?;
        Span::of(machine).apart_from(Span::of(release))?;
        // SAFETY: the conditions of all calls.
        let installed = unsafe { held::<Machine>(machine) }?.installer.installed();
        let found = rows::installed(installed.ok_or(returns::NOTHING)?);
        // SAFETY: the conditions of all calls.
        unsafe { give(release, found) }
    })
}

/// Ends a machine: its storage is overwritten.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_installer_end(machine: *mut InstallerStorage) -> u32 {
    // SAFETY: the conditions of all calls.
    returned(|| unsafe { end::<Machine>(machine) })
}

/// Begins a digest in `size` bytes of storage.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_digest_begin(digest: *mut DigestStorage, size: u32) -> u32 {
    // SAFETY: the conditions of all calls.
    returned(|| unsafe { begin(digest, size, Sha256::new()) })
}

/// Takes in `len` bytes.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_digest_add(digest: *mut DigestStorage, bytes: *const u8, len: u32) -> u32 {
    returned(|| {
        let storage = Span::of(digest);
        storage.apart_from(Span::from(bytes, len as usize))?;
        // SAFETY: the conditions of all calls. No object in C is larger than half of the address space.
        let bytes = unsafe { slice(bytes, len as usize) }?;
        // SAFETY: the conditions of all calls, and the bytes do not lie in the storage, as was just looked at.
        unsafe { held::<Sha256>(digest) }?.update(bytes);
        Ok(())
    })
}

/// Gives the digest, and ends it: the storage is overwritten.
///
/// # Safety
/// The conditions of all calls.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn packstaff_digest_end(digest: *mut DigestStorage, out: *mut [u8; 32]) -> u32 {
    returned(|| {
        look(digest)?;
        look(out)?;
        Span::of(digest).apart_from(Span::of(out))?;
        // SAFETY: the conditions of all calls.
        let value = unsafe { held::<Sha256>(digest) }?.clone().finish();
        // SAFETY: the conditions of all calls.
        unsafe { give(out, value) }?;
        // SAFETY: the conditions of all calls.
        unsafe { end::<Sha256>(digest) }
    })
}
