//! The packages for others, as cargo would send them to a registry. Nothing is sent.

use crate::check::{Outcome, Passed};
use crate::metadata::Metadata;
use crate::run::{House, run};

/// Packs every package for others, and builds each from what was packed. Cargo warns that there is no `repository`: the project has
/// no public address yet.
pub(crate) fn check(house: &House) -> Outcome {
    let metadata = Metadata::of(house, "Cargo.toml")?;
    let packages: Vec<&str> = metadata
        .members()
        .filter(|package| package.is_for_others())
        .map(|package| package.name.as_str())
        .collect();
    let mut pack = house.cargo(&["package", "--offline", "--locked", "--allow-dirty", "--quiet"]);
    pack.args(packages.iter().flat_map(|name| ["--package", name]));
    run(&mut pack)?;
    Ok(Passed::Holds(format!(
        "{} packages are whole: each was built from what was packed",
        packages.len()
    )))
}
