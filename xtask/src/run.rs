//! The house: where things lie, and how other programs are run in it.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Where things lie.
pub(crate) struct House {
    /// The workspace's folder.
    pub(crate) root: PathBuf,
    /// Cargo's target folder.
    pub(crate) target: PathBuf,
    cargo: OsString,
}

impl House {
    /// Finds the workspace that this program was built from.
    pub(crate) fn find() -> Result<Self, String> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"))
            .parent()
            .filter(|root| root.join("Cargo.lock").is_file())
            .ok_or("the workspace was moved since xtask was built: run it as `cargo xtask` inside the workspace")?
            .to_owned();
        let target = match std::env::var_os("CARGO_TARGET_DIR") {
            Some(folder) => std::path::absolute(folder).map_err(|error| format!("CARGO_TARGET_DIR: {error}"))?,
            None => root.join("target"),
        };
        Ok(Self {
            root,
            target,
            cargo: std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()),
        })
    }

    /// A program, to be run in the workspace's folder.
    pub(crate) fn command(&self, program: impl AsRef<std::ffi::OsStr>) -> Command {
        let mut command = Command::new(program);
        command.current_dir(&self.root);
        command
    }

    /// Cargo, as it runs this program. What it told this program about itself must not reach the next one.
    pub(crate) fn cargo(&self, arguments: &[&str]) -> Command {
        self.cargo_at(&self.cargo, arguments)
    }

    /// Another cargo than the one that runs this program.
    pub(crate) fn cargo_at(&self, program: impl AsRef<std::ffi::OsStr>, arguments: &[&str]) -> Command {
        let mut command = self.command(program);
        command.args(arguments);
        for (name, _) in std::env::vars_os() {
            if name
                .to_str()
                .is_some_and(|name| name.starts_with("CARGO_PKG_") || name == "CARGO_MANIFEST_DIR")
            {
                command.env_remove(name);
            }
        }
        command
    }
}

/// Runs a program whose output the reader sees.
pub(crate) fn run(command: &mut Command) -> Result<(), String> {
    println!("   {}", shown(command));
    match command.status() {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(format!("`{}` ended with {status}", shown(command))),
        Err(error) => Err(format!("`{}` cannot be run: {error}", shown(command))),
    }
}

/// Runs a program and takes what it prints.
pub(crate) fn capture(command: &mut Command) -> Result<Vec<u8>, String> {
    let Output { status, stdout, stderr } = command
        .output()
        .map_err(|error| format!("`{}` cannot be run: {error}", shown(command)))?;
    if status.success() {
        return Ok(stdout);
    }
    let said = String::from_utf8_lossy(&stderr);
    Err(format!(
        "`{}` ended with {status}; it said:\n{}",
        shown(command),
        said.trim_end()
    ))
}

/// A command as somebody would type it.
fn shown(command: &Command) -> String {
    let set = command
        .get_envs()
        .filter_map(|(name, value)| Some(format!("{}={}", name.to_string_lossy(), value?.to_string_lossy())));
    let program = Path::new(command.get_program());
    let program = program.file_name().unwrap_or(program.as_os_str()).to_string_lossy();
    let arguments = command
        .get_args()
        .map(|argument| argument.to_string_lossy().into_owned());
    set.chain([program.into_owned()])
        .chain(arguments)
        .collect::<Vec<_>>()
        .join(" ")
}

/// The file that a program's name stands for, also where Debian keeps programs for root alone.
pub(crate) fn which(name: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path)
        .chain([PathBuf::from("/usr/sbin"), PathBuf::from("/sbin")])
        .map(|folder| folder.join(name))
        .find(|file| file.is_file())
}
