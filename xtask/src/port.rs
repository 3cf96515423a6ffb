//! The installer on bare metal: built for each processor, with no way into a panic left, and put through its cases in the emulator.

use crate::bare::{Bare, TARGETS};
use crate::check::{Outcome, Passed};
use crate::run::{House, capture, run};
use std::path::PathBuf;
use std::process::Command;

/// The emulated machine's processor.
pub(crate) const EMULATED: &str = "thumbv7em-none-eabi";
const MANIFEST: &str = "ports/qemu-mps2/Cargo.toml";

/// Builds one program of the port; where its ELF file lies. Its panic handler calls a function that does not exist, so that it
/// links only if nothing can panic.
pub(crate) fn build(house: &House, target: &'static str, program: &str, features: &[&str]) -> Result<PathBuf, String> {
    let bare = Bare::find(house, target)?;
    let mut cargo = bare.cargo("build");
    cargo.args(["--manifest-path", MANIFEST, "--profile", "unit", "--bin", program]);
    if !features.is_empty() {
        cargo.args(["--no-default-features", "--features", &features.join(",")]);
    }
    run(&mut cargo).map_err(|why| {
        format!(
            "{why}\nIf the linker did not find `a_way_into_a_panic_is_left`, then code of the unit can panic: the linker's \
             message names the handler, and a disassembly of a build with RUSTFLAGS='--cfg panics_stay' its callers."
        )
    })?;
    Ok(bare.folder().join(target).join("unit").join(program))
}

/// The demo's firmware for the emulated board; the folder with a folder for each version.
pub(crate) fn firmware(house: &House) -> Result<PathBuf, String> {
    let work = house.target.join("firmware");
    let mut make = house.command("make");
    make.args(["--silent", "--jobs=2", "-C", "demo/kc4/firmware"])
        .arg(format!("WORK={}", work.display()))
        .arg("q");
    run(&mut make)?;
    Ok(work.join("q"))
}

/// The program that runs the emulator.
pub(crate) fn proof(house: &House) -> Command {
    house.cargo(&["run", "--quiet", "--locked", "--package", "packstaff-port-proof", "--"])
}

pub(crate) fn check(house: &House) -> Outcome {
    for target in TARGETS {
        build(house, target, "whole", &[])?;
        if target.starts_with("thumb") && target != EMULATED {
            build(house, target, "qemu-mps2", &[])?;
        }
    }
    let port = build(house, EMULATED, "qemu-mps2", &[])?;
    let firmware = firmware(house)?;
    let said = capture(proof(house).arg(port).arg(firmware))?;
    let said = String::from_utf8_lossy(&said);
    let cases = said.lines().filter(|line| line.contains("same bytes:")).count();
    if cases == 0 {
        return Err(format!("no case was compared; the proof said:\n{said}"));
    }
    Ok(Passed::Holds(format!(
        "no way into a panic is linked for {}; {cases} power-ups in the emulator left the same flash as in the simulation",
        TARGETS.join(", ")
    )))
}
