//! Raising the floor: one or two records, each erased for, programmed and read back, as [`crate::floor`] says.

use super::inspect::Next;
use super::{Context, Stage, Turn, Wish};
use crate::floor::{FLOOR_LEN, Floor, NextWrite};
use crate::geometry::Region;
use crate::reason::Reason;
use crate::request::Reply;

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Raise {
    issue: u64,
    /// The sector that was last programmed to its end in this power-up.
    finished: Option<usize>,
    act: Act,
    next: Next,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Act {
    Plan,
    Clear(NextWrite),
    Erase(NextWrite),
    Program(NextWrite),
    ReadBack(NextWrite),
}

impl Raise {
    pub(super) const fn to(issue: u64, next: Next) -> Self {
        Self {
            issue,
            finished: None,
            act: Act::Plan,
            next,
        }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let write = match (self.act, reply) {
            (Act::Plan, None) => return self.plan(context),
            (Act::Clear(write), Some(Reply::Done)) => {
                self.act = Act::Erase(write);
                return Turn::Wish(Wish::Erase(sector(context, write.sector).base));
            }
            (Act::Erase(write), Some(Reply::Done)) => write,
            (Act::Program(write), Some(Reply::Done)) => {
                context.buffer.clear();
                self.act = Act::ReadBack(write);
                let address = sector(context, write.sector).base;
                return Turn::Wish(Wish::ReadFlash {
                    address,
                    len: FLOOR_LEN as u32,
                });
            }
            (Act::ReadBack(write), Some(Reply::Flash(bytes))) if Floor::decode(bytes) == Some(write.record) => {
                self.finished = Some(write.sector);
                if let Some(record) = context.knowledge.floors.records.get_mut(write.sector) {
                    *record = Some(write.record);
                }
                return self.plan(context);
            }
            _ => {
                context.buffer.clear();
                return Turn::Go(Stage::Wait(Reason::FloorFault));
            }
        };
        self.act = Act::Program(write);
        let flash = context.config.flash;
        context.buffer.clear();
        context.buffer.append(&write.record.encode());
        context.buffer.pad(flash.granule, flash.erased);
        context.buffer.offer(flash.granule);
        Turn::Wish(Wish::Program(sector(context, write.sector).base))
    }

    /// Looks for the next record to write, and goes on when there is none.
    fn plan(&mut self, context: &Context<'_>) -> Turn {
        match context.next_floor(self.issue, self.finished) {
            Some(write) if write.clear_other => {
                self.act = Act::Clear(write);
                Turn::Wish(Wish::Erase(sector(context, 1 - write.sector.min(1)).base))
            }
            Some(write) => {
                self.act = Act::Erase(write);
                Turn::Wish(Wish::Erase(sector(context, write.sector).base))
            }
            None => Turn::Go(self.next.stage(context)),
        }
    }
}

fn sector(context: &Context<'_>, index: usize) -> Region {
    let [first, second] = context.config.floors;
    if index == 0 { first } else { second }
}
