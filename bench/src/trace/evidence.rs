//! What an owner sent, read in.

use super::{Sent, TraceError};
use crate::Bench;
use packstaff_fat::Block;
use packstaff_installer::Reason;
use packstaff_product::Board;
use packstaff_stick::{BlockSource, SeekSource};
use packstaff_trace::{Evidence, Readout, StickInput};
use packstaff_unit::stick::{Blocks, Stick};
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::Mutex;
use thiserror::Error;

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

/// What stands behind the `@` of a file's name is no address.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("`{0}` is no address: write it as 0x08010000, up to 0xffffffff")]
pub struct AddressError(String);

impl FromStr for FlashFile {
    type Err = AddressError;

    /// `FILE` or `FILE@ADDRESS`. What follows the last `@` is an address only if it begins with a digit.
    fn from_str(text: &str) -> Result<Self, AddressError> {
        if let Some((path, address)) = text
            .rsplit_once('@')
            .filter(|(_, at)| at.starts_with(|c: char| c.is_ascii_digit()))
        {
            let parsed = match address.strip_prefix("0x") {
                Some(digits) => u32::from_str_radix(digits, 16),
                None => address.parse(),
            };
            return Ok(Self {
                path: path.into(),
                base: Some(parsed.map_err(|_| AddressError(address.to_owned()))?),
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
    /// The reason whose code is on the display.
    pub code: Option<Reason>,
    /// A dump of the settings memory.
    pub settings: Option<PathBuf>,
}

/// What was sent, as it was read for one board.
pub(super) fn sent(given: &Given, evidence: &Evidence) -> Vec<Sent> {
    let readouts = evidence.readouts.iter().map(|readout| Sent::Flash {
        name: readout.name.clone(),
        bytes: readout.len(),
        first: readout.pieces.first().map_or(0, |(address, _)| *address),
    });
    let stick = evidence.stick.iter().map(|stick| Sent::Stick {
        name: stick.name.clone(),
        bytes: stick.stick.blocks() * packstaff_fat::BLOCK as u64,
    });
    let code = evidence.code.map(Sent::Code);
    let settings = given.settings.iter().map(|path| Sent::Settings {
        name: path.display().to_string(),
    });
    readouts.chain(stick).chain(code).chain(settings).collect()
}

/// Reads what was sent, for a unit of this board.
///
/// # Errors
/// A file cannot be read, or what is in it is not what it should be.
pub fn gather(bench: &Bench, board: &Board, given: &Given) -> Result<Evidence, TraceError> {
    let base = bench.part(board)?.base;
    let readouts = given.flash.iter().map(|file| readout(file, base));
    Ok(Evidence {
        readouts: readouts.collect::<Result<_, _>>()?,
        stick: given.stick.as_deref().map(stick_image).transpose()?,
        code: given.code,
    })
}

fn readout(file: &FlashFile, base: u32) -> Result<Readout, TraceError> {
    let path = || file.path.clone();
    let failed = |error| TraceError::Readout { path: path(), error };
    let opened = File::open(&file.path).map_err(failed)?;
    let mut content = Vec::new();
    opened.take(READOUT_MAX + 1).read_to_end(&mut content).map_err(failed)?;
    if content.len() as u64 > READOUT_MAX {
        return Err(TraceError::ReadoutTooLong {
            path: path(),
            most: READOUT_MAX,
        });
    }
    let name = file.path.display().to_string();
    let read = Readout::read(&name, &content, file.base.unwrap_or(base));
    read.map_err(|error| TraceError::NoReadout { path: path(), error })
}

fn stick_image(path: &Path) -> Result<StickInput, TraceError> {
    if path.is_dir() {
        return Err(TraceError::Folder(path.to_owned()));
    }
    let failed = |error| TraceError::StickImage {
        path: path.to_owned(),
        error,
    };
    let source = SeekSource::new(File::open(path).map_err(failed)?).map_err(failed)?;
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
