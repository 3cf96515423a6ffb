//! What the installer takes of a unit: flash, memory, stack and instructions, each held to a budget.

use crate::bare::{Bare, TARGETS};
use crate::check::{Outcome, Passed};
use crate::port::{self, EMULATED};
use crate::run::{House, capture};
use object::{Object, ObjectSection, SectionKind};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

/// A line for each figure: its name, the most that it may be, and what it is.
const BUDGETS: &str = "ports/budgets.txt";

/// The installer's variants that are weighed, at the emulated machine's processor: name, and features.
const VARIANTS: [(&str, &[&str]); 3] = [
    ("one-slot", &["ed25519", "one-place"]),
    ("every-layout", &["ed25519"]),
    ("one-slot-hss-lms", &["hss-lms", "one-place"]),
];

pub(crate) fn check(house: &House) -> Outcome {
    let figures = measure(house)?;
    let (table, over) = held(house, &figures)?;
    print!("{table}");
    match over.is_empty() {
        true => Ok(Passed::Holds(format!(
            "{} figures are within their budgets",
            figures.len()
        ))),
        false => Err(format!("{}\nThe budgets are in {BUDGETS}.", over.join("\n"))),
    }
}

/// `cargo xtask size`: the same, for reading.
pub(crate) fn chore(house: &House) -> Result<(), String> {
    match check(house)? {
        Passed::Holds(line) | Passed::Skipped(line) => println!("{line}"),
    }
    Ok(())
}

fn measure(house: &House) -> Result<BTreeMap<String, u64>, String> {
    let mut figures = BTreeMap::new();
    println!("   {}", Bare::find(house, EMULATED)?.name());
    for (name, features) in VARIANTS {
        let weight = weigh(&port::build(house, EMULATED, "whole", features)?)?;
        figures.insert(format!("{name}-flash-bytes"), weight.flash);
        figures.insert(format!("{name}-ram-bytes"), weight.ram);
    }
    for target in TARGETS.into_iter().filter(|target| *target != EMULATED) {
        let weight = weigh(&port::build(house, target, "whole", &[])?)?;
        figures.insert(format!("{target}-flash-bytes"), weight.flash);
    }
    let program = port::build(house, EMULATED, "qemu-mps2", &[])?;
    let firmware = port::firmware(house)?;
    let said = capture(port::proof(house).arg("--measure").arg(program).arg(firmware))?;
    for line in String::from_utf8_lossy(&said).lines() {
        let figure = line
            .split_once(' ')
            .and_then(|(name, value)| Some((name, value.parse().ok()?)));
        let (name, value) = figure.ok_or_else(|| format!("`{line}` is no figure"))?;
        figures.insert(name.to_owned(), value);
    }
    Ok(figures)
}

struct Weight {
    flash: u64,
    ram: u64,
}

/// Bytes of an ELF file that lie in flash, and bytes of memory set aside.
fn weigh(file: &Path) -> Result<Weight, String> {
    let failed = |error: &dyn std::fmt::Display| format!("{}: {error}", file.display());
    let data = std::fs::read(file).map_err(|error| failed(&error))?;
    let elf = object::File::parse(&*data).map_err(|error| failed(&error))?;
    let mut weight = Weight { flash: 0, ram: 0 };
    for section in elf.sections() {
        match section.kind() {
            SectionKind::Text | SectionKind::ReadOnlyData => weight.flash += section.size(),
            SectionKind::Data => {
                weight.flash += section.size();
                weight.ram += section.size();
            }
            SectionKind::UninitializedData => weight.ram += section.size(),
            _ => {}
        }
    }
    if weight.flash == 0 {
        return Err(failed(&"nothing in it lies in flash"));
    }
    Ok(weight)
}

/// A table of figures and budgets, and those that are over. Every budget must have its figure.
fn held(house: &House, figures: &BTreeMap<String, u64>) -> Result<(String, Vec<String>), String> {
    let file = house.root.join(BUDGETS);
    let budgets = std::fs::read_to_string(&file).map_err(|error| format!("{}: {error}", file.display()))?;
    let mut table = String::from("| figure | measured | at most | |\n| --- | --- | --- | --- |\n");
    let mut over = Vec::new();
    for line in budgets
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
    {
        let mut words = line.splitn(3, ' ');
        let (name, most, what) = (words.next(), words.next(), words.next());
        let budget = name.zip(most.and_then(|most| most.parse::<u64>().ok())).zip(what);
        let ((name, most), what) =
            budget.ok_or_else(|| format!("{BUDGETS}: `{line}` is not a name, a number and a text"))?;
        let found = figures
            .get(name)
            .ok_or_else(|| format!("{BUDGETS}: there is no figure `{name}`; there are {figures:?}"))?;
        let _ = writeln!(table, "| {name} | {found} | {most} | {what} |");
        if found > &most {
            over.push(format!("{name} is {found}, and may be {most} at most"));
        }
    }
    Ok((table, over))
}
