//! The installer alone, linked as a unit links it: for weighing, and to show that no way into a panic is left. Any processor.

#![no_std]
#![no_main]

#[cfg(target_arch = "arm")]
#[path = "../memory.rs"]
mod memory;
#[path = "../nopanic.rs"]
mod nopanic;

use core::mem::MaybeUninit;
use packstaff_installer::{Config, Installer, Progress, Reply, Request};

/// What a port sets aside: the machine, and a block of the stick.
#[unsafe(no_mangle)]
static mut MEMORY: MaybeUninit<(Installer, packstaff_fat::Block)> = MaybeUninit::uninit();

/// All that a port calls.
#[unsafe(no_mangle)]
pub fn step<'m>(machine: &'m mut Installer, config: &Config<'_>, reply: Reply<'_>) -> Request<'m> {
    machine.step(config, reply)
}

/// For a display.
#[unsafe(no_mangle)]
pub fn progress(machine: &Installer, config: &Config<'_>) -> Progress {
    machine.progress(config)
}

/// Where the machine lies, ready for its first step.
#[unsafe(no_mangle)]
pub fn machine() -> *mut Installer {
    let memory = (&raw mut MEMORY).cast::<Installer>();
    // SAFETY: memory of the right size and alignment, which a port's start-up code calls this for once.
    unsafe { memory.write(Installer::default()) };
    memory
}
