//! `rehearse` with a folder that describes a unit with a loader of its maker's own. Built with the feature `own-loader`, as the
//! house's check does.

#![cfg(feature = "own-loader")]

use assert_cmd::Command;
use std::path::{Path, PathBuf};

fn example() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/own-loader")
}

/// A copy of the example's folder, whose loader is another module.
fn with_module(module: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let copy = |from: &Path, to: &Path| {
        std::fs::create_dir_all(to).unwrap();
        for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
            if entry.path().is_file() {
                std::fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
            }
        }
    };
    for part in ["", "images", "sticks"] {
        copy(&example().join(part), &folder.path().join(part));
    }
    std::fs::copy(example().join(module), folder.path().join("loader.wasm")).unwrap();
    folder
}

fn rehearse(folder: &Path, options: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(assert_cmd::cargo::cargo_bin!("packstaff"))
        .arg("rehearse")
        .arg(folder)
        .args(options)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn a_right_loader_holds() {
    let (code, told, _) = rehearse(&example(), &[]);
    assert_eq!(code, Some(0), "{told}");
    assert!(
        told.contains("Every world, every cut") && told.contains("Not judged"),
        "{told}"
    );
}

#[test]
fn a_planted_fault_is_told_with_its_story() {
    let folder = with_module("faulty-1.wasm");
    let (code, told, _) = rehearse(folder.path(), &[]);
    assert_eq!(code, Some(1), "{told}");
    assert!(
        told.contains("Power fails") && told.contains("A claim does not hold"),
        "{told}"
    );
    let (code, json, _) = rehearse(folder.path(), &["--json"]);
    assert_eq!(code, Some(1));
    let report: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(report["verdict"], "fail");
}

#[test]
fn options_for_products_are_refused() {
    let (code, _, complaint) = rehearse(&example(), &["--board", "C"]);
    assert_eq!(code, Some(2));
    assert!(complaint.contains("--board is for product folders"), "{complaint}");
}
