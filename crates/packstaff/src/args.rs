//! The command line.

mod stick;

use clap::{Args as ClapArgs, Parser, Subcommand};
use packstaff::rehearse::PartOf;
use rehearsal::explore::Faults;
use std::path::PathBuf;
pub(crate) use stick::{Examine, Make, Stick, StickAct};

/// The release bench for instruments and kits that owners update from an ordinary memory stick.
#[derive(Parser)]
#[command(version, about, arg_required_else_help = true)]
#[command(
    after_help = "Exit codes: 0 done and every check holds; 1 a check does not hold, nothing was released; 2 the work could not be done."
)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) verb: Verb,
}

#[derive(Subcommand)]
pub(crate) enum Verb {
    /// From a compiler's output to an update file, a stick, a rehearsed install, an owner's sheet and a record; or a refusal
    Release(Release),
    /// Rehearse installs of recorded versions: every world that they can come to, with power cuts and bad sticks
    Rehearse(Rehearse),
    /// Make sticks of recorded versions, and say what is on any stick
    Stick(Stick),
    /// Say what a file is: an update file, a build, a stick image, a product file, a record, a keyring
    Look(Look),
    /// Say what happened to a unit, and what to do: from a read-out of its flash, an image of its stick, the code that it shows
    Trace(Trace),
    /// Make and keep the keys
    Keys(Keys),
}

/// Where the secret of the keyring comes from. It is never taken from the command line itself
#[derive(ClapArgs)]
pub(crate) struct Secret {
    /// An age identity file that opens the keyring
    #[arg(long, value_name = "FILE", group = "secret")]
    pub(crate) identity: Option<PathBuf>,
    /// An open file descriptor that gives the passphrase
    #[arg(long, value_name = "N", group = "secret")]
    pub(crate) passphrase_fd: Option<u32>,
    /// An environment variable that holds the passphrase
    #[arg(long, value_name = "NAME", group = "secret")]
    pub(crate) passphrase_env: Option<String>,
}

#[derive(ClapArgs)]
pub(crate) struct Release {
    /// The product folder: the one with product.toml in it
    pub(crate) product: PathBuf,
    /// Version to release, as product.toml lists it
    #[arg(long)]
    pub(crate) version: String,
    /// A board's build, where it is not the one that product.toml names; once for each board
    #[arg(long, value_name = "BOARD=FILE", value_parser = board_and_file)]
    pub(crate) build: Vec<(String, PathBuf)>,
    /// Do all the work, but record and write nothing
    #[arg(long)]
    pub(crate) dry_run: bool,
    /// Folder for the release, instead of out/VERSION in the product folder
    #[arg(long, value_name = "FOLDER")]
    pub(crate) out: Option<PathBuf>,
    /// Draw what the rehearsal covered, and how any claim is broken, as pages in this folder
    #[arg(long, value_name = "FOLDER")]
    pub(crate) story: Option<PathBuf>,
    /// Print the report as JSON
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) secret: Secret,
}

#[derive(ClapArgs)]
pub(crate) struct Rehearse {
    /// The product folder
    #[arg(required_unless_present = "merge")]
    pub(crate) product: Option<PathBuf>,
    /// Version that must run in the end, as the ledger has it; may be given again. Every one that owners may go to, if left out
    #[arg(long, visible_alias = "version", value_name = "VERSION")]
    pub(crate) to: Vec<String>,
    /// Version that units begin with, or `new`; may be given again. All others in the ledger, and `new`, if left out
    #[arg(long, value_name = "VERSION")]
    pub(crate) from: Vec<String>,
    /// Board revision; may be given again. All if left out
    #[arg(long, value_name = "BOARD")]
    pub(crate) board: Vec<String>,
    /// What may go wrong: a list such as `cuts,pulled` (these alone) or `no-swapped` (all but that). The names are cuts,
    /// torn-programs, torn-erases, wavering, pulled, swapped, any-choice, refused, all and none
    #[arg(long, value_name = "LIST", default_value = "all", value_parser = faults)]
    pub(crate) faults: Faults,
    /// A case of its own for each version that units begin with: more work, in smaller portions
    #[arg(long)]
    pub(crate) each_start: bool,
    /// Do part I of N alone, so that N machines share the work
    #[arg(long, value_name = "I/N", default_value = "1/1")]
    pub(crate) part: PartOf,
    /// Join what the parts printed with --json
    #[arg(long, value_name = "FILE", num_args = 1.., conflicts_with_all = ["product", "to", "from", "board", "faults", "each_start", "part", "nodes"])]
    pub(crate) merge: Vec<PathBuf>,
    /// The most nodes that one exploration may come to; as many as fit into memory, if left out
    #[arg(long, value_name = "N")]
    pub(crate) nodes: Option<usize>,
    /// Print the report as JSON, with all that --merge needs
    #[arg(long)]
    pub(crate) json: bool,
    /// Write the results as XML that build servers read: a test for each claim in each case
    #[arg(long, value_name = "FILE")]
    pub(crate) junit: Option<PathBuf>,
    /// Draw what was covered, and how any claim is broken, as pages in this folder
    #[arg(long, value_name = "FOLDER")]
    pub(crate) story: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) secret: Secret,
}

