//! Raising the floor: erase the spare sector, program the record, read it back.

use super::inspect::Next;
use super::{Context, Stage, Turn, Wish};
use crate::floor::{self, FLOOR_LEN};
use crate::geometry::Region;
use crate::reason::Reason;
use crate::request::Reply;

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Raise {
    issue: u64,
    act: Act,
    next: Next,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Act {
    Erase,
    Program,
    ReadBack,
}

impl Raise {
    pub(super) const fn to(issue: u64, next: Next) -> Self {
        Self { issue, act: Act::Erase, next }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let index = context.knowledge.floors.spare();
        let Some(sector) = context.config.floors.get(index).copied() else {
            return Turn::Go(Stage::Wait(Reason::FloorFault));
        };
        match (self.act, reply) {
            (Act::Erase, None) => Turn::Wish(Wish::Erase(sector.base)),
            (Act::Erase, Some(Reply::Done)) => {
                self.act = Act::Program;
                Turn::Wish(self.program(context, sector))
            }
            (Act::Program, Some(Reply::Done)) => {
                context.buffer.clear();
                self.act = Act::ReadBack;
                Turn::Wish(Wish::ReadFlash { address: sector.base, len: FLOOR_LEN as u32 })
            }
            (Act::ReadBack, Some(Reply::Flash(bytes))) if floor::decode(bytes) == Some(self.issue) => {
                if let Some(record) = context.knowledge.floors.records.get_mut(index) {
                    *record = Some(self.issue);
                }
                Turn::Go(self.next.stage(context))
            }
            _ => {
                context.buffer.clear();
                Turn::Go(Stage::Wait(Reason::FloorFault))
            }
        }
    }

    fn program(&self, context: &mut Context<'_>, sector: Region) -> Wish {
        let flash = context.config.flash;
        context.buffer.clear();
        context.buffer.append(&floor::encode(self.issue));
        context.buffer.pad(flash.granule, flash.erased);
        context.buffer.offer(flash.granule);
        Wish::Program(sector.base)
    }
}
