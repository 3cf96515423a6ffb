//! Making room: the descriptor's place is voided, then every sector of the slot is erased, its own first.

use super::{Context, Plan, Stage, Turn, Wish, Write};
use crate::flaw::Flaw;
use crate::geometry::Region;
use crate::reason::Reason;
use crate::request::Reply;

#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Clear {
    plan: Plan,
    act: Act,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Act {
    Void,
    /// The sector of the descriptor.
    EraseDescriptor,
    /// The sector at this address.
    Erase(u32),
}

impl Clear {
    pub(crate) const fn new(plan: Plan) -> Self {
        Self { plan, act: Act::Void }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let config = context.config;
        let place = config.place();
        let Some(own) = config.flash.sector_at(place.record.base) else {
            return Turn::Go(Stage::Wait(Reason::FlashFault));
        };
        match (self.act, reply) {
            (Act::Void, None) if !context.knowledge.stands && context.flawed.has(Flaw::TrustsRemnants) => {
                return Turn::Go(Stage::Write(Write::new(self.plan.clone())));
            }
            (Act::Void, None) if context.knowledge.unvoided && !context.flawed.has(Flaw::SkipsVoid) => {
                context.buffer.clear();
                // Not a whole granule of the erased value: the opposite of it, which every part may program once.
                context.buffer.append(&[!config.flash.erased]);
                context
                    .buffer
                    .pad(config.flash.whole_granules(place.void.size), !config.flash.erased);
                context.buffer.offer(config.flash.granule);
                return Turn::Wish(Wish::Program(place.void.base));
            }
            (Act::Void, None) => {}
            (_, Some(Reply::Done)) => {}
            // A mark that a cut has half erased may refuse to be programmed, and would for ever if it were not erased now.
            (Act::Void, Some(_)) if !context.knowledge.stands => {}
            _ => {
                context.buffer.clear();
                return Turn::Go(Stage::Wait(Reason::FlashFault));
            }
        }
        let erased = match self.act {
            Act::Void => {
                context.buffer.clear();
                context.knowledge.stands = false;
                context.knowledge.unvoided = false;
                context.knowledge.installed = None;
                self.act = Act::EraseDescriptor;
                return Turn::Wish(Wish::Erase(own.base));
            }
            Act::EraseDescriptor => None,
            Act::Erase(address) => Some(address),
        };
        match next_sector(context, own, erased) {
            Some(sector) => {
                self.act = Act::Erase(sector.base);
                Turn::Wish(Wish::Erase(sector.base))
            }
            None => Turn::Go(Stage::Write(Write::new(self.plan.clone()))),
        }
    }

    /// Sectors erased so far and in all, for a progress display.
    pub(crate) fn progress(&self, config: &crate::Config<'_>) -> (u32, u32) {
        let total = config
            .flash
            .sectors()
            .filter(|sector| config.slot.overlaps(*sector))
            .count() as u32;
        let done = match self.act {
            Act::Void | Act::EraseDescriptor => 0,
            Act::Erase(address) => {
                let before = |sector: &Region| config.slot.overlaps(*sector) && sector.base < address;
                config.flash.sectors().filter(before).count() as u32 + 1
            }
        };
        (done.min(total), total)
    }
}

/// The sector of the slot to erase after the one at `erased`, upward, leaving out the descriptor's own.
fn next_sector(context: &Context<'_>, own: Region, erased: Option<u32>) -> Option<Region> {
    let slot = context.config.slot;
    context
        .config
        .flash
        .sectors()
        .filter(|sector| slot.overlaps(*sector) && *sector != own || is_erased_by_mistake(context, *sector))
        .filter(|sector| !is_left_by_mistake(context, *sector, own))
        .find(|sector| erased.is_none_or(|last| sector.base > last))
}

fn is_erased_by_mistake(context: &Context<'_>, sector: Region) -> bool {
    context.flawed.has(Flaw::ErasesTooMuch) && sector.end() == u64::from(context.config.slot.base)
}

fn is_left_by_mistake(context: &Context<'_>, sector: Region, own: Region) -> bool {
    context.flawed.has(Flaw::ErasesTooLittle) && sector.end() == u64::from(own.base)
}
