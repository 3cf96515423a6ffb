//! Options that make no sense together, where the command line's own rules cannot say so.

use miette::Diagnostic;
use std::path::PathBuf;
use thiserror::Error;

/// Why the work cannot be begun.
#[derive(Debug, Error, Diagnostic)]
pub(crate) enum Misuse {
    /// A board is given more than one build.
    #[error("board {board} is given two builds: {} and {}", first.display(), second.display())]
    #[diagnostic(help("name one build for each board"))]
    TwoBuilds {
        /// The board revision.
        board: String,
        /// The build that was given first.
        first: PathBuf,
        /// The other one.
        second: PathBuf,
    },
    /// Nothing says where a stick goes.
    #[error("say where the stick goes: --out FILE, --into FOLDER or --device DEVICE")]
    NoPlace,
    /// Nothing says where a port is.
    #[error("nothing says where the port is")]
    #[diagnostic(help(
        "name a serial device with --device, or a program behind --: packstaff port check -- ./loader-host"
    ))]
    NoPort,
    /// An option of product folders, with the description of one unit.
    #[cfg(feature = "own-loader")]
    #[error("{option} is for product folders, and {} describes one unit with a loader of its own", folder.display())]
    #[diagnostic(help("{instead}"))]
    ForProducts {
        /// The option.
        option: &'static str,
        /// What to do instead.
        instead: &'static str,
        /// The folder with the description.
        folder: PathBuf,
    },
    /// A loader of the maker's own, and nothing to run it in.
    #[cfg(not(feature = "own-loader"))]
    #[error(
        "{} describes a unit with a loader of its own, and this packstaff was built without the sandbox for them",
        _0.display()
    )]
    #[diagnostic(help(
        "build it with the sandbox that such loaders run in: cargo run --release --features own-loader -- rehearse FOLDER"
    ))]
    NoSandbox(PathBuf),
}
