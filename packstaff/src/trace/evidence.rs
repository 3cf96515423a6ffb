//! What an owner sent, read in.

use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::Bench;
use packstaff_fat::Block;
use packstaff_product::Board;
use packstaff_stick::{BlockSource, SeekSource};
use packstaff_trace::{Evidence, Readout, ReasonSeen, StickInput, reason_of};
use packstaff_unit::stick::{Blocks, Stick};
use packstaff_words::text::{bytes, visible};
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::Mutex;

/// Largest read-out, in bytes of its file. Text formats take about three characters a byte.
const READOUT_MAX: u64 = 64 << 20;

/// A file with a read-out, and where its bytes begin if it does not say so itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FlashFile {
    /// The file.
    pub path: PathBuf,
    /// First address of a raw binary; `None`: the start of the part's flash.
    pub base: Option<u32>,
}

impl FromStr for FlashFile {
    type Err = String;

    /// `FILE` or `FILE@ADDRESS`. What follows the last `@` is an address only if it begins with a digit.
    fn from_str(text: &str) -> Result<Self, String> {
        if let Some((path, address)) = text
            .rsplit_once('@')
            .filter(|(_, at)| at.starts_with(|c: char| c.is_ascii_digit()))
        {
            let parsed = match address.strip_prefix("0x") {
                Some(digits) => u32::from_str_radix(digits, 16),
                None => address.parse(),
            };
            let base =
                parsed.map_err(|_| format!("`{address}` is no address: write it as 0x08010000, up to 0xffffffff"))?;
            return Ok(Self {
                path: path.into(),
                base: Some(base),
            });
        }
        Ok(Self {
            path: text.into(),
            base: None,
        })
    }
}

/// All that was sent.
#[derive(Clone, Debug, Default)]
pub struct Given {
    /// Read-outs of flash.
    pub flash: Vec<FlashFile>,
    /// The image of the stick.
    pub stick: Option<PathBuf>,
    /// The code on the display.
    pub code: Option<String>,
    /// A dump of the settings memory.
    pub settings: Option<PathBuf>,
}

impl Given {
    /// What was sent, in words.
    pub(super) fn words(&self, evidence: &Evidence) -> Vec<String> {
        let readouts = evidence.readouts.iter().map(|readout| {
            let first = readout.pieces.first().map_or(0, |(address, _)| *address);
            format!(
                "{}: flash, {} from {first:#010x}",
                visible(&readout.name),
                bytes(readout.len())
            )
        });
        let stick = evidence.stick.iter().map(|stick| {
            format!(
                "{}: the stick, {}",
                visible(&stick.name),
                bytes(stick.stick.blocks() * packstaff_fat::BLOCK as u64)
            )
        });
        let code = evidence
            .code
            .iter()
            .map(|code| format!("the display shows {}", code.code));
        let settings = self.settings.iter();
        let settings = settings.map(|dump| format!("{}: the settings memory", visible(&dump.display().to_string())));
        readouts.chain(stick).chain(code).chain(settings).collect()
    }
}

/// Reads what was sent, for a unit of this board.
///
/// # Errors
/// A file cannot be read, or what is in it is not what it should be.
pub fn gather(bench: &Bench, board: &Board, given: &Given) -> Result<Evidence> {
    let base = bench.part(board).told()?.base;
    let readouts = given.flash.iter().map(|file| readout(file, base));
    Ok(Evidence {
        readouts: readouts.collect::<Result<_>>()?,
        stick: given.stick.as_deref().map(stick_image).transpose()?,
        code: given.code.as_deref().map(code).transpose()?,
    })
}

fn readout(file: &FlashFile, base: u32) -> Result<Readout> {
    let name = file.path.display().to_string();
    let failed = || format!("the read-out {name} cannot be read");
    let opened = File::open(&file.path).into_diagnostic().wrap_err_with(failed)?;
    let mut content = Vec::new();
    opened
        .take(READOUT_MAX + 1)
        .read_to_end(&mut content)
        .into_diagnostic()
        .wrap_err_with(failed)?;
    if content.len() as u64 > READOUT_MAX {
        return Err(miette::miette!(
            help = "send the program flash alone",
            "the read-out {name} has more than {} bytes: no unit's flash is so large",
            READOUT_MAX
        ));
    }
    Readout::read(&name, &content, file.base.unwrap_or(base))
        .into_diagnostic()
        .wrap_err_with(failed)
}

fn code(text: &str) -> Result<ReasonSeen> {
    reason_of(text).into_diagnostic()
}

fn stick_image(path: &Path) -> Result<StickInput> {
    let failed = || format!("the stick image {} cannot be read", path.display());
    if path.is_dir() {
        return Err(miette::miette!(
            help = "send an image of the whole stick: a folder shows its files, and not what a unit makes of them",
            "{} is a folder",
            path.display()
        ));
    }
    let file = File::open(path).into_diagnostic().wrap_err_with(failed)?;
    let source = SeekSource::new(file).into_diagnostic().wrap_err_with(failed)?;
    Ok(StickInput {
        name: path.display().to_string(),
        stick: Stick::new(Image(source.blocks(), Mutex::new(source))),
    })
}

/// An image that is read block by block, whatever its size.
struct Image(u64, Mutex<SeekSource<File>>);

impl Blocks for Image {
    fn blocks(&self) -> u64 {
        self.0
    }

    fn block(&self, number: u64) -> Option<Block> {
        self.1.lock().ok()?.read(number).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_read_and_at_signs_in_names_are_not() {
        let read = |text: &str| {
            text.parse::<FlashFile>()
                .map(|file| (file.path.display().to_string(), file.base))
        };
        assert_eq!(read("a.bin@0x08010000"), Ok(("a.bin".into(), Some(0x0801_0000))));
        assert_eq!(read("a@b.bin"), Ok(("a@b.bin".into(), None)));
        assert_eq!(read("a@b.bin@16"), Ok(("a@b.bin".into(), Some(16))));
        assert_eq!(read("a.hex"), Ok(("a.hex".into(), None)));
        assert!(read("a.bin@0x123456789").is_err());
        assert!(read("a.bin@1g").is_err());
    }
}
