//! The chores of the house. `cargo xtask check` is the test command: README and CI use no other.

mod bare;
mod c_example;
mod cargo;
mod check;
mod dependencies;
mod firmware;
mod fuzz;
mod library;
mod licences;
mod maps;
mod metadata;
mod no_panic;
mod package;
mod port;
mod python;
mod readmes;
mod run;
mod size;
mod tidy;
mod tools;

use std::process::ExitCode;

const HELP: &str = "\
The chores of the house.

  cargo xtask check             everything, in order; stops at the first step that does not pass
  cargo xtask check --quick     without the slow steps
  cargo xtask check STEP...     only these steps
  cargo xtask library           the installer as static libraries for C, for every processor and this machine
  cargo xtask size              what the installer takes of a unit, beside its budgets
  cargo xtask help              this text

Steps:
";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match arguments.as_slice() {
        ["check", rest @ ..] => check::check(rest),
        ["library"] => chore(library::chore),
        ["size"] => chore(size::chore),
        [] | ["help" | "--help" | "-h"] => {
            print!("{HELP}{}", check::listing());
            ExitCode::SUCCESS
        }
        [unknown, ..] => {
            eprintln!("there is no chore named {unknown:?}; `cargo xtask help` lists them");
            ExitCode::from(2)
        }
    }
}

fn chore(chore: fn(&run::House) -> Result<(), String>) -> ExitCode {
    match run::House::find().and_then(|house| chore(&house)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}
