//! The register is changed: here the floor rises and, with two slots, the new image is named. One or more records, each erased
//! for, programmed and read back, as [`crate::register`] says. When, and to what, is in the table in `machine.rs`.

use super::{Context, Outcome, Then, Turn, Wish};
use crate::reason::Reason;
use crate::register::{NextWrite, REGISTER_LEN, Record, Value};
use crate::request::Reply;

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Settle {
    target: Value,
    /// The sector that was last programmed to its end in this power-up.
    finished: Option<usize>,
    act: Act,
    then: Then,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Act {
    Plan,
    Clear(NextWrite),
    Erase(NextWrite),
    Program(NextWrite),
    ReadBack(NextWrite),
}

impl Settle {
    pub(crate) const fn to(target: Value, then: Then) -> Self {
        Self {
            target,
            finished: None,
            act: Act::Plan,
            then,
        }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let write = match (self.act, reply) {
            (Act::Plan, None) => return self.plan(context),
            (Act::Clear(write), Some(Reply::Done)) => {
                self.act = Act::Erase(write);
                return Turn::Wish(Wish::Erase(context.config.floor_sector(write.sector).base));
            }
            (Act::Erase(write), Some(Reply::Done)) => write,
            (Act::Program(write), Some(Reply::Done)) => {
                context.buffer.clear();
                self.act = Act::ReadBack(write);
                let address = context.config.floor_sector(write.sector).base;
                return Turn::Wish(Wish::ReadFlash {
                    address,
                    len: REGISTER_LEN as u32,
                });
            }
            (Act::ReadBack(write), Some(Reply::Flash(bytes))) if Record::decode(bytes) == Some(write.record) => {
                self.finished = Some(write.sector);
                if let Some(record) = context.knowledge.register.records.get_mut(write.sector) {
                    *record = Some(write.record);
                }
                return self.plan(context);
            }
            _ => {
                context.buffer.clear();
                return Turn::Over(Outcome::Halted(Reason::FloorFault));
            }
        };
        self.act = Act::Program(write);
        let flash = context.config.flash;
        context.buffer.clear();
        context.buffer.append(&write.record.encode());
        context.buffer.pad(flash.granule, flash.erased);
        context.buffer.offer(flash.granule);
        Turn::Wish(Wish::Program(context.config.floor_sector(write.sector).base))
    }

    #[cfg(feature = "explored")]
    pub(crate) fn lower_turns(&mut self, less: u32) {
        if let Act::Clear(write) | Act::Erase(write) | Act::Program(write) | Act::ReadBack(write) = &mut self.act {
            write.record = write.record.with_turn_less(less);
        }
    }

    /// Looks for the next record to write, and goes on when there is none.
    fn plan(&mut self, context: &Context<'_>) -> Turn {
        match context.next_record(self.target, self.finished) {
            Some(write) if write.clear_other => {
                self.act = Act::Clear(write);
                Turn::Wish(Wish::Erase(context.config.floor_sector(1 - write.sector.min(1)).base))
            }
            Some(write) => {
                self.act = Act::Erase(write);
                Turn::Wish(Wish::Erase(context.config.floor_sector(write.sector).base))
            }
            None => Turn::Over(Outcome::Settled(self.then)),
        }
    }
}
