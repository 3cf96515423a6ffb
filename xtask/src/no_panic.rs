//! Whether unit-side code can panic: read off what the compiler made of it, for a unit's processor.
//!
//! Every function lies in a section of its own, and a section's relocations name what it calls. From each function of ours
//! the calls are followed, through our crates and everything generic, until they end in one of the core library's panics or
//! in a function of another crate. The first is a fault. The second is counted, by crate, and is for that crate to answer:
//! whether its panics can be reached is not decided here.
//!
//! What this cannot see: endless loops, exhausted stacks, and panics inside the core library's own compiled functions (those
//! that print, mostly).

use crate::bare;
use crate::check::{Outcome, Passed};
use crate::dependencies::UNIT_SIDE;
use crate::metadata::{Metadata, Package};
use crate::run::{House, run};
use object::read::archive::ArchiveFile;
use object::{Object, ObjectSection, ObjectSymbol, RelocationTarget, SectionKind};
use std::collections::{BTreeMap, BTreeSet, HashMap, VecDeque};
use std::fs;
use std::path::{Path, PathBuf};

/// The smallest core that we serve: what it cannot do is called, not inlined, so that more is seen.
const TARGET: &str = "thumbv6m-none-eabi";

/// Functions that do not return, of the core library; by what is in their names.
const PANICS: [&str; 4] = ["core::panicking::", "_fail", "unwrap_failed", "expect_failed"];

/// The C interface shows the same by its link: with a way into a panic in it, no loader can be linked.
const C_INTERFACE: &str = "packstaff-c-interface";

/// What the compiler calls where the processor has no instruction: memory and arithmetic, in assembler or without checks.
const HELPERS: &str = "the compiler's routines";

/// Whose a function is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Owner<'a> {
    Ours,
    /// Generic code of the core library, compiled for whoever uses it; tables too, which have no name.
    Core,
    Panic,
    Other(&'a str),
}

/// Which symbols each function's section refers to.
type Calls = BTreeMap<String, BTreeSet<String>>;

pub(crate) fn check(house: &House) -> Outcome {
    let metadata = Metadata::of(house, "Cargo.toml")?;
    let of_units = |package: &&Package| UNIT_SIDE.contains(&package.name.as_str()) && package.name != C_INTERFACE;
    let packages: Vec<&Package> = metadata.members().filter(of_units).collect();
    let has_target = bare::rustup_has(house, TARGET);
    let folder = house.target.join("no-panic");
    let mut calls = Calls::new();
    let mut ours = Vec::new();
    for package in &packages {
        let mut build = house.cargo(&["build", "--release", "--quiet", "--lib", "--package", &package.name]);
        // All that a unit can have: both kinds of signature.
        if package.features.contains_key("hss-lms") {
            build.args(["--features", "hss-lms"]);
        }
        build.env("CARGO_TARGET_DIR", &folder);
        if has_target {
            build.args(["--target", TARGET]);
        }
        run(&mut build)?;
        ours.push(package.name.replace('-', "_"));
    }
    let libraries = match has_target {
        true => folder.join(TARGET).join("release/deps"),
        false => folder.join("release/deps"),
    };
    for name in &ours {
        let archive = newest(&libraries, name)?;
        read(&archive, &mut calls)?;
    }
    let ours: Vec<&str> = ours.iter().map(String::as_str).collect();
    let verdict = follow(&calls, &ours);
    let place = match has_target {
        true => TARGET.to_owned(),
        false => format!("this machine, as the target {TARGET} is not installed"),
    };
    if verdict.functions == 0 {
        return Err("no function of ours was found in what was compiled: this step must be put right".to_owned());
    }
    if !verdict.faults.is_empty() {
        return Err(format!(
            "compiled for {place}, these can panic:\n{}",
            verdict.faults.join("\n")
        ));
    }
    let others: Vec<String> = verdict
        .others
        .iter()
        .map(|(name, count)| format!("{name} {count}"))
        .collect();
    println!(
        "   calls into other crates, whose panics are theirs: {}",
        others.join(", ")
    );
    Ok(Passed::Holds(format!(
        "{} functions of {}, compiled for {place}: none leads to a panic",
        verdict.functions,
        ours.join(", ")
    )))
}

