//! The command line.

mod misuse;
mod stick;

use clap::{Args as ClapArgs, Parser, Subcommand};
pub(crate) use misuse::Misuse;
use packstaff_bench::rehearse::{Beginning, PartOf};
use packstaff_product::SignatureKind;
use packstaff_product::keyring::{OtsKind, TreeKind};
use packstaff_rehearsal::explore::Faults;
use std::ffi::OsString;
use std::path::PathBuf;
pub(crate) use stick::{Examine, Make, Place, Stick, StickAct};

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
    /// Reckon what a unit's life allows: update time, wear, hold-up at power-off, cuts among owners, key search
    Budget(Budget),
    /// What a unit keeps: layouts, what becomes of settings from version to version, memory dumps read and made
    Settings(Settings),
    /// Say what happened to a unit, and what to do: from a read-out of its flash, an image of its stick, the code that it shows
    Trace(Trace),
    /// Make and keep the keys
    Keys(Keys),
    /// Judge a port: a board's drivers and screens around the installer
    Port(Port),
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
    /// The product folder; or a folder with a unit.toml, which describes a unit with a loader of its maker's own
    #[arg(required_unless_present = "merge")]
    pub(crate) product: Option<PathBuf>,
    /// Version that must run in the end, as the ledger has it; may be given again. Every one that owners may go to, if left out
    #[arg(long, visible_alias = "version", value_name = "VERSION")]
    pub(crate) to: Vec<String>,
    /// Version that units begin with, or `new`; may be given again. All others in the ledger, and `new`, if left out
    #[arg(long, value_name = "VERSION")]
    pub(crate) from: Vec<Beginning>,
    /// Board revision; may be given again. All if left out
    #[arg(long, value_name = "BOARD")]
    pub(crate) board: Vec<String>,
    /// What may go wrong: a list such as `cuts,pulled` (these alone) or `no-swapped` (all but that). The names are cuts,
    /// torn-programs, torn-erases, wavering, pulled, swapped, any-choice, refused, all and none. If left out, all but refused, or what
    /// unit.toml says
    #[arg(long, value_name = "LIST", value_parser = faults)]
    pub(crate) faults: Option<Faults>,
    /// A case of its own for each version that units begin with: more work, in smaller portions
    #[arg(long)]
    pub(crate) each_start: bool,
    /// Do part I of N alone, so that N machines share the work
    #[arg(long, value_name = "I/N", default_value = "1/1")]
    pub(crate) part: PartOf,
    /// Join what the parts printed with --json
    #[arg(long, value_name = "FILE", num_args = 1.., conflicts_with_all = ["product", "to", "from", "board", "faults", "each_start", "part", "nodes"])]
    pub(crate) merge: Vec<PathBuf>,
    /// The most nodes that one exploration may come to; as many as fit into memory, or as unit.toml says, if left out
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

