//! Programming: the payload is read again from the stick and decrypted, or the stage is read, and goes into the erased range.
//!
//! Nothing that was learnt of the stick in the dry pass is relied on here: whatever it answers now, the digest over flash
//! decides.

use super::pass::{Payload, Portion};
use super::{Context, Job, Outcome, Source, Turn, Wish};
use crate::config::ONE_PLACE;
use crate::geometry::Geometry;
use crate::reason::Reason;
use crate::request::Reply;
use packstaff_envelope::PayloadCipher;
use packstaff_fat::BLOCK;

#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Write {
    job: Job,
    source: Source,
    payload: Option<Payload>,
    /// Bytes taken from the source, where it is flash.
    taken: u32,
    /// Bytes programmed so far.
    written: u32,
    act: Act,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Act {
    Read,
    Program(u32),
}

impl Write {
    pub(crate) fn new(job: Job, source: Source) -> Self {
        let payload = match &source {
            Source::Stick(plan) => Some(Payload::of(plan)),
            Source::Flash(_) => None,
        };
        Self {
            job,
            source,
            payload,
            taken: 0,
            written: 0,
            act: Act::Read,
        }
    }

    pub(crate) const fn progress(&self) -> (u32, u32) {
        (self.written, self.job.descriptor.image_size)
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let mut reply = reply;
        if let Act::Program(bytes) = self.act {
            if !matches!(reply.take(), Some(Reply::Done)) {
                return self.broken_off(context, Reason::FlashFault);
            }
            context.buffer.taken();
            self.written = self.written.saturating_add(bytes);
            self.act = Act::Read;
        }
        let Geometry { granule, erased, .. } = context.config.memory_at(self.job.into.base);
        loop {
            match self.more(context, reply.take()) {
                Ok(More::Wish(wish)) => return Turn::Wish(wish),
                Ok(More::Bytes) => {
                    let offered = context.buffer.offer(granule);
                    if offered > 0 {
                        return Turn::Wish(self.program(offered));
                    }
                }
                Ok(More::End) if context.buffer.len() > 0 => {
                    context.buffer.pad(granule, erased);
                    let offered = context.buffer.offer(granule);
                    return Turn::Wish(self.program(offered));
                }
                Ok(More::End) => return Turn::Over(Outcome::Written(self.job)),
                Err(reason) => return self.broken_off(context, reason),
            }
        }
    }

    /// Fetches the next bytes of the image into the buffer.
    fn more(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Result<More, Reason> {
        match (&self.source, &mut self.payload) {
            (Source::Stick(plan), Some(payload)) => Ok(match payload.pull(plan, reply)? {
                Portion::Read(block) => More::Wish(Wish::ReadStick(block)),
                Portion::End => More::End,
                Portion::Bytes(offset, bytes) => {
                    let place = context.buffer.append(bytes);
                    PayloadCipher::new(&plan.key, &plan.manifest.iv).apply(offset, place);
                    More::Bytes
                }
            }),
            (Source::Flash(base), _) if !ONE_PLACE => Ok(match reply {
                Some(Reply::Flash(bytes)) => {
                    context.buffer.append(bytes);
                    self.taken = self.taken.saturating_add(bytes.len() as u32);
                    if bytes.is_empty() {
                        return Err(Reason::FlashFault);
                    }
                    More::Bytes
                }
                Some(_) => return Err(Reason::FlashFault),
                None => {
                    let left = self.job.descriptor.image_size.saturating_sub(self.taken);
                    let address = base.wrapping_add(self.taken);
                    let len = left.min(BLOCK as u32);
                    if left == 0 {
                        More::End
                    } else {
                        More::Wish(Wish::ReadFlash { address, len })
                    }
                }
            }),
            // Not met: a source is given with what reads it.
            (Source::Stick(_), None) | (Source::Flash(_), _) => Err(Reason::StickChanged),
        }
    }

    fn broken_off(&self, context: &mut Context<'_>, reason: Reason) -> Turn {
        context.buffer.clear();
        Turn::Over(Outcome::BrokenOff(self.job, reason))
    }

    fn program(&mut self, bytes: u32) -> Wish {
        self.act = Act::Program(bytes);
        Wish::Program(self.job.into.base.wrapping_add(self.written))
    }
}

enum More {
    Wish(Wish),
    Bytes,
    End,
}