/// The library as it was compiled last.
fn newest(folder: &Path, name: &str) -> Result<PathBuf, String> {
    let failed = |error: std::io::Error| format!("{}: {error}", folder.display());
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let file = entry.file_name();
        let file = file.to_string_lossy();
        if file.starts_with(&format!("lib{name}-")) && file.ends_with(".rlib") {
            found.push((
                entry.metadata().and_then(|data| data.modified()).map_err(failed)?,
                entry.path(),
            ));
        }
    }
    found
        .into_iter()
        .max()
        .map(|(_, path)| path)
        .ok_or_else(|| format!("{} holds no library of {name}", folder.display()))
}

/// Adds every function of a library, with what it refers to.
fn read(archive: &Path, calls: &mut Calls) -> Result<(), String> {
    let failed = |why: String| format!("{}: {why}", archive.display());
    let data = fs::read(archive).map_err(|error| failed(error.to_string()))?;
    let members = ArchiveFile::parse(&*data).map_err(|error| failed(error.to_string()))?;
    for member in members.members() {
        let member = member.map_err(|error| failed(error.to_string()))?;
        let content = member.data(&*data).map_err(|error| failed(error.to_string()))?;
        // The compiler's own metadata lies in the archive too.
        let Ok(file) = object::File::parse(content) else {
            continue;
        };
        let mut names = HashMap::new();
        for symbol in file.symbols().filter(ObjectSymbol::is_definition) {
            if let (Some(section), Ok(name)) = (symbol.section_index(), symbol.name()) {
                // Mapping symbols ($t, $d) say only whether code or data follows.
                if !name.is_empty() && !name.starts_with('$') {
                    names.entry(section).or_insert_with(|| plain(name));
                }
            }
        }
        for section in file.sections() {
            let Some(name) = names.get(&section.index()) else {
                continue;
            };
            if !matches!(
                section.kind(),
                SectionKind::Text | SectionKind::ReadOnlyData | SectionKind::ReadOnlyDataWithRel | SectionKind::Data
            ) {
                continue;
            }
            let callees = calls.entry(name.clone()).or_default();
            for (_, relocation) in section.relocations() {
                let RelocationTarget::Symbol(index) = relocation.target() else {
                    continue;
                };
                let Ok(symbol) = file.symbol_by_index(index) else {
                    continue;
                };
                let by_section = symbol.section_index().and_then(|index| names.get(&index).cloned());
                let by_name = symbol.name().ok().filter(|name| !name.is_empty()).map(plain);
                callees.extend(by_name.or(by_section));
            }
        }
    }
    Ok(())
}

/// A symbol's name as the source has it, without the compiler's hash.
fn plain(symbol: &str) -> String {
    format!("{:#}", rustc_demangle::demangle(symbol))
}

/// Whose a function is, by its name: `fat::mount::Mount::step`, `<fat::error::Error as core::fmt::Display>::fmt`,
/// `core::slice::sort<fat::entry::Entry>`.
fn owner<'a>(name: &'a str, ours: &[&str]) -> Owner<'a> {
    let path = name
        .trim_start_matches(['<', '&', '*', '(', '[', '_'])
        .trim_start_matches("mut ");
    // Of a type without a path, such as `u64`, the trait tells: `<u64 as cipher::SeekNum>::from`.
    let path = match path.split_once(" as ") {
        Some((of, with)) if !of.contains("::") => with,
        _ => path,
    };
    match path.split_once("::") {
        Some((first, _)) if ours.contains(&first) => Owner::Ours,
        Some(("core", _)) if PANICS.iter().any(|part| name.contains(part)) => Owner::Panic,
        Some(("core", _)) => Owner::Core,
        Some((first, _)) => Owner::Other(first),
        None if name.contains("anon") || name.starts_with('.') => Owner::Core,
        None => Owner::Other(HELPERS),
    }
}

struct Verdict {
    functions: usize,
    faults: Vec<String>,
    others: BTreeMap<String, usize>,
}

