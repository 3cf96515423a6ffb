//! The README of each package for others: what its library says of itself, with the example that is tested there.

use crate::check::{Outcome, Passed};
use crate::metadata::{Metadata, Package};
use crate::run::House;
use std::fs;
use std::path::Path;

const WRITE: &str = "PACKSTAFF_WRITE_DOCS";

const LICENCE: &str = "## Licence

MIT ([LICENSE-MIT](LICENSE-MIT)) or Apache 2.0 ([LICENSE-APACHE](LICENSE-APACHE)), at your choice.
";

pub(crate) fn check(house: &House) -> Outcome {
    let metadata = Metadata::of(house, "Cargo.toml")?;
    let mut faults = Vec::new();
    let mut seen = 0;
    for package in metadata.members().filter(|package| package.is_for_others()) {
        let folder = package.folder();
        let library = folder.join("src/lib.rs");
        let main = folder.join("src/main.rs");
        let source = [library, main].into_iter().find(|path| path.is_file());
        let source = source.ok_or_else(|| format!("{} has neither library nor program", package.name))?;
        let text = fs::read_to_string(&source).map_err(|error| format!("{}: {error}", source.display()))?;
        let readme = readme(package, &text);
        let path = folder.join("README.md");
        if std::env::var_os(WRITE).is_some() {
            fs::write(&path, &readme).map_err(|error| format!("{}: {error}", path.display()))?;
        }
        if fs::read_to_string(&path).ok().as_deref() != Some(readme.as_str()) {
            faults.push(format!(
                "{} is not what {} says",
                shown(&path, house),
                shown(&source, house)
            ));
        }
        seen += 1;
    }
    if !faults.is_empty() {
        return Err(format!(
            "{}\n{WRITE}=1 in front of this step renews them",
            faults.join("\n")
        ));
    }
    Ok(Passed::Holds(format!("{seen} packages say the same in both places")))
}

fn shown(path: &Path, house: &House) -> String {
    path.strip_prefix(&house.root).unwrap_or(path).display().to_string()
}

/// Name, the documentation's beginning up to its first heading or the end of its first example, licence.
fn readme(package: &Package, source: &str) -> String {
    let documentation = source.lines().map_while(|line| line.strip_prefix("//!"));
    let mut text = format!("# {}\n\n", package.name);
    let mut in_example = false;
    for line in documentation.map(|line| line.strip_prefix(' ').unwrap_or(line)) {
        if line.starts_with("# ") && !in_example {
            break;
        }
        if line.starts_with("```") {
            in_example = !in_example;
            let opening = if in_example { "```rust" } else { "```" };
            text.push_str(if line.starts_with("```text") { line } else { opening });
            text.push('\n');
            if !in_example {
                break;
            }
            continue;
        }
        match in_example {
            // Lines that rustdoc hides.
            true if line == "#" || line.starts_with("# ") => continue,
            true => text.push_str(line),
            false => text.push_str(&without_links(line)),
        }
        text.push('\n');
    }
    format!("{}\n\n{LICENCE}", text.trim_end())
}

/// Links to items lead nowhere outside of rustdoc: `` [`Name`] `` becomes `` `Name` ``.
fn without_links(line: &str) -> String {
    let mut text = String::new();
    let mut rest = line;
    while let Some((before, link)) = rest.split_once("[`") {
        text.push_str(before);
        let Some((name, after)) = link.split_once("`]") else {
            text.push_str("[`");
            rest = link;
            continue;
        };
        text.push_str(&format!("`{name}`"));
        // A link with a target of its own, `[`Name`](path)`, leads to an item too.
        rest = match after.strip_prefix('(').and_then(|target| target.split_once(')')) {
            Some((_, after)) => after,
            None => after,
        };
    }
    text + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_to_items_become_names() {
        assert_eq!(
            without_links("see [`Mount`], then [`a::B`](crate::b::B) or [c]"),
            "see `Mount`, then `a::B` or [c]"
        );
        assert_eq!(without_links("an open [`bracket"), "an open [`bracket");
    }
}
