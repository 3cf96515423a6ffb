//! Builds in: ELF, Intel HEX, S-record and raw binaries, their segments, and the checks before a
//! release.
//!
//! ```
//! use packstaff_image::{Format, ReadOptions, read};
//!
//! // The example of Debian's srec_intel(5): "Hello, World" and a line feed at address 0.
//! let file = b":0D00000048656C6C6F2C20576F726C640AA1\n:00000001FF\n";
//! let build = read(file, &ReadOptions::default())?;
//! assert_eq!(build.format(), Format::IntelHex);
//! assert_eq!(build.flatten(0..16, 0xFF)?, b"Hello, World\n\xFF\xFF\xFF");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! [`read`] recognises the format from the content, never from a file name, and answers with a
//! [`Build`]: the bytes that the file places, as sorted segments, and [`Note`]s about what was
//! unusual but not wrong. What is wrong is a [`ReadError`] that says where. Memory is bounded by
//! the file's size, whatever addresses the file names; only [`Build::flatten`] allocates a range,
//! and its caller chooses it.
//!
//! [`checks::examine`] then compares a build with the place it is meant for.

mod assemble;
mod build;
pub mod checks;
mod elf;
mod error;
mod hex;
mod note;
mod raw;
mod recognise;
mod srecord;
mod text;

pub use build::{Build, FlattenError, Machine, Segment};
pub use error::{ElfFault, Place, Position, ReadError, RecordFault};
pub use note::Note;
pub use recognise::{Format, recognise};

/// What [`read`] cannot learn from the bytes themselves.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct ReadOptions {
    /// The address of the first byte of a raw binary. Needed for raw binaries; the other formats
    /// carry their addresses, so for them it is ignored and a [`Note::BaseIgnored`] says so.
    pub raw_base: Option<u32>,
}

/// Reads a build in whichever format its content shows.
///
/// # Errors
/// Any deviation that could make two readers of the same file disagree about the bytes: see
/// [`ReadError`].
pub fn read(bytes: &[u8], options: &ReadOptions) -> Result<Build, ReadError> {
    if bytes.is_empty() {
        return Err(ReadError::Empty);
    }
    let format = recognise(bytes);
    let mut build = match format {
        Format::Elf => elf::read(bytes)?,
        Format::IntelHex => hex::read(bytes)?,
        Format::SRecord => srecord::read(bytes)?,
        Format::Raw => return raw::read(bytes, options.raw_base),
    };
    if let Some(base) = options.raw_base {
        build.note(Note::BaseIgnored { base, format });
    }
    Ok(build)
}
