//! Python libraries that give second opinions, in a virtual environment of their own under the target folder.

use crate::check::{Outcome, Passed};
use crate::run::{House, capture, run};
use std::path::PathBuf;
use std::process::Command;

/// Every library with its version, also those that others need: the same ones on every machine.
const REQUIREMENTS: &str = include_str!("../python-requirements.txt");

fn environment(house: &House) -> PathBuf {
    house.target.join("check-venv")
}

/// The interpreter that has the libraries: the one that `PACKSTAFF_PYTHON` names, or else ours.
pub(crate) fn interpreter(house: &House) -> PathBuf {
    match std::env::var_os("PACKSTAFF_PYTHON") {
        Some(named) => PathBuf::from(named),
        None => environment(house).join("bin/python"),
    }
}

/// Whether the python3 here can make virtual environments; Debian keeps that in a package of its own.
pub(crate) fn can_make_environments() -> bool {
    let mut python = Command::new("python3");
    python.args(["-c", "import ensurepip, venv"]);
    capture(&mut python).is_ok()
}

pub(crate) fn check(house: &House) -> Outcome {
    let imports = "import cbor2, cryptography, pyhsslms, thermocouple_its90";
    if let Some(named) = std::env::var_os("PACKSTAFF_PYTHON") {
        capture(house.command(&named).args(["-c", imports])).map_err(|why| {
            format!("PACKSTAFF_PYTHON names a Python without the libraries of xtask/python-requirements.txt: {why}")
        })?;
        return Ok(Passed::Holds("those of PACKSTAFF_PYTHON are used".to_owned()));
    }
    let folder = environment(house);
    let stamp = folder.join("requirements-met.txt");
    if std::fs::read_to_string(&stamp).is_ok_and(|met| met == REQUIREMENTS)
        && capture(house.command(interpreter(house)).args(["-c", imports])).is_ok()
    {
        return Ok(Passed::Holds("they are there".to_owned()));
    }
    run(house.command("python3").args(["-m", "venv", "--clear"]).arg(&folder))?;
    let pip = [
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
        "--only-binary=:all:",
        "-r",
    ];
    let list = house.root.join("xtask/python-requirements.txt");
    run(house.command(interpreter(house)).args(pip).arg(&list)).map_err(|why| {
        format!(
            "{why}\nThe libraries come from PyPI: this needs a network once. Where there is none, install what \
             xtask/python-requirements.txt lists by other means and set PACKSTAFF_PYTHON to that Python."
        )
    })?;
    capture(house.command(interpreter(house)).args(["-c", imports]))?;
    std::fs::write(&stamp, REQUIREMENTS).map_err(|error| format!("{}: {error}", stamp.display()))?;
    Ok(Passed::Holds(format!("installed into {}", folder.display())))
}
