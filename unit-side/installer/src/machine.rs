//! The machine itself: it keeps the stage, has the table of which stage follows which, and turns wishes into requests.

use crate::buffer::Buffer;
use crate::config::{Config, Layout, StartCheck};
use crate::descriptor::Descriptor;
use crate::geometry::Region;
use crate::listing::Listing;
use crate::progress::{Phase, Progress};
use crate::reason::Reason;
use crate::register::Value;
use crate::request::{Reply, Request};
use crate::stages::{
    Clear, Commit, Confirm, Context, DryPass, Find, Inspect, Job, Knowledge, Mounting, Outcome, Settle, Stage, Survey,
    Then, Turn, Verify, Wish, Write,
};

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
    start_check: StartCheck,
}

impl Default for Installer {
    /// As [`Installer::new`], but made at run time: then no copy of its kilobyte of emptiness lies in flash.
    fn default() -> Self {
        Self {
            stage: Stage::Inspect(Inspect::at_power_up()),
            knowledge: Knowledge::nothing(),
            listing: Listing::empty(),
            buffer: Buffer::EMPTY,
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

    /// The same machine on a unit that was updated less often: the turns of its register are lower by `less`, and all else is as it
    /// was, because turns are counted up and compared with each other, and nothing more.
    #[cfg(feature = "explored")]
    #[must_use]
    pub fn with_turns_less(mut self, less: u32) -> Self {
        for record in self.knowledge.register.records.iter_mut().flatten() {
            *record = record.with_turn_less(less);
        }
        if let Stage::Settle(settle) = &mut self.stage {
            settle.lower_turns(less);
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
        // Each stage is entered without a reply. How many can follow one another without a wish is bounded by their order.
        loop {
            let mut context = Context {
                config,
                knowledge: &mut self.knowledge,
                listing: &mut self.listing,
                buffer: &mut self.buffer,
                start_check: self.start_check,
            };
            match self.stage.step(&mut context, reply) {
                Turn::Wish(wish) => return self.request(config, wish),
                Turn::Over(outcome) => self.stage = next(&context, outcome),
            }
            reply = None;
        }
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
            Stage::Inspect(_) | Stage::Settle(_) => (Phase::Inspect, (0, 0)),
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

/// The order of the stages: how each can end, and which one comes next. No stage is made anywhere else, but the first.
///
/// Never inlined: the compiler would put the table into each stage's every end, which makes the installer half as large again.
#[inline(never)]
fn next(context: &Context<'_>, outcome: Outcome) -> Stage {
    let has_image = context.knowledge.installed.is_some();
    match outcome {
        // Inspect, and Settle where the register has to change before anything that it asks for is started or given up.
        Outcome::Inspected(Some(value), then) => Stage::Settle(Settle::to(value, then)),
        Outcome::Inspected(None, then) | Outcome::Settled(then) => settled(context, then),

        // Find, Mount and Survey.
        Outcome::Found(blocks) => Stage::Mounting(Mounting::of(blocks)),
        Outcome::Mounted(volume) => Stage::Survey(Survey::of(volume)),
        Outcome::Offers(volume) => Stage::Ask(volume),
        Outcome::NothingNew => Stage::Start,
        Outcome::NoStick if has_image => Stage::Start,
        Outcome::NoStick => Stage::Wait(context.knowledge.lacking.reason()),

        // Ask, Confirm and the dry pass. Up to here nothing has been changed for an update.
        Outcome::Picked(volume, file, offer) => Stage::Confirm(Confirm::new(volume, file, &offer)),
        Outcome::Declined if has_image => Stage::Start,
        Outcome::Declined => Stage::Wait(Reason::Declined),
        Outcome::Confirmed(plan) => Stage::DryPass(DryPass::new(plan)),
        Outcome::NoUpdate(reason) if has_image => Stage::Tell(reason),
        Outcome::NoUpdate(reason) => Stage::Wait(reason),

        // Clear, Write, Verify and Commit. An image counts from then on by its descriptor, or else by the register.
        Outcome::Sound(plan) => Stage::Clear(Clear::install(context, plan)),
        Outcome::Cleared(job, source) => Stage::Write(Write::new(job, source)),
        Outcome::Written(job) => Stage::Verify(Verify::new(job)),
        Outcome::Verified(job) if job.marked() => Stage::Commit(Commit::new(job)),
        Outcome::Verified(job) => Stage::Settle(Settle::to(job.value(context), Then::Again)),
        Outcome::Committed(job) => committed(context, &job),
        Outcome::BrokenOff(job, reason) if !job.marked() && has_image => Stage::Tell(reason),
        Outcome::BrokenOff(_, reason) | Outcome::Halted(reason) => Stage::Wait(reason),

        // Tell and Wait. Start ends only where the digest that was shown is not the one that is wanted.
        Outcome::Told => Stage::Start,
        Outcome::Changed => Stage::Inspect(Inspect::at_power_up()),
    }
}

/// Flash is inspected, and the register is right.
fn settled(context: &Context<'_>, then: Then) -> Stage {
    let knowledge = &context.knowledge;
    match (then, knowledge.to_copy, context.config.layout()) {
        (Then::Again, ..) => Stage::Inspect(Inspect::after_install()),
        (Then::AgainThenLook, ..) => Stage::Inspect(Inspect::at_power_up()),
        (_, Some(image), Layout::Staged { stage }) => {
            let job = Job::copy(context, image, then == Then::LookAtStick);
            Stage::Clear(Clear::copy(job, stage.base))
        }
        (Then::StartAtOnce, ..) if knowledge.installed.is_some() => Stage::Start,
        (Then::StartAtOnce, ..) => Stage::Wait(knowledge.lacking.reason()),
        (Then::LookAtStick, ..) => Stage::Find(Find),
    }
}

/// The slot's descriptor stands.
fn committed(context: &Context<'_>, job: &Job) -> Stage {
    match context.config.layout() {
        // The stage is needed no longer. Until the register says so the copy is made again at every start: a descriptor that
        // a cut has left may read as whole now, and otherwise once the stage is gone.
        Layout::Staged { .. } => {
            let issue = context.knowledge.register.floor().max(job.descriptor.sequence);
            let then = match job.look_after {
                true => Then::AgainThenLook,
                false => Then::Again,
            };
            Stage::Settle(Settle::to(Value { issue, held: None }, then))
        }
        Layout::Single | Layout::Paired { .. } => Stage::Inspect(Inspect::after_install()),
    }
}