#[derive(ClapArgs)]
pub(crate) struct Look {
    /// Files to look at
    #[arg(required = true)]
    pub(crate) files: Vec<PathBuf>,
    /// Print what is seen as JSON, one object a file
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(ClapArgs)]
pub(crate) struct Trace {
    /// The product folder
    pub(crate) product: PathBuf,
    /// A read-out of the unit's flash, whole or in part: raw binary, Intel HEX or S-record. A raw binary begins at the start of
    /// flash, or at ADDRESS. May be given again: parts of flash, or the same range read twice
    #[arg(long, value_name = "FILE[@ADDRESS]", required_unless_present_any = ["stick", "code"])]
    pub(crate) flash: Vec<packstaff::trace::FlashFile>,
    /// An image of the owner's stick
    #[arg(long, value_name = "FILE")]
    pub(crate) stick: Option<PathBuf>,
    /// The reason code that the unit shows, such as U1
    #[arg(long, value_name = "CODE")]
    pub(crate) code: Option<String>,
    /// The unit's board revision, where what was sent does not tell it
    #[arg(long)]
    pub(crate) board: Option<String>,
    /// The generation of the unit's keys; every one that is served, if left out
    #[arg(long)]
    pub(crate) generation: Option<String>,
    /// Write the reply to the owner to this file as well
    #[arg(long, value_name = "FILE")]
    pub(crate) reply: Option<PathBuf>,
    /// Print the account as JSON
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) secret: Secret,
}

#[derive(ClapArgs)]
pub(crate) struct Keys {
    #[command(subcommand)]
    pub(crate) act: KeysAct,
}

#[derive(Subcommand)]
pub(crate) enum KeysAct {
    /// Make the keyring of a product: a signing key and a first generation of unit keys
    Create {
        /// The product folder
        product: PathBuf,
        #[command(flatten)]
        secret: Secret,
    },
    /// List the keys by their fingerprints; never a secret
    List {
        /// The product folder
        product: PathBuf,
        #[command(flatten)]
        secret: Secret,
    },
    /// Add a generation of unit keys
    Add {
        /// The product folder
        product: PathBuf,
        /// Name of the generation, such as g3
        generation: String,
        #[command(flatten)]
        secret: Secret,
    },
    /// Retire a generation: no new update file is made for its units
    Retire {
        /// The product folder
        product: PathBuf,
        /// Name of the generation
        generation: String,
        #[command(flatten)]
        secret: Secret,
    },
    /// Write the public signing key, which units are built with, as PEM
    Export {
        /// The product folder
        product: PathBuf,
        /// File for it; standard output if it is left out
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        #[command(flatten)]
        secret: Secret,
    },
    /// Copy the keyring to another place, and see that the copy opens
    BackUp {
        /// The product folder
        product: PathBuf,
        /// File for the copy
        #[arg(long, value_name = "FILE")]
        to: PathBuf,
        #[command(flatten)]
        secret: Secret,
    },
}

fn faults(list: &str) -> Result<Faults, String> {
    Faults::named(list).map_err(|unknown| unknown.to_string())
}

fn board_and_file(text: &str) -> Result<(String, PathBuf), String> {
    match text.split_once('=') {
        Some((board, file)) if !board.is_empty() && !file.is_empty() => Ok((board.to_owned(), PathBuf::from(file))),
        _ => Err("write it as BOARD=FILE, such as C=target/kc4-c.elf".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_sound() {
        Args::command().debug_assert();
    }

    #[test]
    fn builds_are_named_by_board() {
        assert_eq!(
            board_and_file("C=a=b.elf"),
            Ok(("C".to_owned(), PathBuf::from("a=b.elf")))
        );
        assert!(board_and_file("a.elf").is_err());
    }
}
