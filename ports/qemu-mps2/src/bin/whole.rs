//! The installer alone, linked as a unit links it: for weighing, and to show that no way into a panic is left. Any processor.

#![no_std]
#![no_main]

#[cfg(target_arch = "arm")]
#[path = "../memory.rs"]
mod memory;
#[path = "../nopanic.rs"]
mod nopanic;

use installer::{Config, Installer, Progress, Reply, Request};

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
