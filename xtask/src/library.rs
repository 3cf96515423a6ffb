//! The static libraries for loaders in C, one for each processor and one for this machine.
//!
//! `cargo xtask library` puts them, with the header, into `target/library/<processor>/`.

use crate::bare::{Bare, TARGETS};
use crate::run::{House, run};
use std::fs;
use std::path::PathBuf;

/// The package behind them.
const PACKAGE: &str = "packstaff-c-interface";
/// The library's file.
pub(crate) const FILE: &str = "libpackstaff_installer.a";
const HEADER: &str = "packstaff_installer.h";
const ARGUMENTS: [&str; 7] = [
    "--package",
    PACKAGE,
    "--lib",
    "--crate-type",
    "staticlib",
    "--profile",
    "unit",
];

/// Where all of them go.
fn folder(house: &House) -> PathBuf {
    house.target.join("library")
}

/// Builds the library for a processor; where it lies.
pub(crate) fn for_unit(house: &House, target: &'static str) -> Result<PathBuf, String> {
    let bare = Bare::find(house, target)?;
    let mut cargo = bare.cargo("rustc");
    run(cargo.args(ARGUMENTS).args(["--features", "panic-handler"]))?;
    keep(house, target, &bare.folder().join(target).join("unit").join(FILE))
}

/// Builds the library for this machine; where it lies.
pub(crate) fn for_host(house: &House) -> Result<PathBuf, String> {
    let mut cargo = house.cargo(&["rustc", "--locked", "--quiet"]);
    run(cargo.args(ARGUMENTS).env("CARGO_TARGET_DIR", &house.target))?;
    keep(house, "host", &house.target.join("unit").join(FILE))
}

fn keep(house: &House, name: &str, built: &PathBuf) -> Result<PathBuf, String> {
    let folder = folder(house).join(name);
    let copy = |from: &PathBuf, to: PathBuf| {
        fs::copy(from, &to).map_err(|error| format!("{} cannot be copied to {}: {error}", from.display(), to.display()))
    };
    fs::create_dir_all(&folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    copy(&house.root.join("include").join(HEADER), folder.join(HEADER))?;
    copy(built, folder.join(FILE))?;
    Ok(folder.join(FILE))
}

/// All of them.
pub(crate) fn chore(house: &House) -> Result<(), String> {
    for target in TARGETS {
        println!("{}", for_unit(house, target)?.display());
    }
    println!("{}", for_host(house)?.display());
    Ok(())
}
