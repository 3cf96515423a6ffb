//! What the machine asks of its driver, and what the driver answers.

use crate::listing::Listing;
use crate::reason::Reason;

/// One wish of the machine. The driver carries it out and hands the matching [`Reply`] to the next step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Request<'a> {
    /// Is a stick there, and how large is it? Answer: [`Reply::Stick`] or [`Reply::NoStick`].
    FindStick,
    /// Read one 512-byte block of the stick. Answer: [`Reply::Block`] or [`Reply::Failed`].
    ReadStick {
        /// Block number, in blocks of 512 bytes whatever the stick's own block size.
        block: u64,
    },
    /// Read flash. Answer: [`Reply::Flash`] with exactly `len` bytes, or [`Reply::Failed`] if the part reports the cells
    /// as unreadable.
    ReadFlash {
        /// First address.
        address: u32,
        /// Bytes, at most 512.
        len: u32,
    },
    /// SHA-256 over flash. Answer: [`Reply::Digest`], or [`Reply::Failed`] if any of it is unreadable.
    DigestFlash {
        /// First address.
        address: u32,
        /// Bytes.
        len: u32,
    },
    /// Does all of a range read as erased? Answer: [`Reply::Blank`].
    CheckBlank {
        /// First address.
        address: u32,
        /// Bytes.
        len: u32,
    },
    /// Erase the one sector that starts at `address`. Answer: [`Reply::Done`] or [`Reply::Failed`].
    Erase {
        /// First address of the sector.
        address: u32,
    },
    /// Program whole granules, upward. Answer: [`Reply::Done`] or [`Reply::Failed`].
    Program {
        /// First address, a multiple of the granule.
        address: u32,
        /// What to program: whole granules.
        data: &'a [u8],
    },
    /// Let the owner pick. Answer: [`Reply::Chosen`].
    Ask {
        /// What the stick holds, offers first.
        listing: &'a Listing,
    },
    /// Tell the owner why the stick is not used; the unit goes on by itself. Answer: [`Reply::Done`].
    Tell {
        /// Why.
        reason: Reason,
        /// What the stick holds.
        listing: &'a Listing,
    },
    /// Nothing can be started: say why, and wait for another stick or another try. Answer: [`Reply::Done`] when the
    /// owner has changed something.
    Wait {
        /// Why.
        reason: Reason,
        /// What the stick holds.
        listing: &'a Listing,
    },
    /// Start the image. The machine has nothing more to do; any answer gives the same request again.
    Start {
        /// The slot's first address: where the vector table lies.
        address: u32,
    },
}

/// The driver's answer to a [`Request`]. A reply that does not fit the request is taken as [`Reply::Failed`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reply<'a> {
    /// The unit has just been powered: the reply to hand to the very first step.
    PowerUp,
    /// There is no stick.
    NoStick,
    /// There is a stick.
    Stick {
        /// Its size in blocks of 512 bytes.
        blocks: u64,
    },
    /// A block of the stick.
    Block(&'a [u8; packstaff_fat::BLOCK]),
    /// Bytes of flash.
    Flash(&'a [u8]),
    /// A digest of flash.
    Digest([u8; 32]),
    /// Whether the range reads as erased.
    Blank(bool),
    /// The row of the listing that the owner picked; `None` to leave everything as it is.
    Chosen(Option<usize>),
    /// Carried out.
    Done,
    /// Could not be carried out.
    Failed,
}
