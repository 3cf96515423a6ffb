//! The stages of a power-up, in the order in which a unit passes through them.
//!
//! Each stage is a plain value with a `step`: given the reply to its last wish (or none, when it has just been entered),
//! it either has another [`Wish`] or is over, and says how it ended. No stage knows another: which one comes next is the
//! table's affair, in `machine.rs`.

mod clear;
mod commit;
mod examine;
mod inspect;
mod job;
mod pass;
mod settle;
mod stream;
mod survey;
mod verify;
mod write;

pub(crate) use clear::Clear;
pub(crate) use commit::Commit;
pub(crate) use examine::Confirm;
pub(crate) use inspect::Inspect;
pub(crate) use job::{Job, Source};
pub(crate) use pass::DryPass;
pub(crate) use settle::Settle;
pub(crate) use survey::{Find, Mounting, Survey};
pub(crate) use verify::Verify;
pub(crate) use write::Write;

use crate::buffer::Buffer;
use crate::config::{Config, StartCheck};
use crate::descriptor::Descriptor;
use crate::listing::{Listing, Offer};
use crate::reason::Reason;
use crate::register::{NextWrite, Register, Value};
use crate::request::Reply;
use packstaff_envelope::{ContentKey, Manifest, same_digest};

/// What the machine knows of its own flash, from the start of this power-up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Knowledge {
    /// The image that may be started: its descriptor is whole and not voided, and its digest holds.
    pub(crate) installed: Option<Descriptor>,
    /// A whole descriptor stands in flash, whatever the image.
    pub(crate) stands: bool,
    /// Why there is no image to start, if so.
    pub(crate) lacking: Lacking,
    /// The register.
    pub(crate) register: Register,
    /// Which of two slots holds the image that may be started: the second, or the first.
    pub(crate) runs_second: Option<bool>,
    /// The image in the stage that has still to be copied to the slot.
    pub(crate) to_copy: Option<Descriptor>,
    /// What flash showed of the image that may be started: its digest, as it was read, or what stands for it (see
    /// [`StartCheck`]). Compared once more at the start, so that no single branch that a disturbed processor skips starts
    /// anything.
    pub(crate) shown: [u8; 32],
}

/// Why a unit has nothing to start.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Lacking {
    /// No whole descriptor: a new unit, or an install that was cut short.
    Image,
    /// A whole descriptor whose image does not hold.
    Sound,
}

impl Knowledge {
    pub(crate) const NOTHING: Self = Self {
        installed: None,
        stands: false,
        lacking: Lacking::Image,
        register: Register { records: [None, None] },
        runs_second: None,
        to_copy: None,
        shown: [0; 32],
    };

    /// As [`Knowledge::NOTHING`], made at run time, a part at a time, so that no copy of it need lie in flash.
    pub(crate) fn nothing() -> Self {
        Self {
            installed: None,
            stands: false,
            lacking: Lacking::Image,
            register: Register {
                records: core::array::from_fn(|_| None),
            },
            runs_second: None,
            to_copy: None,
            shown: [0; 32],
        }
    }

    /// Back to nothing, a part at a time, so that no copy of it need lie in flash.
    pub(crate) fn forget(&mut self) {
        // Taken apart in full: a field that is added cannot be left out here.
        let Self {
            installed,
            stands,
            lacking,
            register: Register { records },
            runs_second,
            to_copy,
            shown,
        } = self;
        *installed = None;
        *stands = false;
        *lacking = Lacking::Image;
        for record in records {
            *record = None;
        }
        *runs_second = None;
        *to_copy = None;
        shown.fill(0);
    }
}

impl Lacking {
    pub(crate) const fn reason(self) -> Reason {
        match self {
            Self::Image => Reason::NoImage,
            Self::Sound => Reason::ImageDamaged,
        }
    }
}

/// All that is needed to install one particular update file.
#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Plan {
    pub(crate) volume: packstaff_fat::Volume,
    pub(crate) file: packstaff_fat::Entry,
    pub(crate) manifest: Manifest,
    pub(crate) key: ContentKey,
}

/// A request without its borrowed parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Wish {
    FindStick,
    ReadStick(u64),
    ReadFlash {
        address: u32,
        len: u32,
    },
    DigestFlash {
        address: u32,
        len: u32,
    },
    CheckBlank {
        address: u32,
        len: u32,
    },
    Erase(u32),
    /// Program what the buffer offers.
    Program(u32),
    Ask,
    Tell(Reason),
    Wait(Reason),
    Start,
}

/// What a stage has to say.
#[allow(clippy::large_enum_variant)] // taken apart at once
pub(crate) enum Turn {
    /// Ask the driver.
    Wish(Wish),
    /// This stage is over, and how it ended.
    Over(Outcome),
}

