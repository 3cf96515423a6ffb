//! Options of the verb `stick`.

use super::{Misuse, Secret};
use clap::{Args as ClapArgs, Subcommand, ValueEnum};
use packstaff_stick::Kind;
use std::path::{Path, PathBuf};

#[derive(ClapArgs)]
pub(crate) struct Stick {
    #[command(subcommand)]
    pub(crate) act: StickAct,
}

#[derive(Subcommand)]
pub(crate) enum StickAct {
    /// Make a stick of recorded versions: an image, a folder's contents, or a whole stick
    Make(Box<Make>),
    /// Say what is on a stick, what a unit will see of it, and what to tell its owner
    Examine(Examine),
}

#[derive(ClapArgs)]
#[command(group = clap::ArgGroup::new("place").required(true).args(["out", "into", "device"]))]
pub(crate) struct Make {
    /// The product folder
    pub(crate) product: PathBuf,
    /// Version to put on the stick, as the ledger has it; may be given again
    #[arg(long, required = true)]
    pub(crate) version: Vec<String>,
    /// Only the files for this board revision; may be given again
    #[arg(long, value_name = "BOARD")]
    pub(crate) board: Vec<String>,
    /// File for an image of the stick
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
    /// Folder of a mounted stick, or any other, that the files are copied to
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["size", "format", "no_table", "cluster", "sector", "label"])]
    pub(crate) into: Option<PathBuf>,
    /// Replace files that are in the folder under the same names
    #[arg(long, requires = "into")]
    pub(crate) replace: bool,
    /// A whole stick that is erased, such as /dev/sdb. Without --yes-erase it says which words are needed, and changes nothing
    #[arg(long, value_name = "DEVICE", conflicts_with_all = ["size", "sector"])]
    pub(crate) device: Option<PathBuf>,
    /// The words that say which stick is to be erased
    #[arg(long, value_name = "WORDS", requires = "device")]
    pub(crate) yes_erase: Option<String>,
    /// Size of the image, such as 64M or 4G (in powers of 1024)
    #[arg(long, value_name = "SIZE", value_parser = bytes_of)]
    pub(crate) size: Option<u64>,
    /// Form of FAT; by the size, if left out
    #[arg(long)]
    pub(crate) format: Option<FormName>,
    /// No partition table: the volume fills the stick
    #[arg(long)]
    pub(crate) no_table: bool,
    /// Size of a cluster, such as 4K; by the FAT specification's tables, if left out
    #[arg(long, value_name = "SIZE", value_parser = bytes_of)]
    pub(crate) cluster: Option<u64>,
    /// Size of a sector: 512, 1024, 2048 or 4096
    #[arg(long, value_name = "BYTES", default_value = "512", value_parser = bytes_of)]
    pub(crate) sector: u64,
    /// Label, at most 11 characters; the product's name and UPDATE, if left out
    #[arg(long)]
    pub(crate) label: Option<String>,
    /// No README.TXT for the owner
    #[arg(long)]
    pub(crate) no_readme: bool,
}

/// Where a stick goes.
#[derive(Clone, Copy)]
pub(crate) enum Place<'a> {
    /// To a file that holds its image.
    Image(&'a Path),
    /// Its files, to a folder.
    Folder(&'a Path),
    /// To a whole stick, which is erased.
    Device(&'a Path),
}

impl Make {
    /// Where the stick goes.
    pub(crate) fn place(&self) -> Result<Place<'_>, Misuse> {
        let image = self.out.as_deref().map(Place::Image);
        let folder = self.into.as_deref().map(Place::Folder);
        let device = self.device.as_deref().map(Place::Device);
        image.or(folder).or(device).ok_or(Misuse::NoPlace)
    }
}

/// Reads a size such as `300M`: bytes, or powers of 1024 with K, M or G.
fn bytes_of(text: &str) -> Result<u64, String> {
    let wrong = || format!("{text:?} is no size; write it as 512, 64M or 4G");
    let (digits, factor) = match text.char_indices().last() {
        Some((at, 'k' | 'K')) => (&text[..at], 1 << 10),
        Some((at, 'm' | 'M')) => (&text[..at], 1 << 20),
        Some((at, 'g' | 'G')) => (&text[..at], 1 << 30),
        _ => (text, 1u64),
    };
    let number: u64 = digits.parse().map_err(|_| wrong())?;
    number.checked_mul(factor).ok_or_else(wrong)
}

/// A form of FAT, as it is written on the command line.
#[derive(Clone, Copy, ValueEnum)]
pub(crate) enum FormName {
    /// Up to 16 MiB or so; the smallest images
    Fat12,
    /// 16 to 500 MiB
    Fat16,
    /// From 300 MiB on; what most units and computers read
    Fat32,
}

impl From<FormName> for Kind {
    fn from(name: FormName) -> Self {
        match name {
            FormName::Fat12 => Self::Fat12,
            FormName::Fat16 => Self::Fat16,
            FormName::Fat32 => Self::Fat32,
        }
    }
}

#[derive(ClapArgs)]
pub(crate) struct Examine {
    /// An image, a folder, a zip archive, or a stick such as /dev/sdb; it is only read
    pub(crate) what: PathBuf,
    /// The product folder, to say what its units make of the stick; needs the keyring
    #[arg(long, value_name = "FOLDER")]
    pub(crate) product: Option<PathBuf>,
    /// The owner's board revision; may be given again. All of the product, if left out
    #[arg(long, value_name = "BOARD", requires = "product")]
    pub(crate) board: Vec<String>,
    /// The generation of the owner's unit; may be given again. All that are served, if left out
    #[arg(long, value_name = "NAME", requires = "product")]
    pub(crate) generation: Vec<String>,
    /// The highest issue that the owner's unit has installed
    #[arg(long, value_name = "ISSUE", requires = "product", default_value_t = 0)]
    pub(crate) floor: u64,
    /// Print the examination as JSON
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) secret: Secret,
}

#[cfg(test)]
mod tests {
    use super::bytes_of;

    #[test]
    fn sizes_are_read_as_people_write_them() {
        for (text, bytes) in [("512", 512), ("4K", 4096), ("64M", 64 << 20), ("2g", 2 << 30)] {
            assert_eq!(bytes_of(text), Ok(bytes), "{text}");
        }
        for text in [
            "",
            "M",
            "4T",
            "-1",
            "1.5G",
            "99999999999999999999",
            "18446744073709551615K",
            "4µ",
        ] {
            assert!(bytes_of(text).is_err(), "{text}");
        }
    }
}
