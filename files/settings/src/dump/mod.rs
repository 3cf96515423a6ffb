//! Settings out of a memory dump, and into an image.
//!
//! - [`copies`] finds the records in a dump and says of each what holds and what does not.
//! - [`read()`] decodes the best there is, field by field, each with how far it can be believed.
//! - A [`Node`] shows decoded settings as TOML or JSON; [`from_text`] reads values that people wrote.
//! - [`image`] puts records where a unit looks for them.

mod numbers;
mod read;
mod record;
mod show;
mod store;
mod values;

pub(crate) use numbers::number_bytes;
pub(crate) use read::shown;
pub use read::{Content, Doubt, Node, Reading, Value, read, read_record};
pub use record::{Copy, Flaw, copies, seal};
pub use store::{LARGEST_IMAGE, image};
pub use values::from_text;

use thiserror::Error;

/// Why a dump cannot be read or an image not be made.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum DumpError {
    /// No byte of any record is in it.
    #[error(
        "the dump has {found} bytes; the first record of this layout begins at byte {first:#x} and has {size} bytes. Read the whole settings memory, or give one record alone"
    )]
    TooShort {
        /// Bytes of the dump.
        found: usize,
        /// Where the first record begins.
        first: u32,
        /// Bytes of a record.
        size: u32,
    },
    /// A record of another size.
    #[error("a record of this layout has {expected} bytes, and {found} are given")]
    RecordSize {
        /// Bytes given.
        found: usize,
        /// Bytes of a record.
        expected: u32,
    },
    /// Nothing in it is a record.
    #[error("the dump holds no record of this layout: {why}")]
    Nothing {
        /// What was found at the places of the copies.
        why: String,
    },
    /// An image that would not fit.
    #[error("the image would have {needed} bytes, and {size} are given with --size")]
    ImageSize {
        /// Bytes needed.
        needed: u64,
        /// Bytes given.
        size: u64,
    },
}
