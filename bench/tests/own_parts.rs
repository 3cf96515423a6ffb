//! A product folder with the maker's own table of parts beside the product file: the example of the guide.

use packstaff_bench::{Bench, OpenError, PARTS_FILE};
use std::path::{Path, PathBuf};

fn file(path: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(path);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// The table that the guide shows.
fn example() -> String {
    let page = file("docs/src/product-file.md");
    let chapter = page
        .split_once("## A table of your own parts")
        .expect("the guide has the chapter")
        .1;
    let listing = chapter.split_once("```toml\n").expect("the chapter has an example").1;
    listing.split_once("```").expect("the example ends").0.to_owned()
}

/// A new product folder: the demo, whose board D has the parts of the guide's example, and a table if there is one.
fn folder(name: &str, table: Option<&str>) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::create_dir_all(&folder).unwrap();
    let product = file("demo/kc4/product.toml");
    let (c, d) = product.split_once("revision = \"D\"").expect("the demo has a board D");
    let d = d
        .replacen("stm32g474-512k", "wm32-256k", 1)
        .replacen("24lc256", "wm32-eeprom", 1);
    std::fs::write(folder.join("product.toml"), format!("{c}revision = \"D\"{d}")).unwrap();
    match table {
        Some(table) => std::fs::write(folder.join(PARTS_FILE), table).unwrap(),
        None => assert!(!folder.join(PARTS_FILE).exists()),
    }
    folder
}

#[test]
fn boards_may_name_parts_of_the_maker_s_own_table() {
    let bench = Bench::open(&folder("own-parts", Some(&example()))).unwrap();
    let (c, d) = (bench.board("C").unwrap(), bench.board("D").unwrap());
    assert_eq!(bench.part(d).unwrap().name, "Workshop module WM32, 256 KiB");
    assert_eq!(bench.settings_memory(d).unwrap().page_bytes, Some(32));
    assert_eq!(bench.part(c).unwrap().id, "stm32f405-512k");
    let flash = bench.layout(d).unwrap();
    assert_eq!(flash.own().extent().size, 0x4_0000);
    assert!(flash.own().has_check_bits());
    assert_eq!(bench.target(d).unwrap().slot.end, 0x0804_0000);
}

#[test]
fn without_the_table_its_parts_are_not_known() {
    let Err(OpenError::Document(error)) = Bench::open(&folder("no-own-parts", None)) else {
        panic!("the product file must be refused");
    };
    let text = error.to_string();
    assert!(
        text.contains("`part` names \"wm32-256k\", which is not in the parts table as a microcontroller"),
        "{text}"
    );
    assert!(
        text.contains("describe the part in a parts.toml beside this file"),
        "{text}"
    );
    assert!(text.contains("`settings_memory` names \"wm32-eeprom\""), "{text}");
}

#[test]
fn a_table_that_is_wrong_is_refused_with_its_line() {
    let table = example().replacen("\"wm32-256k\"", "\"stm32f405-512k\"", 1);
    let Err(OpenError::Document(error)) = Bench::open(&folder("wrong-parts", Some(&table))) else {
        panic!("the table must be refused");
    };
    assert!(error.name().ends_with(PARTS_FILE), "{}", error.name());
    assert_eq!(error.faults()[0].line, 4);
    assert!(error.to_string().contains("a built-in part is called so"), "{error}");
}

/// The keys that the guide explains are those that there are.
#[test]
fn the_guide_explains_every_key_of_a_part() {
    let page = file("docs/src/product-file.md");
    let chapter = page
        .split_once("## A table of your own parts")
        .expect("the guide has the chapter")
        .1;
    let rows = chapter
        .split_once("| key of `[[part]]` |")
        .expect("the chapter has a table")
        .1;
    let built_in = file("files/parts/data/parts.toml");
    let keys = built_in
        .lines()
        .filter_map(|line| line.split_once(" = "))
        .map(|(key, _)| key);
    let keys: std::collections::BTreeSet<_> = keys
        .filter(|key| *key != "format" && key.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_'))
        .collect();
    assert!(keys.len() > 25, "{keys:?}");
    let missing: Vec<_> = keys.iter().filter(|key| !rows.contains(&format!("`{key}`"))).collect();
    assert!(
        missing.is_empty(),
        "docs/src/product-file.md says nothing about {missing:?}"
    );
}
