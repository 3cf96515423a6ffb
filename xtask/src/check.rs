//! The steps of `cargo xtask check`, and the order they are taken in.

use crate::run::House;
use crate::{
    c_example, cargo, dependencies, firmware, fuzz, licences, maps, no_panic, package, port, python, readmes, size,
    tidy, tools,
};
use std::fmt::Write;
use std::process::ExitCode;
use std::time::Instant;

/// What a step says when it passes.
pub(crate) enum Passed {
    /// It holds; a line for the reader.
    Holds(String),
    /// It could not be looked at here; why, and what somebody else can do.
    Skipped(String),
}

/// What a step gives: or, if it does not pass, what to do about it.
pub(crate) type Outcome = Result<Passed, String>;

/// How long a step takes, so that somebody between two edits can leave the long ones out.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Pace {
    /// Seconds: these are what `--quick` takes.
    Quick,
    /// Minutes, on two cores.
    Slow,
}

struct Step {
    name: &'static str,
    what: &'static str,
    pace: Pace,
    run: fn(&House) -> Outcome,
}

/// Cheap steps first, so that most mistakes are told within seconds.
const STEPS: [Step; 22] = [
    Step {
        name: "tools",
        what: "general tools that the tests compare with, from Debian's packages",
        pace: Pace::Quick,
        run: tools::check,
    },
    Step {
        name: "python",
        what: "Python libraries that give second opinions, in an environment of their own",
        pace: Pace::Quick,
        run: python::check,
    },
    Step {
        name: "format",
        what: "rustfmt",
        pace: Pace::Quick,
        run: cargo::format,
    },
    Step {
        name: "tidy",
        what: "no unfinished places, no paths of somebody's machine, lints on everywhere",
        pace: Pace::Quick,
        run: tidy::check,
    },
    Step {
        name: "dependencies",
        what: "unit-side crates depend on unit-side crates alone",
        pace: Pace::Quick,
        run: dependencies::check,
    },
    Step {
        name: "maps",
        what: "the maps in README and CONTRIBUTING: every package, and what it uses",
        pace: Pace::Quick,
        run: maps::check,
    },
    Step {
        name: "readmes",
        what: "each package's README says what its library says of itself",
        pace: Pace::Quick,
        run: readmes::check,
    },
    Step {
        name: "licences",
        what: "every dependency's licence is one that we can keep",
        pace: Pace::Quick,
        run: licences::check,
    },
    Step {
        name: "advisories",
        what: "known weaknesses of dependencies, where a tool and its data are there",
        pace: Pace::Slow,
        run: licences::advisories,
    },
    Step {
        name: "clippy",
        what: "lints, on libraries, programs, tests, examples and benches",
        pace: Pace::Quick,
        run: cargo::clippy,
    },
    Step {
        name: "features",
        what: "each kind of signature alone",
        pace: Pace::Slow,
        run: cargo::features,
    },
    Step {
        name: "quick-tests",
        what: "the libraries' own tests, without those of the explorer and of the program",
        pace: Pace::Quick,
        run: cargo::quick_tests,
    },
    Step {
        name: "tests",
        what: "unit and integration tests",
        pace: Pace::Slow,
        run: cargo::tests,
    },
    Step {
        name: "doctests",
        what: "examples in the documentation",
        pace: Pace::Slow,
        run: cargo::doctests,
    },
    Step {
        name: "documentation",
        what: "rustdoc, without a warning",
        pace: Pace::Slow,
        run: cargo::documentation,
    },
    Step {
        name: "no-panic",
        what: "unit-side code, compiled for a unit, holds no way into a panic",
        pace: Pace::Slow,
        run: no_panic::check,
    },
    Step {
        name: "firmware",
        what: "the demo's firmware: its tests, the emulated firing, the same bytes again",
        pace: Pace::Slow,
        run: firmware::check,
    },
    Step {
        name: "c-example",
        what: "the example loader in C, in the emulator: the same flash as the simulation's",
        pace: Pace::Slow,
        run: c_example::check,
    },
    Step {
        name: "port",
        what: "the installer on bare metal, in the emulator: the same flash as in the simulation",
        pace: Pace::Slow,
        run: port::check,
    },
    Step {
        name: "size",
        what: "flash, memory, stack and instructions of the installer, within their budgets",
        pace: Pace::Slow,
        run: size::check,
    },
    Step {
        name: "fuzz",
        what: "the fuzz targets compile",
        pace: Pace::Slow,
        run: fuzz::check,
    },
    Step {
        name: "package",
        what: "the packages for others are whole: each is built from what a registry would get",
        pace: Pace::Slow,
        run: package::check,
    },
];

/// The steps' names, for the help text.
pub(crate) fn listing() -> String {
    STEPS.iter().fold(String::new(), |mut text, step| {
        let slow = if step.pace == Pace::Slow { " (slow)" } else { "" };
        let _ = writeln!(text, "  {:<14} {}{slow}", step.name, step.what);
        text
    })
}

/// Takes the steps that were asked for, in their order.
pub(crate) fn check(asked: &[&str]) -> ExitCode {
    let quick = asked.contains(&"--quick");
    let named: Vec<&str> = asked.iter().copied().filter(|word| *word != "--quick").collect();
    if let Some(unknown) = named.iter().find(|word| STEPS.iter().all(|step| step.name != **word)) {
        eprintln!("check has no step named {unknown:?}; it has:\n{}", listing());
        return ExitCode::from(2);
    }
    let house = match House::find() {
        Ok(house) => house,
        Err(why) => {
            eprintln!("{why}");
            return ExitCode::from(2);
        }
    };
    let wanted = |step: &&Step| match named.is_empty() {
        true => !quick || step.pace == Pace::Quick,
        false => named.contains(&step.name),
    };
    let began = Instant::now();
    let (mut passed, mut skipped) = (0, 0);
    let mut times = Vec::new();
    for step in STEPS.iter().filter(wanted) {
        println!("\n== {}: {}", step.name, step.what);
        let step_began = Instant::now();
        let outcome = (step.run)(&house);
        let seconds = step_began.elapsed().as_secs_f64();
        times.push((step.name, seconds));
        match outcome {
            Ok(Passed::Holds(line)) => {
                passed += 1;
                println!("ok {}: {line} ({seconds:.1} s)", step.name);
            }
            Ok(Passed::Skipped(line)) => {
                skipped += 1;
                println!("skipped {}: {line}", step.name);
            }
            Err(why) => {
                println!("NO {}: {why}", step.name);
                println!("\nTo try this step again: cargo xtask check {}", step.name);
                println!("steps: {passed} passed, 1 failed, {skipped} skipped");
                return ExitCode::FAILURE;
            }
        }
    }
    println!("\n{}", longest_first(times));
    println!(
        "Everything that was looked at holds ({:.0} s).",
        began.elapsed().as_secs_f64()
    );
    println!("steps: {passed} passed, 0 failed, {skipped} skipped");
    ExitCode::SUCCESS
}

/// What took how long.
fn longest_first(mut times: Vec<(&str, f64)>) -> String {
    times.sort_by(|one, other| other.1.total_cmp(&one.1));
    times.iter().fold(String::new(), |mut text, (name, seconds)| {
        let _ = writeln!(text, "  {name:<14} {seconds:>7.1} s");
        text
    })
}
