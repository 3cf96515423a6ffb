//! The machine itself: it keeps the stage, and turns wishes into requests.

use crate::buffer::Buffer;
use crate::config::{Config, Layout, StartCheck};
use crate::descriptor::Descriptor;
use crate::flaw::Flawed;
use crate::geometry::Region;
use crate::listing::Listing;
use crate::reason::Reason;
use crate::request::{Reply, Request};
use crate::stages::{Confirm, Context, Inspect, Knowledge, Stage, Turn, Wish};

/// The installer of one unit, from power-up to the start of its image.
///
/// It performs no input or output: a driver calls [`step`](Self::step) with [`Reply::PowerUp`], carries out the request
/// that comes back, hands the reply to the next step, and so on until [`Request::Start`]. The whole memory of the machine
/// is this one plain value; after a cut nothing of it is left, and a new one starts from [`Installer::new`].
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct Installer {
    stage: Stage,
    knowledge: Knowledge,
    listing: Listing,
    buffer: Buffer,
    flawed: Flawed,
    start_check: StartCheck,
}

/// What a unit is doing, for a display: poll it between steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Progress {
    /// The phase.
    pub phase: Phase,
    /// How much of it is done, in the phase's own measure (bytes or sectors).
    pub done: u32,
    /// How much there is to do; 0 where the phase has no measure.
    pub total: u32,
}

/// The phases of a power-up, as an owner sees them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Phase {
    /// Checking the unit's own flash.
    Inspect,
    /// Looking for a stick, and through it.
    Survey,
    /// The owner is asked, or told, something.
    Owner,
    /// Checking the chosen file as a whole; nothing has been erased yet.
    Check,
    /// Erasing; from here on the unit needs this file, or another good one, to run again.
    Erase,
    /// Programming.
    Program,
    /// Checking what was programmed, and committing it.
    Confirm,
    /// The image is started.
    Start,
}

impl Default for Installer {
    /// As [`Installer::new`], but made at run time: then no copy of its kilobyte of emptiness lies in flash.
    fn default() -> Self {
        Self {
            stage: Stage::Inspect(Inspect::at_power_up()),
            knowledge: Knowledge::nothing(),
            listing: Listing::empty(),
            buffer: Buffer::EMPTY,
            flawed: Flawed::NO,
            start_check: StartCheck::EveryStart,
        }
    }
}

impl Installer {
    /// The machine at power-up.
    pub const fn new() -> Self {
        Self {
            stage: Stage::Inspect(Inspect::at_power_up()),
            knowledge: Knowledge::NOTHING,
            listing: Listing::EMPTY,
            buffer: Buffer::EMPTY,
            flawed: Flawed::NO,
            start_check: StartCheck::EveryStart,
        }
    }

    /// A machine that digests the image at the times that are chosen. A choice of the board's author: the rehearsal says on which
    /// parts [`StartCheck::AfterInstall`] is safe.
    #[cfg(feature = "by-descriptor")]
    pub const fn with_start_check(start_check: StartCheck) -> Self {
        let mut machine = Self::new();
        machine.start_check = start_check;
        machine
    }

    /// A machine whose processor passes a decision by.
    #[cfg(feature = "flaws")]
    pub fn passing_by(skipped: crate::Skipped) -> Self {
        Self {
            flawed: Flawed::passing_by(skipped),
            ..Self::new()
        }
    }

    /// A machine with a deliberate mistake, for the rehearsal to catch.
    #[cfg(feature = "flaws")]
    pub fn with_flaw(flaw: crate::Flaw) -> Self {
        Self {
            flawed: Flawed::with(flaw),
            ..Self::new()
        }
    }

    /// The same machine on a unit that was updated less often: the turns of its register are lower by `less`, and all else is as it
    /// was, because turns are counted up and compared with each other, and nothing more.
    #[cfg(feature = "explored")]
    #[must_use]
    pub fn with_turns_less(mut self, less: u32) -> Self {
        for record in self.knowledge.register.records.iter_mut().flatten() {
            *record = record.with_turn_less(less);
        }
        if let Stage::Raise(raise) = &mut self.stage {
            raise.lower_turns(less);
        }
        self
    }

