//! Memory-stick images, made byte for byte reproducibly, and what is on any stick, read with the very code that a unit runs.
//!
//! [`build`] makes a [`StickImage`] from a [`StickSpec`]: a partition table or none, a FAT12, FAT16 or FAT32 volume, and files in its
//! root, each in one piece. Nothing in it depends on anything but the spec. The image is kept as the few stretches that are not
//! zero, so a stick of hundreds of megabytes costs little memory, and little disk where files can have holes.
//!
//! [`listing`] and [`read_file`] drive the `fat` crate over any [`BlockSource`].
//!
//! ```
//! use packstaff_stick::{Calendar, StickFile, StickSpec, build, listing};
//!
//! let made = Calendar { year: 2026, month: 1, day: 5, hour: 12, minute: 0, second: 0 };
//! let file = StickFile { name: "NOTE.TXT".to_owned(), contents: b"for the kiln".to_vec() };
//! let spec = StickSpec { files: vec![file], ..StickSpec::usual(0x1234_5678, made) };
//! let stick = build(&spec)?;
//! let listing = listing(&stick)?;
//! assert_eq!((listing.entries.len(), listing.stopped), (1, None));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![forbid(unsafe_code)]

pub mod deliver;
mod error;
pub mod examine;
mod geometry;
mod image;
mod name;
mod reader;
pub mod recognise;
mod source;
mod spec;
pub mod table;
mod write_fat;

pub use error::{ReadError, StickError};
pub use image::StickImage;
pub use name::{label, short_name};
pub use reader::{Listed, Listing, listing, listing_with_device_block, read_file};
pub use source::{BlockSource, Counted, FnSource, SeekSource, Window};
pub use spec::{StickFile, StickSpec};
pub use write_fat::build;

pub use packstaff_fat::{Block, Calendar, DeviceBlock, Kind};
