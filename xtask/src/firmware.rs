//! The demo's firmware.

use crate::check::{Outcome, Passed};
use crate::python;
use crate::run::{House, run};

pub(crate) fn check(house: &House) -> Outcome {
    let folder = "demo/kc4/firmware";
    let work = format!("WORK={}", house.target.join("firmware").display());
    let make = |goal: &str, more: &[String]| {
        let mut make = house.command("make");
        make.args(["--silent", "--jobs=2", "--output-sync=target", "-C", folder])
            .arg(&work)
            .args(more)
            .arg(goal);
        run(&mut make)
    };
    make("check", &[])?;
    make(
        "second-opinion",
        &[format!("PYTHON={}", python::interpreter(house).display())],
    )?;
    run(house.command("sh").arg(format!("{folder}/rebuild-and-compare.sh")))?;
    Ok(Passed::Holds(
        "its tests pass, it fires the emulated kiln, and its builds are the committed ones byte for byte".to_owned(),
    ))
}
