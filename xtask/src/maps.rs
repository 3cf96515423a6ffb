//! The maps of the house, in CONTRIBUTING.md and README.md: they have a row for every package, and say what is so.

use crate::check::{Outcome, Passed};
use crate::metadata::{Metadata, Package};
use crate::run::House;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;

/// The program.
const PROGRAM: &str = "packstaff";

pub(crate) fn check(house: &House) -> Outcome {
    let read = |name: &str| fs::read_to_string(house.root.join(name)).map_err(|error| format!("{name}: {error}"));
    let metadata = Metadata::of(house, "Cargo.toml")?;
    let members: Vec<&Package> = metadata.members().collect();
    let folder = |package: &Package| {
        let folder = package.folder();
        folder.strip_prefix(&house.root).unwrap_or(folder).display().to_string()
    };
    let mut faults = uses(&read("CONTRIBUTING.md")?, &members);
    let listed = first_cells(&read("README.md")?, "## Map");
    for package in &members {
        let folder = folder(package);
        if !listed.iter().any(|row| row.contains(&folder)) {
            faults.push(format!("README.md's map lacks {folder}"));
        }
    }
    for path in listed.iter().flatten() {
        if !house.root.join(path).exists() {
            faults.push(format!("README.md's map has {path}, which is not there"));
        }
    }
    faults.extend(strayed(house, &read("CONTRIBUTING.md")?));
    if listed.len() < members.len() / 2 {
        faults.push("README.md has no map that this step understands".to_owned());
    }
    if !faults.is_empty() {
        return Err(faults.join("\n"));
    }
    Ok(Passed::Holds(format!(
        "both maps have the {} packages, and what each uses",
        members.len()
    )))
}

/// What is wrong with the table of who uses whom: every package for others has its row there, with its ordinary dependencies.
fn uses(page: &str, members: &[&Package]) -> Vec<String> {
    let rows = rows(page, "## The map of the house");
    let listed: BTreeMap<&str, BTreeSet<&str>> = rows
        .iter()
        // The program stands above all others, and its row says so instead of a list.
        .filter(|cells| cells.get(1) != Some(&"all below"))
        .filter_map(|cells| {
            Some((
                *quoted(cells.first()?).first()?,
                quoted(cells.get(1)?).into_iter().collect(),
            ))
        })
        .collect();
    let mut faults = Vec::new();
    for package in members
        .iter()
        .filter(|package| package.is_for_others() && package.name != PROGRAM)
    {
        let name = short(&package.name);
        let ours = package
            .dependencies
            .iter()
            .filter(|dependency| dependency.path.is_some() && dependency.kind.is_none());
        let ours: BTreeSet<&str> = ours.map(|dependency| short(&dependency.name)).collect();
        match listed.get(name) {
            None => faults.push(format!("CONTRIBUTING.md's map lacks {name}")),
            Some(uses) if *uses != ours => {
                let list = ours
                    .iter()
                    .map(|name| format!("`{name}`"))
                    .collect::<Vec<_>>()
                    .join(", ");
                faults.push(format!("CONTRIBUTING.md's map of {name} must be: {list}"));
            }
            Some(_) => {}
        }
    }
    for name in listed.keys() {
        if !members.iter().any(|package| short(&package.name) == *name) {
            faults.push(format!("CONTRIBUTING.md's map has {name}, which is no package"));
        }
    }
    faults
}

/// Places of the table of places that are not there.
fn strayed(house: &House, page: &str) -> Vec<String> {
    let rows = rows(page, "## Where is what");
    if rows.len() < 12 {
        return vec!["CONTRIBUTING.md has no table of places that this step understands".to_owned()];
    }
    let places = rows
        .iter()
        .filter_map(|cells| cells.get(1))
        .flat_map(|cell| quoted(cell));
    places
        .filter(|place| !place.contains('*') && !house.root.join(place).exists())
        .map(|place| format!("CONTRIBUTING.md leads to {place}, which is not there"))
        .collect()
}

fn short(name: &str) -> &str {
    name.strip_prefix("packstaff-").unwrap_or(name)
}

/// The cells of the table's rows under a heading, without its head.
fn rows<'p>(page: &'p str, heading: &str) -> Vec<Vec<&'p str>> {
    let chapter = page.split_once(heading).map_or("", |(_, rest)| rest);
    let chapter = chapter.split_once("\n## ").map_or(chapter, |(chapter, _)| chapter);
    let table = chapter.lines().filter(|line| line.starts_with('|')).skip(2);
    table
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect()
}

/// What stands `` `like this` ``.
fn quoted(cell: &str) -> Vec<&str> {
    cell.split('`').skip(1).step_by(2).collect()
}

/// The paths in the first cells of a table.
fn first_cells(page: &str, heading: &str) -> Vec<BTreeSet<String>> {
    let paths = |cells: &Vec<&str>| {
        let names = cells.first().map(|cell| quoted(cell)).unwrap_or_default();
        names.into_iter().map(str::to_owned).collect()
    };
    rows(page, heading).iter().map(paths).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_taken_apart() {
        let page = "# A\n\n## Map\n\n| a | b |\n| --- | --- |\n| `x/y` | uses `z` |\n| `v`, `w` | |\n\n## Next\n\n| `no` | |\n";
        assert_eq!(rows(page, "## Map"), [vec!["`x/y`", "uses `z`"], vec!["`v`, `w`", ""]]);
        assert_eq!(quoted("`v`, `w`"), ["v", "w"]);
        assert_eq!(first_cells(page, "## Map").len(), 2);
    }
}
