//! The fuzz targets. They are run by `cargo fuzz`, which needs a nightly compiler; that they compile is checked here.

use crate::check::{Outcome, Passed};
use crate::run::{House, run};

pub(crate) fn check(house: &House) -> Outcome {
    let mut cargo = house.cargo(&["check", "--quiet", "--locked", "--manifest-path", "fuzz/Cargo.toml"]);
    cargo.env("CARGO_TARGET_DIR", house.target.join("fuzz"));
    run(&mut cargo)?;
    Ok(Passed::Holds("they compile".to_owned()))
}
