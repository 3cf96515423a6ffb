//! A read-out of flash: bytes, and where they lie.

use packstaff_image::{Format, ReadError, ReadOptions, read};
use thiserror::Error;

/// Bytes that were read from a unit's flash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Readout {
    /// What to call it: a file's name.
    pub name: String,
    /// The pieces: first address and bytes, sorted, not overlapping.
    pub pieces: Vec<(u32, Vec<u8>)>,
}

/// A file that is no read-out.
#[derive(Debug, Error)]
pub enum ReadoutError {
    /// It is an ELF file.
    #[error(
        "this is an ELF file: what a linker made, not what a unit holds. Send the bytes that were read from the unit, as a raw binary, Intel HEX or S-record file"
    )]
    Elf,
    /// It cannot be read.
    #[error(transparent)]
    File(#[from] ReadError),
}

impl Readout {
    /// Reads a file in whichever format its content shows: Intel HEX, S-record, or raw bytes that begin at `raw_base`.
    ///
    /// # Errors
    /// Why the bytes cannot be placed.
    pub fn read(name: &str, file: &[u8], raw_base: u32) -> Result<Self, ReadoutError> {
        let options = ReadOptions {
            raw_base: Some(raw_base),
        };
        let build = read(file, &options)?;
        if build.format() == Format::Elf {
            return Err(ReadoutError::Elf);
        }
        let pieces = build
            .segments()
            .iter()
            .map(|segment| (segment.address, segment.data.clone()));
        Ok(Self {
            name: name.to_owned(),
            pieces: pieces.collect(),
        })
    }

    /// How many bytes it has.
    pub fn len(&self) -> u64 {
        self.pieces.iter().map(|(_, bytes)| bytes.len() as u64).sum()
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.pieces.iter().all(|(_, bytes)| bytes.is_empty())
    }
}
