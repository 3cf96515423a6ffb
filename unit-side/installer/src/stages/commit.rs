//! The commit point: the descriptor is programmed, and read back.

use super::{Context, Job, Outcome, Turn, Wish};
use crate::descriptor::{DESCRIPTOR_LEN, Descriptor};
use crate::reason::Reason;
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
    fn fill(&self, context: &mut Context<'_>) {
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
                Turn::Over(Outcome::Committed(self.job))
            }
            _ => {
                context.buffer.clear();
                Turn::Over(Outcome::Halted(Reason::FlashDiffers))
            }
        }
    }
}
