//! General tools that the tests compare with. Every one is in Debian 12; where this program may, it installs them.

use crate::check::{Outcome, Passed};
use crate::run::{House, capture, run, which};
use crate::{bare, python};
use std::collections::BTreeSet;
use std::path::Path;

/// A program and the Debian package that has it.
const TOOLS: [(&str, &str); 43] = [
    ("age", "age"),
    ("age-keygen", "age"),
    ("arm-none-eabi-gcc", "gcc-arm-none-eabi"),
    ("arm-none-eabi-objcopy", "binutils-arm-none-eabi"),
    ("arm-none-eabi-readelf", "binutils-arm-none-eabi"),
    ("arm-none-eabi-size", "binutils-arm-none-eabi"),
    ("bash", "bash"),
    ("clang", "clang"),
    ("dd", "coreutils"),
    ("env", "coreutils"),
    ("fsck.vfat", "dosfstools"),
    ("g++", "g++"),
    ("gcc", "gcc"),
    ("git", "git"),
    ("grep", "grep"),
    ("gzip", "gzip"),
    ("make", "make"),
    ("mattrib", "mtools"),
    ("mcopy", "mtools"),
    ("mdel", "mtools"),
    ("mdir", "mtools"),
    ("mke2fs", "e2fsprogs"),
    ("mkfs.exfat", "exfatprogs"),
    ("mkfs.fat", "dosfstools"),
    ("mkfs.ntfs", "ntfs-3g"),
    ("mmd", "mtools"),
    ("mren", "mtools"),
    ("mtype", "mtools"),
    ("openssl", "openssl"),
    ("python3", "python3"),
    ("qemu-system-arm", "qemu-system-arm"),
    ("setsid", "util-linux"),
    ("sfdisk", "fdisk"),
    ("sgdisk", "gdisk"),
    ("sha256sum", "coreutils"),
    ("spin", "spin"),
    ("srec_cat", "srecord"),
    ("stty", "coreutils"),
    ("timeout", "coreutils"),
    ("truncate", "coreutils"),
    ("wasm-ld", "lld"),
    ("xorriso", "xorriso"),
    ("zip", "zip"),
];

/// Packages that are missing.
fn missing(house: &House) -> BTreeSet<&'static str> {
    let programs = TOOLS.iter().filter(|(program, _)| which(program).is_none());
    let mut packages: BTreeSet<_> = programs.map(|(_, package)| *package).collect();
    // Headers, without which gcc compiles little.
    if !Path::new("/usr/include/stdio.h").exists() {
        packages.insert("libc6-dev");
    }
    if !python::can_make_environments() {
        packages.insert("python3-venv");
    }
    if !bare::missing(house).is_empty() {
        packages.extend(bare::DEBIAN.split(' '));
    }
    packages
}

pub(crate) fn check(house: &House) -> Outcome {
    add_targets(house);
    let packages = missing(house);
    if packages.is_empty() {
        return Ok(Passed::Holds(format!("{} programs are there", TOOLS.len())));
    }
    let list = packages.iter().copied().collect::<Vec<_>>().join(" ");
    let by_hand = format!("apt-get update && apt-get install --no-install-recommends {list}");
    if which("apt-get").is_none() {
        return Err(format!(
            "programs are missing. On Debian 12 they come with: {by_hand}\nElsewhere, install what gives the same programs."
        ));
    }
    if !is_root(house) {
        return Err(format!(
            "programs are missing. Install them with: sudo sh -c '{by_hand}'"
        ));
    }
    println!("   installing {list}");
    let apt = |arguments: &[&str]| {
        let mut command = house.command("apt-get");
        run(command.args(arguments).env("DEBIAN_FRONTEND", "noninteractive"))
    };
    apt(&["update", "--quiet=2"])?;
    let install = ["install", "--yes", "--quiet=2", "--no-install-recommends"];
    let arguments: Vec<&str> = install.into_iter().chain(packages.iter().copied()).collect();
    apt(&arguments)?;
    let still = missing(house);
    if still.is_empty() {
        return Ok(Passed::Holds(format!("installed {list}")));
    }
    let still = still.iter().copied().collect::<Vec<_>>().join(" ");
    Err(format!(
        "apt-get installed {list}, and yet the programs of {still} are not there"
    ))
}

/// Asks rustup for the core libraries of the units' processors. Where it has none to give, Debian's compiler stands in.
fn add_targets(house: &House) {
    let targets = bare::missing(house);
    if targets.is_empty() || which("rustup").is_none() {
        return;
    }
    if let Err(why) = run(house.command("rustup").args(["target", "add"]).args(&targets)) {
        println!("   {why}; Debian's compiler will do");
    }
}

fn is_root(house: &House) -> bool {
    capture(house.command("id").arg("-u")).is_ok_and(|said| said.trim_ascii() == b"0")
}
