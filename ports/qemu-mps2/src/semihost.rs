//! The host's files and console, by Arm's "Semihosting for AArch32 and AArch64" (ARM-software/abi-aa).

use core::arch::asm;
use core::ffi::CStr;

const SYS_OPEN: usize = 0x01;
const SYS_WRITEC: usize = 0x03;
const SYS_WRITE: usize = 0x05;
const SYS_READ: usize = 0x06;
const SYS_SEEK: usize = 0x0A;
const SYS_FLEN: usize = 0x0C;
const SYS_EXIT: usize = 0x18;
const APPLICATION_EXIT: usize = 0x2_0026;

fn call(operation: usize, argument: usize) -> usize {
    let mut result = operation;
    // SAFETY: the emulator takes this instruction for a call; it reads and writes only what the parameter block names, and
    // every caller's block names memory that is borrowed for as long as this takes.
    unsafe { asm!("bkpt 0xAB", inout("r0") result, in("r1") argument, options(nostack)) };
    result
}

/// Leaves the emulator.
pub fn exit() -> ! {
    loop {
        call(SYS_EXIT, APPLICATION_EXIT);
    }
}

/// Prints bytes.
pub fn print(text: &str) {
    for byte in text.as_bytes() {
        call(SYS_WRITEC, &raw const *byte as usize);
    }
}

/// Prints a number in decimal digits.
pub fn print_number(number: u32) {
    let mut left = number;
    let mut digits = [b'0'; 10];
    let mut first = 9;
    for (index, digit) in digits.iter_mut().enumerate().rev() {
        *digit = b'0' + (left % 10) as u8;
        left /= 10;
        if *digit != b'0' {
            first = index;
        }
    }
    for digit in digits.iter().skip(first) {
        call(SYS_WRITEC, &raw const *digit as usize);
    }
}

/// An open file of the host.
pub struct File(usize);

/// What a file is opened for.
#[derive(Clone, Copy)]
#[repr(usize)]
pub enum Mode {
    /// Reading.
    Read = 1,
    /// Reading, and writing over what is there.
    Change = 3,
}

impl File {
    /// Opens a file in the emulator's working folder; `None` if there is none.
    pub fn open(name: &CStr, mode: Mode) -> Option<Self> {
        let block = [name.as_ptr() as usize, mode as usize, name.count_bytes()];
        let handle = call(SYS_OPEN, block.as_ptr() as usize);
        (handle != usize::MAX).then_some(Self(handle))
    }

    /// Bytes of the file.
    pub fn len(&self) -> u32 {
        let block = [self.0];
        let len = call(SYS_FLEN, block.as_ptr() as usize);
        if len == usize::MAX { 0 } else { len as u32 }
    }

    fn seek(&self, at: u32) -> bool {
        let block = [self.0, at as usize];
        call(SYS_SEEK, block.as_ptr() as usize) == 0
    }

    /// Reads all of `to` from `at` on; how many bytes there were.
    pub fn read_at(&self, at: u32, to: &mut [u8]) -> usize {
        if !self.seek(at) {
            return 0;
        }
        let block = [self.0, to.as_mut_ptr() as usize, to.len()];
        let missing = call(SYS_READ, block.as_ptr() as usize);
        to.len().saturating_sub(missing)
    }

    /// Writes all of `from` at `at`; whether that was possible.
    pub fn write_at(&self, at: u32, from: &[u8]) -> bool {
        let block = [self.0, from.as_ptr() as usize, from.len()];
        self.seek(at) && call(SYS_WRITE, block.as_ptr() as usize) == 0
    }
}
