//! The static libraries for loaders in C, one for each processor and one for this machine.
//!
//! `cargo xtask library` puts them, with the header, into `target/library/<processor>/`; the smaller ones for units with one
//! slot into `target/library/<processor>/one-place/`.

use crate::bare::{Bare, TARGETS};
use crate::run::{House, run};
use std::fs;
use std::path::PathBuf;

/// The package behind them.
const PACKAGE: &str = "packstaff-c-interface";
/// The library's file, as C code links it.
pub(crate) const FILE: &str = "libpackstaff_installer.a";
/// What cargo calls it.
const BUILT: &str = "libpackstaff_c_interface.a";
const HEADER: &str = "packstaff_installer.h";
/// Where the header lies.
const HEADERS: &str = "unit-side/c-interface/include";
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

/// How many images a unit can hold.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Places {
    /// One: what the others need is left out.
    One,
    /// One or two.
    Any,
}

/// Builds the library for a processor; where it lies.
pub(crate) fn for_unit(house: &House, target: &'static str, places: Places) -> Result<PathBuf, String> {
    let bare = Bare::find(house, target)?;
    let mut cargo = bare.cargo("rustc");
    let (features, folder) = match places {
        Places::One => ("panic-handler,one-place", format!("{target}/one-place")),
        Places::Any => ("panic-handler", target.to_owned()),
    };
    run(cargo.args(ARGUMENTS).args(["--features", features]))?;
    keep(house, &folder, &bare.folder().join(target).join("unit").join(BUILT))
}

/// Builds the library for this machine; where it lies.
pub(crate) fn for_host(house: &House) -> Result<PathBuf, String> {
    let mut cargo = house.cargo(&["rustc", "--locked", "--quiet"]);
    run(cargo.args(ARGUMENTS).env("CARGO_TARGET_DIR", &house.target))?;
    keep(house, "host", &house.target.join("unit").join(BUILT))
}

fn keep(house: &House, name: &str, built: &PathBuf) -> Result<PathBuf, String> {
    let folder = folder(house).join(name);
    let copy = |from: &PathBuf, to: PathBuf| {
        fs::copy(from, &to).map_err(|error| format!("{} cannot be copied to {}: {error}", from.display(), to.display()))
    };
    fs::create_dir_all(&folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    copy(&house.root.join(HEADERS).join(HEADER), folder.join(HEADER))?;
    copy(built, folder.join(FILE))?;
    Ok(folder.join(FILE))
}

/// All of them.
pub(crate) fn chore(house: &House) -> Result<(), String> {
    for target in TARGETS {
        for places in [Places::Any, Places::One] {
            println!("{}", for_unit(house, target, places)?.display());
        }
    }
    println!("{}", for_host(house)?.display());
    Ok(())
}
