//! Licences of dependencies, and what is known against them.

use crate::check::{Outcome, Passed};
use crate::metadata::{Metadata, Package};
use crate::run::{House, capture, run};
use spdx::{Expression, LicenseItem, ParseMode};
use std::path::PathBuf;

/// Licences that let a program be passed on under MIT or Apache-2.0 if their text goes with it. MPL-2.0 asks more: changed
/// files of such a library must be published; we change none.
const KEPT: [&str; 12] = [
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BlueOak-1.0.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MPL-2.0",
    "NCSA",
    "Unicode-3.0",
    "Zlib",
];

pub(crate) fn check(house: &House) -> Outcome {
    let mut packages = Vec::new();
    for manifest in ["Cargo.toml", "fuzz/Cargo.toml", "ports/qemu-mps2/Cargo.toml"] {
        packages.extend(Metadata::of(house, manifest)?.packages);
    }
    packages.retain(|package| package.source.is_some());
    packages.sort_by(|one, other| (&one.name, &one.version).cmp(&(&other.name, &other.version)));
    packages.dedup_by(|one, other| one.name == other.name && one.version == other.version);
    let faults: Vec<String> = packages.iter().filter_map(|package| fault(package).err()).collect();
    if faults.is_empty() {
        return Ok(Passed::Holds(format!("those of {} packages", packages.len())));
    }
    let kept = KEPT.join(", ");
    Err(format!(
        "{}\nKept are {kept}. Choose another library, or add a licence to the list in xtask/src/licences.rs after reading it.",
        faults.join("\n")
    ))
}

fn fault(package: &Package) -> Result<(), String> {
    let who = format!("{} {}", package.name, package.version);
    let text = package
        .license
        .as_deref()
        .ok_or_else(|| format!("{who} states no licence"))?;
    match may_keep(text) {
        Ok(true) => Ok(()),
        Ok(false) => Err(format!("{who} is under {text}")),
        Err(why) => Err(format!("{who} states {text:?}, which is no SPDX expression: {why}")),
    }
}

/// Whether the expression leaves a choice that is kept. Older packages write `/` for OR.
fn may_keep(text: &str) -> Result<bool, spdx::ParseError> {
    let mode = ParseMode {
        allow_slash_as_or_operator: true,
        ..ParseMode::STRICT
    };
    let expression = Expression::parse_mode(text, mode)?;
    Ok(expression.evaluate(|requirement| match &requirement.license {
        LicenseItem::Spdx { id, .. } => KEPT.contains(&id.name),
        LicenseItem::Other(_) => false,
    }))
}

/// Tools that compare Cargo.lock with the advisory database of RustSec; where each keeps its copy, in cargo's home; and how each
/// is told to use no network.
const AUDITORS: [(&str, &str, &[&str]); 2] = [
    (
        "cargo-deny",
        "advisory-dbs",
        &["deny", "--offline", "check", "advisories"],
    ),
    (
        "cargo-audit",
        "advisory-db",
        &["audit", "--no-fetch", "--deny", "warnings"],
    ),
];

pub(crate) fn advisories(house: &House) -> Outcome {
    let home = std::env::var_os("CARGO_HOME").map(PathBuf::from);
    let home = home.or_else(|| Some(PathBuf::from(std::env::var_os("HOME")?).join(".cargo")));
    for (program, data, arguments) in AUDITORS {
        let has_data = home.as_ref().is_some_and(|home| home.join(data).is_dir());
        let verb = arguments.first().copied().unwrap_or_default();
        if has_data && capture(&mut house.cargo(&[verb, "--version"])).is_ok() {
            run(&mut house.cargo(arguments))?;
            return Ok(Passed::Holds(format!(
                "{program} finds none in its copy of the advisories"
            )));
        }
    }
    Ok(Passed::Skipped(
        "no tool with a copy of the advisories is here, and they cannot be had without a network. Where there is one: \
         `cargo install cargo-deny --locked && cargo deny check advisories`"
            .to_owned(),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_choice_needs_one_kept_licence_and_a_sum_needs_all() {
        assert_eq!(may_keep("Apache-2.0 OR GPL-2.0-only"), Ok(true));
        assert_eq!(may_keep("MIT/Apache-2.0"), Ok(true));
        assert_eq!(may_keep("(MIT OR Apache-2.0) AND Unicode-3.0"), Ok(true));
        assert_eq!(may_keep("MIT AND GPL-2.0-only"), Ok(false));
        assert_eq!(may_keep("AGPL-3.0-only"), Ok(false));
        assert_eq!(may_keep("LicenseRef-ours"), Ok(false));
        assert!(may_keep("do what you like").is_err());
    }

    #[test]
    fn every_kept_licence_is_an_spdx_identifier() {
        for name in KEPT {
            assert!(spdx::license_id(name).is_some_and(|id| id.name == name), "{name}");
        }
    }
}
