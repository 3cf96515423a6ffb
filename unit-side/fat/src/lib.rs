//! A read-only FAT12/16/32 reader without input or output of its own, for the unit and the host alike.
//!
//! Every part is a step machine over plain data. Its `step` either answers [`Step::Read`]`(n)`, meaning "call me again
//! with block `n`", or [`Step::Ready`] with a result. The order of work is
//!
//! 1. [`Mount`]: block 0, at most four partitions, gives a [`Volume`];
//! 2. [`RootReader`]: the entries of the root, one by one;
//! 3. [`FileReader`]: the data blocks of one file, in order. It never touches the data: the caller reads those blocks.
//!
//! # What holds on any input
//!
//! * No panic, no allocation, no recursion, no unsafe code. Each step does a bounded amount of work: at most one block's
//!   worth of entries.
//! * The number of reads is bounded, by [`Mount::MAX_READS`], [`Volume::max_directory_reads`] and
//!   [`Volume::max_file_reads`].
//! * After mounting, no block outside the volume is ever asked for; before it, only block 0 and first blocks of partitions
//!   that lie on the device.
//! * A file is given whole or ends in an error: a chain that is shorter than the size, that loops, that meets a free, a bad
//!   or an impossible cluster is an error of its own, never a short or a repeated file. What no reader of one chain can see
//!   (two files sharing clusters) is left to the digest of the contents.
//!
//! # Blocks, sectors, clusters
//!
//! A *block* here is always 512 bytes, numbered from the start of the device; a driver of a stick with larger blocks
//! presents them in 512-byte pieces and says so with [`Mount::with_device_block`], because partition tables count device
//! blocks. A *sector* is the volume's own unit, 512 to 4096 bytes. A *cluster* is 1 to 128 sectors, at most 64 KiB.
//!
//! # Source of the format
//!
//! Microsoft, *FAT: General Overview of On-Disk Format*, 1.03 (2000), called "the FAT specification" in these pages;
//! ECMA-107 (ISO/IEC 9293) says the same of FAT12 and FAT16. Partition tables: UEFI Specification 2.10, chapter 5.
//!
//! # Where the specification leaves a choice
//!
//! | found | what this reader does |
//! | --- | --- |
//! | 16-bit FAT size is zero | FAT32, whatever the cluster count; drivers in use do the same, and such a volume has no fixed root, so nothing else could be meant. [`Volume::is_undersized_fat32`] tells. |
//! | 16-bit FAT size is not zero | FAT12 below 4085 clusters, FAT16 below 65,525, else refused |
//! | GPT | refused, unless its protective table also lists FAT partitions |
//! | EFI system partition (type EF) | passed over: a start-up stick's owner does not see it, so the file is not there |
//! | extended partition | not followed |
//! | overlapping partitions | not looked for: the first that mounts is taken |
//! | sectors of 1024 to 4096 bytes | read, on devices of any block size |
//! | total sectors in both fields | the 16-bit one counts |
//! | a clean-unmount mark that is missing | read all the same; [`Volume::is_marked_dirty`] tells |
//! | a chain longer than the size | read, once the chain is seen to end; [`FileReader::slack`] tells |
//! | long name whose checksum or order is wrong | the short entry alone |

#![no_std]
#![forbid(unsafe_code)]
#![cfg_attr(
    not(test),
    deny(
        clippy::arithmetic_side_effects,
        clippy::expect_used,
        clippy::indexing_slicing,
        clippy::panic,
        clippy::unreachable,
        clippy::unwrap_used
    )
)]

#[cfg(test)]
extern crate std;

mod boot;
mod bytes;
mod chain;
mod detail;
mod directory;
mod entry;
mod error;
mod file;
mod kind;
mod long_name;
mod mount;
mod partition;
mod stamp;
mod volume;

pub use boot::{is_other_format, looks_like_volume};
pub use detail::Detail;
pub use directory::{DirectoryReader, MAX_DIRECTORY_ENTRIES, RootReader};
pub use entry::{Entry, ShortName, attributes};
pub use error::Error;
pub use file::{DataBlock, FileReader};
pub use kind::ErrorKind;
pub use long_name::{LongName, short_name_checksum};
pub use mount::{DeviceBlock, Mount};
pub use partition::{Partition, PartitionTable};
pub use stamp::{Calendar, Stamp};
pub use volume::{Kind, Marks, Volume};

/// Bytes in one block.
pub const BLOCK: usize = 512;

/// One block of the device.
pub type Block = [u8; BLOCK];

/// What a step asks for or gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Step<T> {
    /// Call `step` again with this block (numbered in 512-byte blocks from the start of the device).
    Read(u64),
    /// The result.
    Ready(T),
}
