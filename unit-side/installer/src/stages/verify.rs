//! What was stored is what was signed, and nothing stands behind it.

use super::inspect::Next;
use super::{Commit, Context, Job, Raise, Stage, Turn, Wish};
use crate::flaw::Flaw;
use crate::reason::Reason;
use crate::request::Reply;
use packstaff_envelope::same_digest;

#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Verify {
    job: Job,
    act: Act,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Act {
    Digest,
    Tail,
}

impl Verify {
    pub(crate) const fn new(job: Job) -> Self {
        Self { job, act: Act::Digest }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let Job { descriptor, into, .. } = self.job;
        let image = descriptor.image_size;
        if context.flawed.has(Flaw::SkipsFlashDigest) || context.flawed.has(Flaw::NeverDigests) {
            return Turn::Go(self.accept(context));
        }
        match (self.act, reply) {
            (Act::Digest, None) => Turn::Wish(Wish::DigestFlash {
                address: into.base,
                len: image,
            }),
            (Act::Digest, Some(Reply::Digest(digest))) if same_digest(&digest, &descriptor.image_digest) => {
                self.act = Act::Tail;
                let programmed = context.config.memory_at(into.base).whole_granules(image);
                let len = into.size.saturating_sub(programmed);
                if len == 0 {
                    return Turn::Go(self.accept(context));
                }
                Turn::Wish(Wish::CheckBlank {
                    address: into.base.wrapping_add(programmed),
                    len,
                })
            }
            (Act::Tail, Some(Reply::Blank(true))) => Turn::Go(self.accept(context)),
            _ => Turn::Go(context.broken_off(&self.job, Reason::FlashDiffers)),
        }
    }

    /// The image counts from here on: by its descriptor, or by the register.
    fn accept(&self, context: &Context<'_>) -> Stage {
        match self.job.marked() {
            true => Stage::Commit(Commit::new(self.job)),
            false => Stage::Raise(Raise::to(self.job.value(context), Next::Again)),
        }
    }
}
