//! Puts a bare-metal port through its cases in the emulator, and compares its flash, byte for byte, with the simulation's.
//!
//! `port-proof PROGRAM FIRMWARE`: the port's ELF file, and the folder with the demo firmware's images for board Q. `cargo xtask
//! check port` builds both.
//!
//! `port-proof --measure PROGRAM FIRMWARE` prints figures instead, a line for each.

mod cases;
mod emulator;
mod figures;
mod unit;

use cases::{Firmware, Proof};
use emulator::Emulator;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match arguments.as_slice() {
        [program, firmware] => prove(Path::new(program), Path::new(firmware)),
        ["--measure", program, firmware] => measure(Path::new(program), Path::new(firmware)),
        _ => Err("usage: port-proof [--measure] PROGRAM FIRMWARE".to_owned()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn images(firmware: &Path) -> Result<Firmware, String> {
    let image = |version: &str| {
        let file = firmware.join(version).join("kc4-q.bin");
        std::fs::read(&file).map_err(|error| format!("{}: {error}", file.display()))
    };
    Ok(Firmware {
        old: image("1.8")?,
        middle: image("2.0")?,
        new: image("2.1")?,
    })
}

/// Bytes of the image whose install is measured: nearly all that the slot holds.
const MEASURED: usize = 400 << 10;

fn measure(program: &Path, firmware: &Path) -> Result<(), String> {
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let mut proof = Proof::new(Emulator::new(program, folder.path())?, false)?;
    let measured = proof.measure(&images(firmware)?, MEASURED)?;
    print!("{}", measured.report(MEASURED as u64));
    Ok(())
}

fn prove(program: &Path, firmware: &Path) -> Result<(), String> {
    let firmware = images(firmware)?;
    for overlap in [false, true] {
        let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
        let mut proof = Proof::new(Emulator::new(program, folder.path())?, overlap)?;
        proof.all(&firmware)?;
        println!(
            "   {}: {} cases, the emulator powered {} times",
            if overlap {
                "going on while flash is busy"
            } else {
                "waiting for flash"
            },
            proof.cases,
            proof.powered
        );
    }
    Ok(())
}