    /// Takes the reply to the last request and makes the next one.
    ///
    /// The first reply must be [`Reply::PowerUp`]. A reply that does not fit the last request counts as a failed
    /// operation: the machine stays safe, whatever its driver does.
    pub fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
        let mut reply = match reply {
            Reply::PowerUp => {
                // In place: a second whole machine would have to lie on the stack. The first stage forgets the rest.
                self.stage = Stage::Inspect(Inspect::at_power_up());
                self.buffer.clear();
                None
            }
            other => Some(other),
        };
        // Stages follow one another in a fixed order, each entered without a reply: every turn but the last moves on.
        loop {
            let turn = match reply {
                Some(reply) if self.stage.is_question() => self.answered(reply),
                _ => {
                    let mut context = Context {
                        config,
                        knowledge: &mut self.knowledge,
                        listing: &mut self.listing,
                        buffer: &mut self.buffer,
                        flawed: self.flawed,
                        start_check: self.start_check,
                    };
                    self.stage.step(&mut context, reply)
                }
            };
            match turn {
                Turn::Wish(wish) => return self.request(config, wish),
                Turn::Go(stage) => self.stage = stage,
            }
            reply = None;
        }
    }

    /// What follows the owner's answer to a question.
    fn answered(&mut self, reply: Reply<'_>) -> Turn {
        Turn::Go(match (&self.stage, reply) {
            (Stage::Ask(volume), Reply::Chosen(Some(index))) => {
                let Some((file, offer)) = self.listing.row(index).and_then(|row| Some((row.file, *row.offer()?)))
                else {
                    return Turn::Wish(Wish::Ask);
                };
                let confirm = Confirm::new(*volume, file, &offer);
                self.listing.clear();
                Stage::Confirm(confirm)
            }
            (Stage::Ask(_), Reply::Chosen(None)) => match self.knowledge.installed {
                Some(_) => Stage::Start,
                None => Stage::Wait(Reason::Declined),
            },
            (Stage::Ask(_), _) => return Turn::Wish(Wish::Ask),
            (Stage::Wait(_), _) => Stage::Inspect(Inspect::at_power_up()),
            (Stage::Tell(_), _) => Stage::Start,
            _ => Stage::Start,
        })
    }

    fn request(&self, config: &Config<'_>, wish: Wish) -> Request<'_> {
        let listing = &self.listing;
        match wish {
            Wish::FindStick => Request::FindStick,
            Wish::ReadStick(block) => Request::ReadStick { block },
            Wish::ReadFlash { address, len } => Request::ReadFlash { address, len },
            Wish::DigestFlash { address, len } => Request::DigestFlash { address, len },
            Wish::CheckBlank { address, len } => Request::CheckBlank { address, len },
            Wish::Erase(address) => Request::Erase { address },
            Wish::Program(address) => Request::Program {
                address,
                data: self.buffer.offered(),
            },
            Wish::Ask => Request::Ask { listing },
            Wish::Tell(reason) => Request::Tell { reason, listing },
            Wish::Wait(reason) => Request::Wait { reason, listing },
            Wish::Start => Request::Start {
                address: self.starts(config).base,
            },
        }
    }

    /// The slot whose image is started.
    fn starts(&self, config: &Config<'_>) -> Region {
        match config.layout() {
            Layout::Paired { second } if self.knowledge.runs_second == Some(true) => second,
            _ => config.slot,
        }
    }

    /// What the unit is doing.
    pub fn progress(&self, config: &Config<'_>) -> Progress {
        let (phase, (done, total)) = match &self.stage {
            Stage::Inspect(_) | Stage::Raise(_) => (Phase::Inspect, (0, 0)),
            Stage::Find(_) | Stage::Mounting(_) | Stage::Survey(_) | Stage::Confirm(_) => (Phase::Survey, (0, 0)),
            Stage::Ask(_) | Stage::Tell(_) | Stage::Wait(_) => (Phase::Owner, (0, 0)),
            Stage::DryPass(pass) => (Phase::Check, pass.progress()),
            Stage::Clear(clear) => (Phase::Erase, clear.progress(config)),
            Stage::Write(write) => (Phase::Program, write.progress()),
            Stage::Verify(_) | Stage::Commit(_) => (Phase::Confirm, (0, 0)),
            Stage::Start => (Phase::Start, (0, 0)),
        };
        Progress { phase, done, total }
    }

    /// The image that may be started, as far as it is known at this moment.
    pub const fn installed(&self) -> Option<&Descriptor> {
        self.knowledge.installed.as_ref()
    }

    /// What the stick holds, as far as it was read.
    pub const fn listing(&self) -> &Listing {
        &self.listing
    }
}
