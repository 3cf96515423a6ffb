//! The example's modules and files are those that its sources make.

use packstaff_loader::description::{UnitKind, read};
use packstaff_loader::rehearse_kind;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/own-loader")
}

fn run(program: &str, package: &str, arguments: &[&str]) -> String {
    let output = Command::new(program)
        .args(arguments)
        .current_dir(folder())
        .output()
        .unwrap_or_else(|error| panic!("cannot run {program}: {error}; this test needs the Debian package {package}"));
    assert!(
        output.status.success(),
        "{program} {arguments:?}: {}\n{}",
        output.status,
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// The section in which clang notes its version.
fn producers(module: &[u8]) -> Option<&[u8]> {
    const NAME: &[u8] = b"producers";
    let at = module.windows(NAME.len()).position(|window| window == NAME)?;
    module.get(at..)
}

/// Built again from its source, each module behaves the same; by the same compiler, it is the same to the byte.
#[test]
fn the_modules_are_built_from_the_source() {
    run("clang", "clang", &["--version"]);
    run("wasm-ld", "lld", &["--version"]);
    let out = TempDir::new().unwrap();
    run("make", "make", &["--silent", &format!("OUT={}", out.path().display())]);
    for name in [
        "loader.wasm",
        "faulty-1.wasm",
        "faulty-2.wasm",
        "faulty-3.wasm",
        "faulty-4.wasm",
    ] {
        let kept = fs::read(folder().join(name)).unwrap();
        let built = fs::read(out.path().join(name)).unwrap();
        if producers(&kept) == producers(&built) {
            assert!(
                kept == built,
                "{name} is not what its source makes: run make in examples/own-loader"
            );
            continue;
        }
        let report = |module| {
            let kind = UnitKind {
                module,
                ..read(&folder()).unwrap()
            };
            rehearse_kind(&kind).unwrap().to_string()
        };
        assert_eq!(report(kept), report(built), "{name}: run make in examples/own-loader");
    }
}

/// The header and the loader serve on the unit too: strict compilers take them, as C and as C++.
#[test]
fn the_header_is_c_and_cpp() {
    const STRICT: [&str; 5] = [
        "-Wall",
        "-Wextra",
        "-Werror",
        "-fsyntax-only",
        "-I../../simulation/loader/include",
    ];
    let header = "../../simulation/loader/include/packstaff_loader.h";
    for (program, package, language) in [
        ("gcc", "gcc", &["-std=c11", "-pedantic", header][..]),
        ("gcc", "gcc", &["-std=c11", "-pedantic", "loader.c"]),
        ("g++", "g++", &["-std=c++17", "-pedantic", "-x", "c++", header]),
        (
            "clang",
            "clang",
            &["--target=wasm32", "-ffreestanding", "-std=c++17", "-x", "c++", header],
        ),
    ] {
        run(program, package, &[&STRICT[..], language].concat());
    }
}

#[test]
fn the_files_are_made_by_the_script() {
    let out = TempDir::new().unwrap();
    run(
        "python3",
        "python3",
        &["make_files.py", &out.path().display().to_string()],
    );
    for name in [
        "images/1.8.bin",
        "images/2.0.bin",
        "sticks/1.8.img",
        "sticks/2.0.img",
        "sticks/damaged.img",
    ] {
        let same = fs::read(folder().join(name)).unwrap() == fs::read(out.path().join(name)).unwrap();
        assert!(same, "{name}: run python3 make_files.py . in examples/own-loader");
    }
}
