//! The example loader in C: built by gcc-arm-none-eabi against the static library, and put through the same cases in the emulator
//! as the port in Rust. Both are compared, byte for byte, with the same simulation, and so with one another.

use crate::check::{Outcome, Passed};
use crate::library;
use crate::run::{House, capture, run};
use std::fs;
use std::path::Path;

/// The emulated machine's processor.
const TARGET: &str = "thumbv7em-none-eabi";

pub(crate) fn check(house: &House) -> Outcome {
    let library = library::for_unit(house, TARGET)?;
    let out = house.target.join("c-example");
    let mut make = house.command("make");
    make.args(["--silent", "-C", "ports/c-example", "mps2"])
        .arg(format!("LIBRARY={}", library.display()))
        .arg(format!("OUT={}", out.display()));
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
    let judged = judged(house, &out)?;
    Ok(Passed::Holds(format!(
        "{cases} power-ups in the emulator left the same flash as in the simulation; the judge of ports said: {judged}"
    )))
}

/// Puts the same program before the judge of ports, in the emulator; the judge's conclusion.
fn judged(house: &House, out: &Path) -> Result<String, String> {
    let unit = out.join("judged");
    let put = |name: &str, content: &[u8]| {
        let file = unit.join(name);
        fs::write(&file, content).map_err(|error| format!("{}: {error}", file.display()))
    };
    fs::create_dir_all(&unit).map_err(|error| format!("{}: {error}", unit.display()))?;
    put("bench.txt", b"serve\n")?;
    // Not erased, so that a driver that does not erase would show.
    put("flash.bin", &vec![0x5a; 512 << 10])?;
    let mut judge = house.cargo(&[
        "run",
        "--quiet",
        "--locked",
        "--package",
        "packstaff",
        "--",
        "port",
        "check",
        "--",
    ]);
    judge.arg("env").arg("-C").arg(&unit);
    judge
        .args([
            "qemu-system-arm",
            "-M",
            "mps2-an386",
            "-nographic",
            "-monitor",
            "none",
            "-serial",
            "none",
        ])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(out.join("loader-mps2.elf"));
    let said = capture(&mut judge)?;
    let said = String::from_utf8_lossy(&said);
    let conclusion = said.lines().rfind(|line| line.contains("cases hold."));
    conclusion
        .map(str::to_owned)
        .ok_or_else(|| format!("the judge did not conclude that all cases hold; it said:\n{said}"))
}
