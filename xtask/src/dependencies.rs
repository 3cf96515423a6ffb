//! Which way dependencies point. A unit links no host code: what a unit runs must stay small, free of a heap and of an
//! operating system, and the same on host and unit.

use crate::check::{Outcome, Passed};
use crate::metadata::{Metadata, Package};
use crate::run::House;

/// Packages that a unit links.
pub(crate) const UNIT_SIDE: [&str; 5] = [
    "packstaff-c-interface",
    "packstaff-envelope",
    "packstaff-fat",
    "packstaff-installer",
    "packstaff-keeper",
];

pub(crate) fn check(house: &House) -> Outcome {
    let metadata = Metadata::of(house, "Cargo.toml")?;
    let members: Vec<&Package> = metadata.members().collect();
    let unit_side: Vec<&&Package> = members
        .iter()
        .filter(|package| UNIT_SIDE.contains(&package.name.as_str()))
        .collect();
    let mut faults = Vec::new();
    for package in &unit_side {
        let ordinary = package
            .dependencies
            .iter()
            .filter(|dependency| dependency.kind.is_none());
        for ours in ordinary.filter(|dependency| dependency.path.is_some()) {
            if !UNIT_SIDE.contains(&ours.name.as_str()) {
                faults.push(format!(
                    "{} depends on {}, which no unit links",
                    package.name, ours.name
                ));
            }
        }
    }
    for package in &members {
        let listed = package
            .dependencies
            .iter()
            .any(|dependency| dependency.name == "packstaff");
        if listed {
            faults.push(format!("{} depends on the command line", package.name));
        }
    }
    if !faults.is_empty() {
        return Err(faults.join("\n"));
    }
    Ok(Passed::Holds(format!(
        "{} of {} packages are for units, and depend on no other",
        unit_side.len(),
        members.len()
    )))
}
