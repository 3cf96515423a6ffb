//! The guide is whole: its links lead somewhere, and it leaves out no page, no key of a product file, no dependency.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn read(path: &str) -> String {
    let path = root().join(path);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn pages() -> BTreeSet<String> {
    let entries = std::fs::read_dir(root().join("docs/src")).unwrap();
    let names = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap());
    names.filter(|name| name.ends_with(".md")).collect()
}

/// The targets of a page's links, `[text](target)`, leaving out those of listings.
fn links(text: &str) -> Vec<String> {
    let mut targets = Vec::new();
    let prose = text.split("```").step_by(2);
    for piece in prose.flat_map(|prose| prose.split("](").skip(1)) {
        if let Some((target, _)) = piece.split_once(')') {
            targets.push(target.to_owned());
        }
    }
    targets
}

#[test]
fn every_link_leads_somewhere() {
    let at_the_top = ["README.md", "CONTRIBUTING.md", "SECURITY.md", "CHANGELOG.md"];
    let documents = at_the_top
        .iter()
        .map(|name| (*name).to_owned())
        .chain(pages().into_iter().map(|page| format!("docs/src/{page}")));
    let mut followed = 0;
    for document in documents {
        let folder = root().join(&document).parent().unwrap().to_owned();
        for target in links(&read(&document)) {
            let path = target.split('#').next().unwrap_or_default();
            if path.is_empty() || path.starts_with("https://") {
                continue;
            }
            assert!(
                folder.join(path).exists(),
                "{document} leads to {target}, which is not there"
            );
            followed += 1;
        }
    }
    assert!(followed > 30, "only {followed} links were found");
}

#[test]
fn the_summary_has_every_page() {
    let listed: BTreeSet<_> = links(&read("docs/src/SUMMARY.md")).into_iter().collect();
    let mut there = pages();
    there.remove("SUMMARY.md");
    assert_eq!(listed, there);
}

/// Every key of a table of TOML, at any depth.
fn keys(value: &toml::Value, into: &mut BTreeSet<String>) {
    match value {
        toml::Value::Table(table) => {
            for (key, value) in table {
                into.insert(key.clone());
                keys(value, into);
            }
        }
        toml::Value::Array(members) => members.iter().for_each(|member| keys(member, into)),
        _ => {}
    }
}

#[test]
fn the_product_file_s_page_has_every_key_and_every_hazard() {
    let page = read("docs/src/product-file.md");
    let demo: toml::Value = toml::from_str(&read("demo/kc4/product.toml")).unwrap();
    let mut used = BTreeSet::new();
    keys(&demo, &mut used);
    used.extend(["places", "accept_disputed_order", "reserved"].map(str::to_owned));
    assert!(used.len() > 40, "{used:?}");
    let named = |key: &str| {
        [
            format!("`{key}`"),
            format!("[{key}]"),
            format!("{key} ="),
            format!("`[[{key}]]`"),
        ]
        .iter()
        .any(|form| page.contains(form))
    };
    let missing: Vec<_> = used.iter().filter(|key| !named(key)).collect();
    assert!(
        missing.is_empty(),
        "docs/src/product-file.md says nothing about {missing:?}"
    );
    for (word, _) in packstaff_product::Hazard::WORDS {
        assert!(
            page.contains(&format!("`{word}`")),
            "docs/src/product-file.md lacks the hazard {word}"
        );
    }
}

#[test]
fn every_dependency_has_its_row() {
    let page = read("docs/src/dependencies.md");
    let manifest: toml::Value = toml::from_str(&read("Cargo.toml")).unwrap();
    let dependencies = manifest["workspace"]["dependencies"].as_table().unwrap();
    let theirs = dependencies.iter().filter(|(_, about)| about.get("path").is_none());
    let missing: Vec<_> = theirs
        .map(|(name, _)| name)
        .filter(|name| !page.contains(&format!("\n| `{name}` |")))
        .collect();
    assert!(
        missing.is_empty(),
        "docs/src/dependencies.md has no row for {missing:?}"
    );
}

#[test]
fn links_are_found_outside_of_listings_only() {
    let text = "see [one](a.md) and [two](b.md#c)\n```text\n[three](c.md)\n```\n[four](d.md)";
    assert_eq!(links(text), ["a.md", "b.md#c", "d.md"]);
}
