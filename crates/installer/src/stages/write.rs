//! The install pass: the payload is read again, decrypted, and programmed into the erased slot.
//!
//! Nothing that was learnt of the stick in the dry pass is relied on here: whatever it answers now, the digest over flash
//! decides.

use super::pass::{Payload, Portion};
use super::{Commit, Context, Inspect, Plan, Stage, Turn, Verify, Wish};
use crate::flaw::Flaw;
use crate::reason::Reason;
use crate::request::Reply;
use envelope::PayloadCipher;

#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Write {
    plan: Plan,
    payload: Payload,
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
    pub(crate) fn new(plan: Plan) -> Self {
        let payload = Payload::of(&plan);
        Self {
            plan,
            payload,
            written: 0,
            act: Act::Read,
        }
    }

    pub(crate) const fn progress(&self) -> (u32, u32) {
        self.payload.progress()
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let mut reply = reply;
        if reply.is_none() && context.flawed.has(Flaw::DescriptorFirst) {
            self.act = Act::Program(0);
            Commit::new(self.plan.manifest).fill(context);
            return Turn::Wish(Wish::Program(context.config.place().record.base));
        }
        if let Act::Program(bytes) = self.act {
            if reply.take() != Some(Reply::Done) {
                context.buffer.clear();
                return Turn::Go(Stage::Wait(Reason::FlashFault));
            }
            context.buffer.taken();
            self.written = self.written.saturating_add(bytes);
            self.act = Act::Read;
        }
        let granule = context.config.flash.granule;
        loop {
            match self.payload.pull(&self.plan, reply.take()) {
                Ok(Portion::Read(block)) => return Turn::Wish(Wish::ReadStick(block)),
                Ok(Portion::Bytes(offset, bytes)) => {
                    let place = context.buffer.append(bytes);
                    PayloadCipher::new(&self.plan.key, &self.plan.manifest.iv).apply(offset, place);
                    let offered = context.buffer.offer(granule);
                    if offered > 0 {
                        return Turn::Wish(self.program(context, offered));
                    }
                }
                Ok(Portion::End) if context.buffer.len() > 0 => {
                    context.buffer.pad(granule, context.config.flash.erased);
                    let offered = context.buffer.offer(granule);
                    return Turn::Wish(self.program(context, offered));
                }
                Ok(Portion::End) if context.flawed.has(Flaw::DescriptorFirst) => {
                    return Turn::Go(Stage::Inspect(Inspect::after_install()));
                }
                Ok(Portion::End) => {
                    return Turn::Go(Stage::Verify(Verify::new(self.plan.manifest)));
                }
                Err(reason) => {
                    context.buffer.clear();
                    return Turn::Go(Stage::Wait(reason));
                }
            }
        }
    }

    fn program(&mut self, context: &Context<'_>, bytes: u32) -> Wish {
        self.act = Act::Program(bytes);
        Wish::Program(context.config.slot.base.wrapping_add(self.written))
    }
}