#[cfg(feature = "own-loader")]
impl Rehearse {
    /// An option that was given and makes sense for products only, and what to do instead.
    pub(crate) fn option_for_products(&self) -> Option<(&'static str, &'static str)> {
        let secret = &self.secret;
        let keys = "leave it out: a unit.toml needs no key";
        [
            (
                "--to",
                !self.to.is_empty(),
                "each [[stick]] of unit.toml that installs an image is come to in turn: leave the others out there",
            ),
            (
                "--from",
                !self.from.is_empty(),
                "units begin as the [[unit]] entries of unit.toml say: leave the others out there",
            ),
            (
                "--board",
                !self.board.is_empty(),
                "a unit.toml describes one unit: make a folder for each board",
            ),
            (
                "--each-start",
                self.each_start,
                "leave all but one [[unit]] out of unit.toml, and rehearse one after the other",
            ),
            (
                "--part",
                self.part != PartOf::WHOLE,
                "make the unit smaller, or make a folder for each [[unit]] and rehearse these on different machines",
            ),
            ("--identity", secret.identity.is_some(), keys),
            ("--passphrase-fd", secret.passphrase_fd.is_some(), keys),
            ("--passphrase-env", secret.passphrase_env.is_some(), keys),
        ]
        .into_iter()
        .find_map(|(name, given, instead)| given.then_some((name, instead)))
    }
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
pub(crate) struct Budget {
    /// The product folder
    pub(crate) product: PathBuf,
    /// Board revision; may be given again. All if left out
    #[arg(long, value_name = "BOARD")]
    pub(crate) board: Vec<String>,
    /// Try another value than product.toml states, such as capacitor_uf=470; may be given again
    #[arg(long = "try", value_name = "KEY=VALUE", value_parser = key_and_value)]
    pub(crate) tries: Vec<(String, String)>,
    /// Write the figures and their curves as a page and SVG files into this folder
    #[arg(long, value_name = "FOLDER")]
    pub(crate) out: Option<PathBuf>,
    /// Print the report as JSON, with every figure as a number
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(ClapArgs)]
pub(crate) struct Settings {
    #[command(subcommand)]
    pub(crate) act: SettingsAct,
}

/// What settings are printed as.
#[derive(Clone, Copy, clap::ValueEnum)]
pub(crate) enum SettingsForm {
    Text,
    Toml,
    Json,
}

#[derive(Subcommand)]
pub(crate) enum SettingsAct {
    /// What becomes of settings from each version to each other; an error where a calibration or a counter would be lost
    Check {
        /// The product folder
        product: PathBuf,
        /// Print every pair as JSON
        #[arg(long)]
        json: bool,
    },
    /// Two versions' layouts, field by field
    Diff {
        /// The product folder
        product: PathBuf,
        /// Version that the settings are of
        #[arg(long, value_name = "VERSION")]
        from: String,
        /// Version that they go to
        #[arg(long, value_name = "VERSION")]
        to: String,
        /// Print it as JSON
        #[arg(long)]
        json: bool,
    },
    /// Read a dump of a unit's settings memory, or one record
    Read {
        /// File with the bytes of the memory from its address 0, or of one record alone
        dump: PathBuf,
        /// Version that wrote it
        #[arg(long)]
        version: String,
        /// The product folder
        #[arg(long, value_name = "FOLDER", default_value = ".")]
        product: PathBuf,
        /// What to print: text, toml (which `settings write` reads) or json
        #[arg(long, value_name = "FORM", default_value = "text")]
        form: SettingsForm,
    },
    /// Show what an owner would have after an update, from a dump of the unit
    Carry {
        /// File with the bytes of the memory, or of one record alone
        dump: PathBuf,
        /// Version that wrote it
        #[arg(long, value_name = "VERSION")]
        from: String,
        /// Version that is installed then
        #[arg(long, value_name = "VERSION")]
        to: String,
        /// The product folder
        #[arg(long, value_name = "FOLDER", default_value = ".")]
        product: PathBuf,
        /// What to print: text, or toml or json of the settings after the update
        #[arg(long, value_name = "FORM", default_value = "text")]
        form: SettingsForm,
        /// Write a memory image of the new version with these settings, for a service bench
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Make a memory image with these settings, for a service bench
    Write {
        /// Settings in the form of `settings read --form toml`; what is left out is as in a new unit
        values: PathBuf,
        /// Version that is to read it
        #[arg(long)]
        version: String,
        /// File for the image
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
        /// A dump whose settings are kept where VALUES says nothing, secrets among them
        #[arg(long, value_name = "DUMP")]
        base: Option<PathBuf>,
        /// Bytes of the memory; up to the end of the last copy if left out
        #[arg(long, value_name = "BYTES")]
        size: Option<u64>,
        /// The product folder
        #[arg(long, value_name = "FOLDER", default_value = ".")]
        product: PathBuf,
    },
    /// Make code for a unit: its layout, the carry-over tables, and the keeper that runs them, in C and in Rust
    Generate {
        /// The product folder
        product: PathBuf,
        /// Version that the unit runs
        #[arg(long)]
        version: String,
        /// Folder for the files; those of the same name are replaced
        #[arg(long, value_name = "FOLDER")]
        out: PathBuf,
        /// What names in C begin with
        #[arg(long, value_name = "NAME", default_value = "unit")]
        prefix: String,
        /// Bytes of the longest settings that any version will have, the same in all versions; the next power of two if left out
        #[arg(long, value_name = "BYTES")]
        room: Option<u32>,
    },
    /// Begin a layout file from a build: offsets and types out of its debug information
    Import {
        /// ELF file, built with -g
        elf: PathBuf,
        /// Name of a struct, a typedef or a variable
        name: String,
        /// Version that the layout is of
        #[arg(long)]
        version: String,
        /// Number that tells this layout from others in a unit
        #[arg(long, value_name = "NUMBER", value_parser = number)]
        number: u32,
        /// Address of a copy in the settings memory; once for each
        #[arg(long, value_name = "ADDRESS", value_parser = number, required = true)]
        copy: Vec<u32>,
        /// File for the layout; standard output if left out
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
}

#[derive(ClapArgs)]
pub(crate) struct Trace {
    /// The product folder
    pub(crate) product: PathBuf,
    /// A read-out of the unit's flash, whole or in part: raw binary, Intel HEX or S-record. A raw binary begins at the start of
    /// flash, or at ADDRESS. May be given again: parts of flash, or the same range read twice
    #[arg(long, value_name = "FILE[@ADDRESS]", required_unless_present_any = ["stick", "code"])]
    pub(crate) flash: Vec<packstaff_bench::trace::FlashFile>,
    /// An image of the owner's stick
    #[arg(long, value_name = "FILE")]
    pub(crate) stick: Option<PathBuf>,
    /// The reason code that the unit shows, such as U1
    #[arg(long, value_name = "CODE")]
    pub(crate) code: Option<String>,
    /// A dump of the unit's settings memory, from its address 0 on
    #[arg(long, value_name = "FILE")]
    pub(crate) settings: Option<PathBuf>,
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
    /// Add an HSS-LMS signing key to the keyring: signatures that stand against quantum computers, in a limited number
    AddTree {
        /// The product folder
        product: PathBuf,
        /// How many signatures it can make, as a power of two: 5, 10, 15 or 20
        #[arg(long, value_name = "POWER", default_value = "15", value_parser = tree_kind)]
        height: TreeKind,
        /// Bits of a digit: 8 for small signatures, 4 for ones that units check eight times as fast
        #[arg(long, value_name = "BITS", default_value = "8", value_parser = ots_kind)]
        digits: OtsKind,
        #[command(flatten)]
        secret: Secret,
    },
    /// Count signatures of the HSS-LMS key as made, after the product folder or the machine was restored, copied or moved
    Skip {
        /// The product folder
        product: PathBuf,
        /// How many: safely more than those that may have been made since
        #[arg(long, value_name = "N")]
        by: u32,
        #[command(flatten)]
        secret: Secret,
    },
    /// Write a public signing key, which units are built with: Ed25519 as PEM, HSS-LMS as digits
    Export {
        /// The product folder
        product: PathBuf,
        /// Which: ed25519 or hss-lms
        #[arg(long, value_name = "KIND", default_value = "ed25519", value_parser = signature_kind)]
        kind: SignatureKind,
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

#[derive(ClapArgs)]
pub(crate) struct Port {
    #[command(subcommand)]
    pub(crate) act: PortAct,
}

#[derive(Subcommand)]
pub(crate) enum PortAct {
    /// Take a port through the scripted cases, over a serial line or the standard streams of a program, and compare every step with
    /// the simulation. It erases and programs the slot and the floor sectors: never a unit that somebody needs
    Check(PortCheck),
}

#[derive(ClapArgs)]
pub(crate) struct PortCheck {
    /// The serial device that the port is on
    #[arg(long, value_name = "DEVICE")]
    pub(crate) device: Option<PathBuf>,
    /// Bits a second on the device
    #[arg(long, value_name = "N", default_value_t = 115_200)]
    pub(crate) baud: u32,
    /// A program that is the port, such as an emulator; a cut kills it. With --device: a command that switches the board's supply
    /// off and on again; without one, a cut is a reset that the port makes itself
    #[arg(last = true, value_name = "COMMAND", num_args = 1..)]
    pub(crate) program: Vec<OsString>,
    /// Seconds that an answer may take: longer than the slowest erase
    #[arg(long, value_name = "N", default_value_t = 10)]
    pub(crate) patience: u64,
    /// Bytes of the images that are installed
    #[arg(long, value_name = "N", default_value_t = 5001)]
    pub(crate) image: u32,
    /// How many cuts are tried, half of them before a change of flash and half after it
    #[arg(long, value_name = "N", default_value_t = 16)]
    pub(crate) cuts: u32,
    /// How many cuts are tried in the middle of a change; of a program only
    #[arg(long, value_name = "N", default_value_t = 6)]
    pub(crate) torn: u32,
    /// The image that was written to the stick in the port's own reader: its blocks are read and compared
    #[arg(long, value_name = "FILE")]
    pub(crate) stick: Option<PathBuf>,
    /// A product folder, whose map for --board the port must have
    #[arg(long, value_name = "FOLDER", requires = "board")]
    pub(crate) product: Option<PathBuf>,
    /// The board revision that the port is for
    #[arg(long, value_name = "BOARD", requires = "product")]
    pub(crate) board: Option<String>,
    /// Print the report as JSON
    #[arg(long)]
    pub(crate) json: bool,
}

fn tree_kind(text: &str) -> Result<TreeKind, String> {
    match text {
        "5" => Ok(TreeKind::H5),
        "10" => Ok(TreeKind::H10),
        "15" => Ok(TreeKind::H15),
        "20" => Ok(TreeKind::H20),
        _ => Err("give 5, 10, 15 or 20, for 32, 1024, 32768 or 1048576 signatures".to_owned()),
    }
}

fn ots_kind(text: &str) -> Result<OtsKind, String> {
    match text {
        "4" => Ok(OtsKind::W4),
        "8" => Ok(OtsKind::W8),
        _ => Err("give 4 or 8".to_owned()),
    }
}

fn signature_kind(text: &str) -> Result<SignatureKind, String> {
    let found = SignatureKind::WORDS.iter().find(|(word, _)| *word == text);
    found
        .map(|(_, kind)| *kind)
        .ok_or_else(|| "give ed25519 or hss-lms".to_owned())
}

fn faults(list: &str) -> Result<Faults, String> {
    Faults::named(list).map_err(|unknown| unknown.to_string())
}

fn key_and_value(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((key, value)) if !key.trim().is_empty() && !value.trim().is_empty() => {
            Ok((key.trim().to_owned(), value.trim().to_owned()))
        }
        _ => Err("write it as KEY=VALUE, such as capacitor_uf=470".to_owned()),
    }
}

/// A number in decimal or, with 0x in front, hexadecimal digits.
fn number(text: &str) -> Result<u32, String> {
    let parsed = match text.strip_prefix("0x") {
        Some(digits) => u32::from_str_radix(digits, 16),
        None => text.parse(),
    };
    parsed.map_err(|_| "write a whole number, such as 16384 or 0x4000".to_owned())
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
