//! Descriptions with mistakes: each is told where it is, and nothing panics.

use packstaff_loader::RehearsalError;
use packstaff_loader::description::read;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/own-loader")
}

/// The example with `from` replaced by `to` in its description.
fn changed(from: &str, to: &str) -> Result<packstaff_loader::description::UnitKind, RehearsalError> {
    let copy = TempDir::new().unwrap();
    for part in ["", "images", "sticks"] {
        fs::create_dir_all(copy.path().join(part)).unwrap();
        for entry in fs::read_dir(folder().join(part)).unwrap() {
            let entry = entry.unwrap();
            if entry.file_type().unwrap().is_file() {
                fs::copy(entry.path(), copy.path().join(part).join(entry.file_name())).unwrap();
            }
        }
    }
    let path = copy.path().join("unit.toml");
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains(from), "{from:?} is not in the example");
    fs::write(&path, text.replacen(from, to, 1)).unwrap();
    read(copy.path())
}

#[test]
fn the_example_is_read() {
    let kind = read(&folder()).unwrap();
    assert_eq!((kind.images.len(), kind.sticks.len(), kind.beginnings.len()), (2, 3, 2));
    assert_eq!(kind.part.end(), 0x0800_0400);
    assert!(kind.faults.swapped && !kind.faults.refused);
}

#[test]
fn mistakes_are_told() {
    let one = |index: u32| {
        format!(
            "[[area]]\nname = \"n{index}\"\nbase = {}\nsize = 8\n",
            0x0800_0300 + index * 8
        )
    };
    let more_areas = (0..5).map(one).collect::<String>() + "[[area]]\nname = \"loader\"";
    for (from, to, expected) in [
        ("granule = 8", "granule = 12", "granule is 12"),
        ("granule = 8", "granul = 8", "unknown field `granul`"),
        ("count = 4, size = 256", "count = 0, size = 256", "more than 0"),
        ("count = 4, size = 256", "count = 4, size = 250", "whole granules"),
        (
            "count = 4, size = 256",
            "count = 4000000000, size = 2048",
            "inside 32 bits",
        ),
        (
            "size = 512\n\n[[may",
            "size = 513\n\n[[may",
            "slot at 0x08000200 with 513 bytes is not inside",
        ),
        (
            "base = 0x0800_0200\nsize = 512\n\n# What",
            "base = 1\nsize = 512\n\n# What",
            "may_change at 0x00000001",
        ),
        (
            "name = \"2.0\"",
            "name = \"1.8\"",
            "two of the list image are called \"1.8\"",
        ),
        ("installs = \"2.0\"", "installs = \"2.1\"", "no image called \"2.1\""),
        (
            "after_stick = \"a stick with 1.8\"",
            "after_stick = \"none\"",
            "no stick called \"none\"",
        ),
        (
            "second_program = \"never\"",
            "second_program = \"often\"",
            "unknown variant `often`",
        ),
        ("loader = ", "floor = true\nloader = ", "image \"1.8\" has no issue"),
        (
            "sticks/2.0.img",
            "images/2.0.bin",
            "300 bytes, which is not whole blocks",
        ),
        ("sticks/2.0.img", "sticks/9.img", "sticks/9.img cannot be read"),
        (
            "name = \"record\"",
            "name = \"loader\"",
            "two of the list area are called \"loader\"",
        ),
        (
            "name = \"record\"",
            "name = \"\"",
            "area \"\": a name has 1 to 12 letters",
        ),
        (
            "name = \"record\"",
            "name = \"the record of it\"",
            "a name has 1 to 12 letters",
        ),
        ("name = \"record\"", "name = \"a\\tb\"", "a name has 1 to 12 letters"),
        (
            "base = 0x0800_03e8",
            "base = 0x0800_03f8",
            "area \"record\" at 0x080003f8 with 24 bytes is not inside",
        ),
        (
            "base = 0x0800_03e8",
            "base = 0x0800_0200",
            "area \"record\" covers 0x08000200, the slot's first address",
        ),
        (
            "base = 0x0800_03e8",
            "base = 0x0800_01e0",
            "the areas \"loader\" and \"record\" overlap",
        ),
        (
            "base = 0x0800_0000\nsize = 512\n",
            "base = 0x0800_0000\nsize = 8\n\n[[area]]\nname = \"both\"\nbase = 0x0800_01f8\nsize = 16\n",
            "area \"both\" covers 0x08000200",
        ),
        (
            "size = 512\n\n# What",
            "size = 500\n\n# What",
            "area \"record\" is partly in a range that the loader may change, and partly not",
        ),
        (
            "[[area]]\nname = \"loader\"",
            &more_areas,
            "the list area has 7 entries: a picture has room for 6",
        ),
        ("sha256 = \"5d", "sha256 = \"6d", "the SHA-256 digest 5d3918e1"),
        (
            "size = 512\n\n[[may",
            "size = 256\n\n[[may",
            "image \"2.0\" has 300 bytes",
        ),
    ] {
        let error = changed(from, to).map(|_| ()).unwrap_err();
        assert!(error.to_string().contains(expected), "{to:?}: {error}");
        assert!(!error.help().is_empty());
    }
}

#[test]
fn a_stick_that_installs_something_else_makes_no_unit() {
    // The first stick is the one of 1.8 now, and is said to install 2.0.
    let kind = changed("file = \"sticks/1.8.img\"", "file = \"sticks/2.0.img\"").unwrap();
    let error = packstaff_loader::rehearse_kind(&kind).unwrap_err();
    assert!(matches!(error, RehearsalError::NotMade { .. }), "{error}");
}

/// The digests in the description are those that coreutils' sha256sum gives.
#[test]
fn the_digests_are_those_of_sha256sum() {
    let text = fs::read_to_string(folder().join("unit.toml")).unwrap();
    for image in ["images/1.8.bin", "images/2.0.bin"] {
        let output = Command::new("sha256sum")
            .arg(image)
            .current_dir(folder())
            .output()
            .unwrap_or_else(|error| {
                panic!("cannot run sha256sum: {error}; this test needs the Debian package coreutils")
            });
        let words = String::from_utf8(output.stdout).unwrap();
        let digest = words.split_whitespace().next().unwrap();
        assert!(text.contains(digest), "{image}: {digest}");
    }
}
