//! The commit point: the descriptor is programmed, and read back.

use super::inspect::Next;
use super::{Context, Inspect, Job, Raise, Stage, Turn, Wish};
use crate::config::Layout;
use crate::descriptor::{DESCRIPTOR_LEN, Descriptor};
use crate::reason::Reason;
use crate::register::Value;
use crate::request::Reply;

#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Commit {
    job: Job,
    act: Act,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Act {
    Program,
    ReadBack,
}

impl Commit {
    pub(crate) const fn new(job: Job) -> Self {
        Self { job, act: Act::Program }
    }

    /// Puts the record on offer.
    pub(super) fn fill(&self, context: &mut Context<'_>) {
        let flash = context.config.flash;
        context.buffer.clear();
        context.buffer.append(&self.job.descriptor.encode());
        context.buffer.pad(flash.granule, flash.erased);
        context.buffer.offer(flash.granule);
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let record = context.config.place().record;
        match (self.act, reply) {
            (Act::Program, None) => {
                self.fill(context);
                Turn::Wish(Wish::Program(record.base))
            }
            (Act::Program, Some(Reply::Done)) => {
                context.buffer.clear();
                self.act = Act::ReadBack;
                Turn::Wish(Wish::ReadFlash {
                    address: record.base,
                    len: DESCRIPTOR_LEN as u32,
                })
            }
            (Act::ReadBack, Some(Reply::Flash(bytes))) if Descriptor::decode(bytes) == Some(self.job.descriptor) => {
                Turn::Go(match context.config.layout() {
                    // The stage is needed no longer. Until the register says so the copy is made again at every start: a
                    // descriptor that a cut has left may read as whole now, and otherwise once the stage is gone.
                    Layout::Staged { .. } => {
                        let issue = context.knowledge.register.floor().max(self.job.descriptor.sequence);
                        let next = if self.job.look_after {
                            Next::AgainThenLook
                        } else {
                            Next::Again
                        };
                        Stage::Raise(Raise::to(Value { issue, held: None }, next))
                    }
                    Layout::Single | Layout::Paired { .. } => Stage::Inspect(Inspect::after_install()),
                })
            }
            _ => {
                context.buffer.clear();
                Turn::Go(Stage::Wait(Reason::FlashDiffers))
            }
        }
    }
}
