//! Copies the installer's and the keeper's own sources once for each mutation, with the mutation's patch applied.
//!
//! A mutation is one file: what the mistake is, and then the changes, written as a unified diff without line numbers:
//!
//! ```text
//! The payload is not checked as a whole before the erase.
//!
//! @@ stages/examine.rs
//! -                Turn::Over(Outcome::Confirmed(plan))
//! +                Turn::Over(Outcome::Sound(plan))
//! ```
//!
//! What a change takes away, with the lines around it that it shows, must be in the file exactly once; else the build fails, and the
//! patch is to be mended. So a mutation cannot go stale in silence.

mod patch;

use patch::Patch;
use std::collections::BTreeSet;
use std::error::Error;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::{env, fs};

/// A machine that is copied and mutated.
struct Original {
    /// Where its sources lie, from this crate's folder.
    sources: &'static str,
    /// The modules that are copied. They are all that decides; what they have in common with their users is shared with the original:
    /// types of requests, replies, configurations and records.
    copied: &'static [&'static str],
    /// Modules that are not copied.
    shared: &'static [&'static str],
    /// The module with the machine.
    machine: &'static str,
    /// What it is called.
    name: &'static str,
    /// The type that a mutation's machine is of.
    kind: &'static str,
}

const INSTALLER: Original = Original {
    sources: "../../unit-side/installer/src",
    copied: &["buffer.rs", "machine.rs", "stages"],
    shared: &[
        "config",
        "descriptor",
        "geometry",
        "listing",
        "progress",
        "reason",
        "register",
        "request",
    ],
    machine: "machine",
    name: "Installer",
    kind: "Installer",
};

const KEEPER: Original = Original {
    sources: "../../unit-side/keeper/src",
    copied: &["check.rs", "keeper.rs", "kept.rs", "ring.rs", "ring"],
    shared: &["carry", "config", "record", "request", "table"],
    machine: "keeper",
    name: "Keeper",
    kind: "Keeper::<ROOM, ASIDE>",
};

/// A family of mutations of one machine: an enumeration of its own.
struct Family {
    original: &'static Original,
    /// The module here that has the enumeration, and the folder of the patches.
    module: &'static str,
    /// The enumeration.
    name: &'static str,
    what: &'static str,
}

const FAMILIES: [Family; 3] = [
    Family {
        original: &INSTALLER,
        module: "installer",
        name: "Mutation",
        what: "A mistake that somebody who writes an installer could make.",
    },
    Family {
        original: &INSTALLER,
        module: "disturbed",
        name: "Skipped",
        what: "One decision that a disturbed processor passes by: the instruction that takes the other branch is skipped, each time.\n\
               ///\n\
               /// These are no mistakes of ours, and no claim may break under either of them: what decides that an image is started \
               is decided twice, from values that do not depend on each other.",
    },
    Family {
        original: &KEEPER,
        module: "keeper",
        name: "Mutation",
        what: "A mistake that somebody who writes a settings store could make.",
    },
];

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo::rustc-check-cfg=cfg(feature, values(\"explored\", \"by-descriptor\"))");
    println!("cargo::rustc-cfg=feature=\"explored\"");
    println!("cargo::rerun-if-changed=build");
    let here = PathBuf::from(env::var("CARGO_MANIFEST_DIR")?);
    let out = PathBuf::from(env::var("OUT_DIR")?);
    for family in FAMILIES {
        println!("cargo::rerun-if-changed={}", family.module);
        println!("cargo::rerun-if-changed={}", family.original.sources);
        let patches = Patch::all(&here.join(family.module))?;
        for patch in &patches {
            mutate(&here, &out, &family, patch)?;
        }
        fs::write(
            out.join(format!("{}.rs", family.module)),
            enumeration(&out, &family, &patches)?,
        )?;
    }
    Ok(())
}

/// One mutated copy.
fn mutate(here: &Path, out: &Path, family: &Family, patch: &Patch) -> Result<(), Box<dyn Error>> {
    let original = family.original;
    let sources = here.join(original.sources);
    let module = patch.module();
    let copy = out.join(family.module).join(&module);
    let mut left: Vec<_> = patch.changes.iter().collect();
    for file in files(&sources, original.copied)? {
        let mut text = fs::read_to_string(sources.join(&file))?;
        for change in patch.changes.iter().filter(|change| Path::new(&change.file) == file) {
            text = change.apply(&text).map_err(|why| format!("{}: {why}", patch.name))?;
            left.retain(|other| !std::ptr::eq(*other, change));
        }
        // The original's tests stand last, and stay with it.
        let text = text.split("\n#[cfg(test)]\n").next().unwrap_or_default();
        let text = text.replace("crate::", &format!("crate::{}::{module}::", family.module));
        let to = copy.join(&file);
        fs::create_dir_all(to.parent().unwrap_or(&copy))?;
        fs::write(to, text)?;
    }
    match left.first() {
        Some(change) => Err(format!("{}: {} is not copied, or not there", patch.name, change.file).into()),
        None => Ok(()),
    }
}

/// The files below `sources` that are copied, from there.
fn files(sources: &Path, copied: &[&str]) -> Result<Vec<PathBuf>, Box<dyn Error>> {
    let mut found = Vec::new();
    for name in copied {
        let path = sources.join(name);
        if !path.is_dir() {
            found.push(PathBuf::from(name));
            continue;
        }
        for entry in fs::read_dir(path)? {
            found.push(Path::new(name).join(entry?.file_name()));
        }
    }
    Ok(found)
}

/// The enumeration of a family, and the modules that it stands for.
fn enumeration(out: &Path, family: &Family, patches: &[Patch]) -> Result<String, Box<dyn Error>> {
    let Original { kind, .. } = family.original;
    let Family { module, name, what, .. } = family;
    let (mut variants, mut all, mut arms, mut modules) = (String::new(), String::new(), String::new(), String::new());
    for patch in patches {
        let (variant, own) = (patch.variant(), patch.module());
        for line in patch.what.lines() {
            writeln!(variants, "    /// {line}")?;
        }
        writeln!(variants, "    {variant},")?;
        writeln!(all, "        Self::{variant},")?;
        writeln!(
            arms,
            "            Self::{variant} => Machine::of({own}::{kind}::new()),"
        )?;
        let at = out.join(module).join(&own).join("mod.rs");
        writeln!(
            modules,
            "#[path = {at:?}]\n#[allow(warnings, clippy::all)]\npub mod {own};\nmachine!({own});"
        )?;
        fs::write(at, root(family.original, &patch.what)?)?;
    }
    Ok(format!(
        "/// {what}\n#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]\npub enum {name} {{\n{variants}}}\n\n\
         impl {name} {{\n    /// All of them.\n    pub const ALL: &[Self] = &[\n{all}    ];\n\n    \
         /// A machine with it, at power-up.\n    pub fn machine(self) -> Machine {{\n        match self {{\n{arms}        }}\n    }}\n}}\n\n\
         {modules}"
    ))
}

/// The module of one copy, with what it shares.
fn root(original: &Original, what: &str) -> Result<String, Box<dyn Error>> {
    let Original {
        shared, machine, name, ..
    } = original;
    let mut text = format!("//! {}\n\n", what.replace('\n', "\n//! "));
    writeln!(
        text,
        "use crate::{}_shared::{{{}}};",
        name.to_lowercase(),
        shared.join(", ")
    )?;
    let copied = original.copied.iter().map(|file| file.trim_end_matches(".rs"));
    for child in copied.collect::<BTreeSet<_>>() {
        writeln!(text, "mod {child};")?;
    }
    writeln!(text, "pub use {machine}::{name};")?;
    Ok(text)
}
