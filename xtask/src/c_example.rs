//! The example loader in C: built by gcc-arm-none-eabi against the static library, and put through the same cases in the emulator
//! as the port in Rust. Both are compared, byte for byte, with the same simulation, and so with one another.

use crate::check::{Outcome, Passed};
use crate::library;
use crate::run::{House, capture, run};

/// The emulated machine's processor.
const TARGET: &str = "thumbv7em-none-eabi";

pub(crate) fn check(house: &House) -> Outcome {
    let library = library::for_unit(house, TARGET)?;
    let out = house.target.join("c-example");
    let mut make = house.command("make");
    make.args(["--silent", "-C", "ports/c-example", "mps2"])
        .arg(format!("LIBRARY={}", library.display()))
        .arg(format!("OUT={}", out.display()))
        .arg("LINK_FLAGS=-Wl,--defsym=packstaff_library_could_panic=0");
    run(&mut make)?;
    let work = house.target.join("firmware");
    let mut firmware = house.command("make");
    firmware
        .args(["--silent", "--jobs=2", "-C", "demo/kc4/firmware"])
        .arg(format!("WORK={}", work.display()))
        .arg("q");
    run(&mut firmware)?;
    let mut proof = house.cargo(&["run", "--quiet", "--locked", "--package", "packstaff-port-proof", "--"]);
    let said = capture(proof.arg(out.join("loader-mps2.elf")).arg(work.join("q")))?;
    let said = String::from_utf8_lossy(&said);
    let cases = said.lines().filter(|line| line.contains("same bytes:")).count();
    if cases == 0 {
        return Err(format!("no case was compared; the proof said:\n{said}"));
    }
    Ok(Passed::Holds(format!(
        "{cases} power-ups in the emulator left the same flash as in the simulation"
    )))
}
