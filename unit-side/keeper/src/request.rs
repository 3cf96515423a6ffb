//! What the keeper asks of its driver, and what the driver answers.

use crate::carry::CarryFault;

/// One wish of the keeper. The driver carries it out and hands the matching [`Reply`] to the next step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Request<'a> {
    /// Read the settings memory. Answer: [`Reply::Bytes`] with exactly `len` bytes, or [`Reply::Failed`].
    Read {
        /// First address.
        address: u32,
        /// Bytes, at most 128.
        len: u32,
    },
    /// Write, and wait until it is done: within one page, or whole granules. Answer: [`Reply::Done`] or [`Reply::Failed`].
    Write {
        /// First address.
        address: u32,
        /// What to write, at most 128 bytes.
        data: &'a [u8],
    },
    /// Erase the sector of flash that begins at `address`. Answer: [`Reply::Done`] or [`Reply::Failed`].
    Erase {
        /// First address of the sector.
        address: u32,
    },
    /// Nothing to do: the settings are there, or saved. Any reply gives the same again.
    Rest(Found),
    /// The keeper cannot go on; nothing that was there was given up. Any reply gives the same again.
    Stuck(Stuck),
}

/// The driver's answer. One that does not fit the request is taken as [`Reply::Failed`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reply<'a> {
    /// The unit has just been powered, or a save has just been begun.
    Go,
    /// Bytes of the memory.
    Bytes(&'a [u8]),
    /// Carried out.
    Done,
    /// Could not be carried out.
    Failed,
}

/// What settings there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Found {
    /// None: a new unit. Save some.
    Nothing,
    /// This version's.
    Ours,
    /// Those of the version with this layout, carried over.
    CarriedOver {
        /// Its layout.
        from: u16,
        /// What this layout could hold of an earlier stay of this version was given back.
        given_back: bool,
    },
}

/// Why a keeper cannot go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Stuck {
    /// Trouble with the memory.
    Memory(Trouble),
    /// There are settings of this layout, and no table for it: neither one of ours, nor one that was left for us.
    Foreign {
        /// Their layout.
        layout: u16,
    },
    /// The table for this layout cannot be run.
    Carry {
        /// The settings' layout.
        layout: u16,
        /// Why not.
        fault: CarryFault,
    },
}

/// Why the memory cannot be worked with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Trouble {
    /// The memory does not answer, or refuses.
    Silent,
    /// Nothing that is written can be read back: the memory is worn out.
    Worn,
    /// There are settings of a version whose records are longer than this one can hold.
    Longer,
    /// The configuration is not one that a keeper can work with.
    Config,
}
