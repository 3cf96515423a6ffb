//! The installer on bare metal, in QEMU's machine mps2-an386: an ordinary blocking port, with files of the host for what would
//! be soldered to it.
//!
//! The emulator's working folder is the unit: `flash.bin` lasts, `stick.img` is the stick if it is there, and `bench.txt` says
//! what the owner does (see [`owner::Script`]).

#![no_std]
#![no_main]

mod clock;
mod drive;
mod factory;
mod figures;
mod flash;
mod memory;
mod nopanic;
mod owner;
mod semihost;
mod start;
mod stick;

use semihost::print;

/// Called by the reset code, once.
#[unsafe(no_mangle)]
extern "C" fn run() -> ! {
    clock::start();
    let script = owner::Script::read();
    let ended = match flash::Flash::restore(script.cut) {
        Some(flash) => drive::drive(&script, flash),
        None => Err("there is no flash.bin of 524288 bytes"),
    };
    if let Err(why) = ended {
        print("fault: ");
        print(why);
        print("\n");
    }
    semihost::exit();
}