/// Follows the calls of every function of ours.
fn follow(calls: &Calls, ours: &[&str]) -> Verdict {
    let mut verdict = Verdict {
        functions: 0,
        faults: Vec::new(),
        others: BTreeMap::new(),
    };
    let mut met = BTreeSet::new();
    for start in calls.keys().filter(|name| owner(name, ours) == Owner::Ours) {
        verdict.functions += 1;
        let mut way = BTreeMap::from([(start.as_str(), None)]);
        let mut queue = VecDeque::from([start.as_str()]);
        while let Some(name) = queue.pop_front() {
            for callee in calls.get(name).into_iter().flatten() {
                if way.contains_key(callee.as_str()) {
                    continue;
                }
                way.insert(callee, Some(name));
                match owner(callee, ours) {
                    Owner::Panic => {
                        verdict.faults.push(story(&way, callee));
                        queue.clear();
                        break;
                    }
                    // A function of ours is a start of its own.
                    Owner::Ours => {}
                    Owner::Core => queue.push_back(callee),
                    Owner::Other(other) => {
                        if met.insert((name.to_owned(), callee.clone())) {
                            *verdict.others.entry(other.to_owned()).or_default() += 1;
                        }
                    }
                }
            }
        }
    }
    verdict
}

/// The way from a function of ours to its panic.
fn story(way: &BTreeMap<&str, Option<&str>>, end: &str) -> String {
    let mut steps = vec![end];
    let mut at = end;
    while let Some(Some(from)) = way.get(at) {
        steps.push(from);
        at = from;
    }
    steps.reverse();
    format!("  {}", steps.join("\n    calls "))
}

#[cfg(test)]
mod tests {
    use super::*;

    const OURS: [&str; 2] = ["fat", "installer"];

    fn calls(list: &[(&str, &[&str])]) -> Calls {
        list.iter()
            .map(|(name, callees)| {
                (
                    (*name).to_owned(),
                    callees.iter().map(|callee| (*callee).to_owned()).collect(),
                )
            })
            .collect()
    }

    #[test]
    fn names_tell_whose_a_function_is() {
        assert_eq!(owner("fat::mount::Mount::step", &OURS), Owner::Ours);
        assert_eq!(
            owner("<fat::error::Error as core::fmt::Display>::fmt", &OURS),
            Owner::Ours
        );
        assert_eq!(owner("core::slice::copy_from_slice_impl", &OURS), Owner::Core);
        assert_eq!(
            owner("<core::iter::Map<I,F> as core::iter::Iterator>::fold", &OURS),
            Owner::Core
        );
        assert_eq!(owner("core::panicking::panic_bounds_check", &OURS), Owner::Panic);
        assert_eq!(owner("core::slice::index::slice_index_fail", &OURS), Owner::Panic);
        assert_eq!(owner("aes::soft::fixslice::sub_bytes", &OURS), Owner::Other("aes"));
        assert_eq!(owner("<char as core::fmt::Display>::fmt", &OURS), Owner::Core);
        assert_eq!(owner("<u64 as cipher::SeekNum>::from", &OURS), Owner::Other("cipher"));
        assert_eq!(owner("__aeabi_memcpy", &OURS), Owner::Other(HELPERS));
        assert_eq!(owner("anon.5a.3.llvm.77", &OURS), Owner::Core);
    }

    #[test]
    fn a_panic_behind_generic_code_is_found_and_told_as_a_way() {
        let verdict = follow(
            &calls(&[
                ("fat::a", &["core::slice::copy", "fat::b"]),
                ("core::slice::copy", &["core::panicking::panic_fmt"]),
                ("fat::b", &[]),
            ]),
            &OURS,
        );
        assert_eq!(verdict.functions, 2);
        assert_eq!(
            verdict.faults,
            ["  fat::a\n    calls core::slice::copy\n    calls core::panicking::panic_fmt"]
        );
    }

    #[test]
    fn a_panic_of_another_crate_is_counted_as_theirs() {
        let verdict = follow(
            &calls(&[("fat::a", &["aes::b"]), ("aes::b", &["core::panicking::panic_fmt"])]),
            &OURS,
        );
        assert!(verdict.faults.is_empty());
        assert_eq!(verdict.others, BTreeMap::from([("aes".to_owned(), 1)]));
    }
}
