//! The program: reads the command line, runs one verb, says what came of it.

#![forbid(unsafe_code)]

mod args;
mod budget_verb;
mod clock;
mod keys_verb;
mod look_verb;
mod machine;
mod memory;
mod pages;
mod port_verb;
mod progress;
mod rehearse_verb;
mod release_verb;
mod secret;
mod settings_verb;
mod stick_verb;
mod told;
mod trace_verb;

use args::{Args, Misuse, Verb};
use clap::Parser;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_words::report::{Report, Verdict};
use std::collections::BTreeMap;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

/// Everything that was asked for is done, and every check holds.
const HOLDS: u8 = 0;
/// A check does not hold: nothing was released.
const REFUSED: u8 = 1;
/// The work could not be done: a file is missing, an option makes no sense, the keyring stays closed.
const FAILED: u8 = 2;

fn main() -> ExitCode {
    let args = Args::parse();
    let plain = !std::io::stderr().is_terminal() || std::env::var_os("NO_COLOR").is_some();
    // Only a second hook could fail here.
    let _ = miette::set_hook(Box::new(move |_| {
        let theme = if plain {
            miette::GraphicalTheme::unicode_nocolor()
        } else {
            miette::GraphicalTheme::unicode()
        };
        Box::new(
            miette::GraphicalReportHandler::new_themed(theme)
                .with_width(110)
                .with_links(false),
        )
    }));
    match run(args) {
        Ok(code) => ExitCode::from(code),
        Err(report) => {
            // Nobody may be listening any more; the exit code tells all the same.
            let _ = writeln!(std::io::stderr(), "{report:?}");
            ExitCode::from(FAILED)
        }
    }
}

fn run(args: Args) -> Result<u8> {
    match args.verb {
        Verb::Release(ask) => release_verb::run(ask),
        Verb::Rehearse(ask) => rehearse_verb::run(&ask),
        Verb::Stick(ask) => stick_verb::run(&ask),
        Verb::Look(ask) => look_verb::run(&ask),
        Verb::Budget(ask) => budget_verb::run(&ask),
        Verb::Settings(ask) => settings_verb::run(ask.act),
        Verb::Trace(ask) => trace_verb::run(&ask),
        Verb::Keys(ask) => keys_verb::run(ask).map(|()| HOLDS),
        Verb::Port(ask) => port_verb::run(ask),
    }
}

/// The builds by board; one board cannot have two.
fn builds(given: Vec<(String, PathBuf)>) -> Result<BTreeMap<String, PathBuf>> {
    let mut builds = BTreeMap::new();
    for (board, file) in given {
        if let Some(first) = builds.insert(board.clone(), file.clone()) {
            return Err(Misuse::TwoBuilds {
                board,
                first,
                second: file,
            }
            .into());
        }
    }
    Ok(builds)
}

fn show(report: &Report, json: bool) -> Result<u8> {
    if json {
        say_json(report)?;
    } else {
        let colour = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
        say(&report.table(colour))?;
    }
    Ok(code_of(report))
}

/// Writes something as JSON to standard output.
fn say_json(what: &impl serde::Serialize) -> Result<()> {
    say(&(serde_json::to_string_pretty(what).into_diagnostic()? + "\n"))
}

fn code_of(report: &Report) -> u8 {
    match report.verdict {
        Verdict::Fail => REFUSED,
        Verdict::Pass | Verdict::Warn => HOLDS,
    }
}

/// Writes to standard output; a reader that has seen enough is no error.
fn say(text: &str) -> Result<()> {
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        other => other.into_diagnostic().wrap_err("standard output cannot be written"),
    }
}
