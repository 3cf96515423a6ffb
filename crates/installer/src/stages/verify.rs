//! What was stored is what was signed, and nothing stands behind it.

use super::{Commit, Context, Stage, Turn, Wish};
use crate::flaw::Flaw;
use crate::reason::Reason;
use crate::request::Reply;
use envelope::Manifest;

#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Verify {
    manifest: Manifest,
    act: Act,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Act {
    Digest,
    Tail,
}

impl Verify {
    pub(crate) const fn new(manifest: Manifest) -> Self {
        Self {
            manifest,
            act: Act::Digest,
        }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let config = context.config;
        let image = self.manifest.image_size;
        if context.flawed.has(Flaw::SkipsFlashDigest) || context.flawed.has(Flaw::NeverDigests) {
            return Turn::Go(Stage::Commit(Commit::new(self.manifest)));
        }
        match (self.act, reply) {
            (Act::Digest, None) => Turn::Wish(Wish::DigestFlash {
                address: config.slot.base,
                len: image,
            }),
            (Act::Digest, Some(Reply::Digest(digest))) if digest == self.manifest.image_digest => {
                self.act = Act::Tail;
                let programmed = config.flash.whole_granules(image);
                Turn::Wish(Wish::CheckBlank {
                    address: config.slot.base.wrapping_add(programmed),
                    len: config.slot.size.saturating_sub(programmed),
                })
            }
            (Act::Tail, Some(Reply::Blank(true))) => Turn::Go(Stage::Commit(Commit::new(self.manifest))),
            _ => Turn::Go(Stage::Wait(Reason::FlashDiffers)),
        }
    }
}
