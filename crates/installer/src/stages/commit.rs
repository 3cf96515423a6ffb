//! The commit point: the descriptor is programmed, and read back.

use super::{Context, Inspect, Stage, Turn, Wish};
use crate::descriptor::{DESCRIPTOR_LEN, Descriptor};
use crate::reason::Reason;
use crate::request::Reply;
use envelope::Manifest;

#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Commit {
    descriptor: Descriptor,
    act: Act,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Act {
    Program,
    ReadBack,
}

impl Commit {
    pub(crate) const fn new(manifest: Manifest) -> Self {
        let descriptor = Descriptor {
            image_size: manifest.image_size,
            sequence: manifest.sequence,
            version: manifest.version,
            image_digest: manifest.image_digest,
        };
        Self {
            descriptor,
            act: Act::Program,
        }
    }

    /// Puts the record on offer.
    pub(super) fn fill(&self, context: &mut Context<'_>) {
        let flash = context.config.flash;
        context.buffer.clear();
        context.buffer.append(&self.descriptor.encode());
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
            (Act::ReadBack, Some(Reply::Flash(bytes))) if Descriptor::decode(bytes) == Some(self.descriptor) => {
                Turn::Go(Stage::Inspect(Inspect::after_install()))
            }
            _ => {
                context.buffer.clear();
                Turn::Go(Stage::Wait(Reason::FlashDiffers))
            }
        }
    }
}
