//! What was stored is what was signed, and nothing stands behind it.

use super::{Context, Job, Outcome, Turn, Wish};
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

    pub(crate) fn step(&mut self, context: &Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let Job { descriptor, into, .. } = self.job;
        let image = descriptor.image_size;
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
                    return Turn::Over(Outcome::Verified(self.job));
                }
                Turn::Wish(Wish::CheckBlank {
                    address: into.base.wrapping_add(programmed),
                    len,
                })
            }
            (Act::Tail, Some(Reply::Blank(true))) => Turn::Over(Outcome::Verified(self.job)),
            _ => Turn::Over(Outcome::BrokenOff(self.job, Reason::FlashDiffers)),
        }
    }
}
