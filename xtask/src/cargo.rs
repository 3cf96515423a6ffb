//! What cargo does by itself: format, lints, tests, documentation.

use crate::check::{Outcome, Passed};
use crate::python;
use crate::run::{House, capture, run};

fn held(line: &str) -> Outcome {
    Ok(Passed::Holds(line.to_owned()))
}

pub(crate) fn format(house: &House) -> Outcome {
    run(&mut house.cargo(&["fmt", "--all", "--check"]))
        .map_err(|why| format!("{why}\n`cargo fmt --all` puts it right"))?;
    held("every file is laid out as rustfmt does")
}

pub(crate) fn clippy(house: &House) -> Outcome {
    run(&mut house.cargo(&[
        "clippy",
        "--workspace",
        "--all-targets",
        "--quiet",
        "--",
        "-D",
        "warnings",
    ]))?;
    held("not one warning; tests, examples and benches compile too")
}

/// Packages that check signatures, and what they can be built with.
const WITH_SIGNATURES: [&str; 3] = ["packstaff-envelope", "packstaff-installer", "packstaff-c-interface"];
const SIGNATURES: [&str; 2] = ["ed25519", "hss-lms"];

/// Each kind of signature alone: a build of the whole workspace has both.
pub(crate) fn features(house: &House) -> Outcome {
    for package in WITH_SIGNATURES {
        for kind in SIGNATURES {
            let mut clippy = house.cargo(&["clippy", "--quiet", "--lib", "--no-default-features"]);
            run(clippy.args(["--package", package, "--features", kind, "--", "-D", "warnings"]))?;
        }
    }
    held("those who check signatures can be built for each kind alone")
}

/// What the command line has only if asked for.
const OWN_LOADER: &str = "packstaff/own-loader";

pub(crate) fn tests(house: &House) -> Outcome {
    let with_nextest = capture(&mut house.cargo(&["nextest", "--version"])).is_ok();
    let arguments: &[&str] = match with_nextest {
        true => &[
            "nextest",
            "run",
            "--workspace",
            "--features",
            OWN_LOADER,
            "--no-fail-fast",
            "--status-level",
            "slow",
            "--final-status-level",
            "fail",
        ],
        // Benches are left out: they are programs of their own, and clippy has compiled them.
        false => &[
            "test",
            "--workspace",
            "--features",
            OWN_LOADER,
            "--lib",
            "--bins",
            "--tests",
            "--examples",
            "--no-fail-fast",
            "--quiet",
        ],
    };
    run(house
        .cargo(arguments)
        .env("PACKSTAFF_PYTHON", python::interpreter(house)))?;
    held("all of them; the runner's own closing line above counts them")
}

/// Packages that are left to the whole check: they explore every cut, or run the program itself.
const LONG_TESTS: [&str; 7] = [
    "packstaff",
    "packstaff-bench",
    "packstaff-loader",
    "packstaff-port-check",
    "packstaff-port-proof",
    "packstaff-rehearsal",
    "packstaff-trace",
];

/// What a person runs between two edits: tests inside of the libraries alone.
pub(crate) fn quick_tests(house: &House) -> Outcome {
    let mut test = house.cargo(&["test", "--workspace", "--lib", "--quiet"]);
    run(test.args(LONG_TESTS.iter().flat_map(|package| ["--exclude", package])))?;
    held("those of the libraries; `cargo xtask check tests` runs all")
}

pub(crate) fn doctests(house: &House) -> Outcome {
    run(&mut house.cargo(&["test", "--workspace", "--doc", "--quiet"]))?;
    held("all of them")
}

pub(crate) fn documentation(house: &House) -> Outcome {
    let mut doc = house.cargo(&["doc", "--workspace", "--no-deps", "--quiet", "--document-private-items"]);
    run(doc.env("RUSTDOCFLAGS", "-D warnings"))?;
    held("no broken link, no warning")
}
