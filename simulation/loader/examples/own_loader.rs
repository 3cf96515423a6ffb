//! Rehearses the loader that a folder's `unit.toml` describes, or another module in the same unit:
//! `cargo run -p packstaff-loader --example own_loader -- FOLDER [MODULE]`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

fn main() -> ExitCode {
    let mut arguments = std::env::args_os().skip(1).map(PathBuf::from);
    let Some(folder) = arguments.next() else {
        eprintln!("usage: own_loader FOLDER [MODULE]");
        return ExitCode::from(2);
    };
    let report = match arguments.next() {
        None => packstaff_loader::rehearse(&folder),
        Some(module) => other(&folder, module),
    };
    match report {
        Ok(report) => {
            print!("{report}");
            ExitCode::from(u8::from(!report.holds()))
        }
        Err(error) => {
            eprintln!("{error}\n{}", error.help());
            ExitCode::from(2)
        }
    }
}

fn other(folder: &Path, module: PathBuf) -> Result<packstaff_loader::Report, packstaff_loader::RehearsalError> {
    let mut kind = packstaff_loader::description::read(folder)?;
    kind.module = std::fs::read(&module).map_err(|error| packstaff_loader::RehearsalError::File {
        path: module.clone(),
        why: error.to_string(),
    })?;
    kind.loader = module;
    packstaff_loader::rehearse_kind(&kind)
}
