//! Records in one region: found at power-up, and written one after another round the region.
//!
//! At rest one record is whole, and everything else is void: what lies there says so, or reads as erased. A save writes the next
//! record beside it, its head last; reads it back; and only then makes the old one void. Whatever moment a cut falls into, one
//! record is left that was written to its end.
//!
//! A cut can leave a record that reads as whole today and not tomorrow, so reading well is not enough. Each record names the
//! one that was relied on when it was begun:
//!
//! | found | what is known | done before anything is reported |
//! | --- | --- | --- |
//! | one whole, and the one it names is not | it was finished: the other was made void after that | what is broken is made void |
//! | two whole, one names the other | the other one is sure, this one may not be | the newer one is written once more, then all others are made void |
//! | one whole that names none | the very first one, and nothing is sure | it is written once more, and once more with a name |
//! | none | nothing | what is broken is made void |
//!
//! A remnant that does not read as whole is made void as well, so that it cannot come back later.

mod places;
mod scan;
mod write;

use crate::config::{CHUNK_MAX, Spots};
use crate::record::Head;
use crate::request::{Reply, Trouble};
use scan::Scan;
use write::{Clean, Write};

/// Most bytes that are read at once.
pub(crate) const READ_MAX: u32 = 64;

/// How often a place that does not read well is read again before it counts as broken: a disturbed bus must not cost a record.
const REREADS_MAX: u8 = 2;

/// How often a region is gone through again because a record read otherwise the second time, before that record is distrusted.
const RESCANS_MAX: u8 = 2;

/// A record and where it lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct At {
    pub(crate) spot: u32,
    pub(crate) head: Head,
}

/// What is asked of the memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ask {
    Read {
        address: u32,
        len: u32,
    },
    /// So many bytes of the chunk.
    Write {
        address: u32,
        len: u32,
    },
    Erase {
        address: u32,
    },
}

/// What comes of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Turn {
    Ask(Ask),
    /// Found, or saved: the payload is in the buffer.
    Done,
    Trouble(Trouble),
}

/// What a step works with.
pub(crate) struct Context<'a> {
    pub(crate) spots: Spots,
    /// The payload: of the record that was found, or of the one to be written.
    pub(crate) payload: &'a mut [u8],
    pub(crate) chunk: &'a mut [u8; CHUNK_MAX],
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Stage {
    Idle,
    Scan(Scan),
    Fetch(scan::Fetch),
    Write(Write),
    Clean(Clean),
}

/// The records of one region.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Ring {
    stage: Stage,
    /// The newest whole record.
    pub(crate) newest: Option<At>,
    /// The record that is relied on: written to its end for sure.
    sure: Option<At>,
    turns: [u32; crate::config::SPOTS_MAX as usize],
    whole: u32,
    broken: u32,
    free: u32,
    worn: u32,
    /// Records that read as whole and, again and again, did not when they were fetched.
    distrusted: u32,
    longer: bool,
    rescans: u8,
}

/// Only what the ring still goes by: what it learns of single places while it looks for records is of no account afterwards.
impl core::hash::Hash for Ring {
    fn hash<H: core::hash::Hasher>(&self, hasher: &mut H) {
        (self.stage, self.newest, self.sure).hash(hasher);
        (self.whole, self.broken, self.free, self.worn).hash(hasher);
        if matches!(self.stage, Stage::Scan(_) | Stage::Fetch(_)) {
            (self.turns, self.distrusted, self.longer, self.rescans).hash(hasher);
        }
    }
}

pub(crate) const fn bit(spot: u32) -> u32 {
    1_u32.wrapping_shl(spot)
}

impl Ring {
    pub(crate) const fn new() -> Self {
        Self {
            stage: Stage::Idle,
            newest: None,
            sure: None,
            turns: [0; crate::config::SPOTS_MAX as usize],
            whole: 0,
            broken: 0,
            free: 0,
            worn: 0,
            distrusted: 0,
            longer: false,
            rescans: 0,
        }
    }

    /// Begins to look for records.
    pub(crate) fn load(&mut self, context: &mut Context<'_>) -> Turn {
        *self = Self::new();
        self.go(Stage::Scan(Scan::at(0)), context)
    }

    /// Begins to write the payload of this layout and length as the next record.
    pub(crate) fn save(&mut self, context: &mut Context<'_>, layout: u16, len: u16) -> Turn {
        self.begin(context, layout, len)
    }

    /// Takes the reply to what was asked.
    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Reply<'_>) -> Turn {
        match self.stage {
            Stage::Idle => Turn::Done,
            Stage::Scan(scan) => self.scanned(context, scan, reply),
            Stage::Fetch(fetch) => self.fetched(context, fetch, reply),
            Stage::Write(write) => self.written(context, write, reply),
            Stage::Clean(clean) => self.cleaned(context, clean, reply),
        }
    }

    /// Enters a stage and asks what it asks.
    fn go(&mut self, stage: Stage, context: &mut Context<'_>) -> Turn {
        self.stage = stage;
        match stage {
            Stage::Idle => Turn::Done,
            Stage::Scan(scan) => self.ask_scan(context, scan),
            Stage::Fetch(fetch) => self.ask_fetch(context, fetch),
            Stage::Write(write) => self.ask_write(context, write),
            Stage::Clean(clean) => self.ask_clean(context, clean),
        }
    }

    fn trouble(&mut self, trouble: Trouble) -> Turn {
        self.stage = Stage::Idle;
        Turn::Trouble(trouble)
    }
}