/// How a stage ended, by the stages that can end so. What follows is not for a stage to say: the machine has the table.
#[allow(clippy::large_enum_variant)] // taken apart at once
pub(crate) enum Outcome {
    /// Inspect: what flash holds is known. The register is to say this, if there is anything for it to say.
    Inspected(Option<Value>, Then),
    /// Settle: the register says what it should.
    Settled(Then),
    /// Find: there is a stick of so many blocks.
    Found(u64),
    /// Find: there is none.
    NoStick,
    /// Mount: the stick can be read.
    Mounted(packstaff_fat::Volume),
    /// Survey: there is something to pick from.
    Offers(packstaff_fat::Volume),
    /// Survey: the stick holds what is installed, and nothing else.
    NothingNew,
    /// Ask: this file is wanted, as it was offered.
    Picked(packstaff_fat::Volume, packstaff_fat::Entry, Offer),
    /// Ask: the owner leaves everything as it is.
    Declined,
    /// Confirm: the file is the one that was offered.
    Confirmed(Plan),
    /// The dry pass: all of it is as it was signed.
    Sound(Plan),
    /// Clear: the range is erased.
    Cleared(Job, Source),
    /// Write: the image is programmed.
    Written(Job),
    /// Verify: what flash holds is what was signed.
    Verified(Job),
    /// Commit: the descriptor stands.
    Committed(Job),
    /// Mount, Survey, Confirm and the dry pass: nothing on the stick can be installed, and nothing was changed.
    NoUpdate(Reason),
    /// Clear, Write and Verify: the job cannot be finished.
    BrokenOff(Job, Reason),
    /// Settle, Clear, Commit and Start: the unit's own flash is not as it must be.
    Halted(Reason),
    /// Tell: the owner has been told.
    Told,
    /// Wait: the owner has changed something.
    Changed,
}

/// What is to be done once the register is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Then {
    LookAtStick,
    StartAtOnce,
    /// Inspect once more, and then start: what counts has changed.
    Again,
    /// Inspect once more, and then look at the stick.
    AgainThenLook,
}

/// Where the machine stands.
#[derive(Clone, PartialEq, Eq, Hash)]
#[allow(clippy::large_enum_variant)] // one machine a unit, in one static: the largest stage is the memory it needs
pub(crate) enum Stage {
    Inspect(Inspect),
    Settle(Settle),
    Find(Find),
    Mounting(Mounting),
    Survey(Survey),
    Ask(packstaff_fat::Volume),
    Confirm(Confirm),
    DryPass(DryPass),
    Clear(Clear),
    Write(Write),
    Verify(Verify),
    Commit(Commit),
    Tell(Reason),
    Wait(Reason),
    Start,
}

/// What a stage may look at and change.
pub(crate) struct Context<'a> {
    pub(crate) config: &'a Config<'a>,
    pub(crate) knowledge: &'a mut Knowledge,
    pub(crate) listing: &'a mut Listing,
    pub(crate) buffer: &'a mut Buffer,
    pub(crate) start_check: StartCheck,
}

impl Context<'_> {
    /// The last decision before an image is started.
    fn start(&self) -> Turn {
        let shown = |image: &Descriptor| same_digest(&self.knowledge.shown, &image.image_digest);
        match &self.knowledge.installed {
            Some(image) if shown(image) => Turn::Wish(Wish::Start),
            _ => Turn::Over(Outcome::Halted(Lacking::Sound.reason())),
        }
    }

    /// The owner's answer to the listing.
    fn ask(&mut self, volume: packstaff_fat::Volume, reply: Option<Reply<'_>>) -> Turn {
        match reply {
            Some(Reply::Chosen(None)) => Turn::Over(Outcome::Declined),
            Some(Reply::Chosen(Some(index))) => {
                let picked = self.listing.row(index).and_then(|row| Some((row.file, *row.offer()?)));
                match picked {
                    Some((file, offer)) => {
                        self.listing.clear();
                        Turn::Over(Outcome::Picked(volume, file, offer))
                    }
                    None => Turn::Wish(Wish::Ask),
                }
            }
            _ => Turn::Wish(Wish::Ask),
        }
    }

    /// The next record of the register to write; see [`Register::next`].
    pub(crate) fn next_record(&self, target: Value, finished: Option<usize>) -> Option<NextWrite> {
        self.knowledge.register.next(target, finished)
    }
}

impl Stage {
    /// A stage is entered without a reply, and goes on with one.
    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        match self {
            Self::Inspect(stage) => stage.step(context, reply),
            Self::Settle(stage) => stage.step(context, reply),
            Self::Find(stage) => stage.step(reply),
            Self::Mounting(stage) => stage.step(reply),
            Self::Survey(stage) => stage.step(context, reply),
            Self::Confirm(stage) => stage.step(context, reply),
            Self::DryPass(stage) => stage.step(reply),
            Self::Clear(stage) => stage.step(context, reply),
            Self::Write(stage) => stage.step(context, reply),
            Self::Verify(stage) => stage.step(context, reply),
            Self::Commit(stage) => stage.step(context, reply),
            Self::Ask(volume) => context.ask(*volume, reply),
            Self::Tell(reason) => match reply {
                None => Turn::Wish(Wish::Tell(*reason)),
                Some(_) => Turn::Over(Outcome::Told),
            },
            Self::Wait(reason) => match reply {
                None => Turn::Wish(Wish::Wait(*reason)),
                Some(_) => Turn::Over(Outcome::Changed),
            },
            Self::Start => context.start(),
        }
    }
}
