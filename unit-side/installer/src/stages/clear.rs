//! Making room: the descriptor's place is voided, then every sector of the slot is erased, its own first.

use super::{Context, Job, Outcome, Plan, Source, Turn, Wish};
use crate::config::{Config, ONE_PLACE};
use crate::geometry::Region;
use crate::reason::Reason;
use crate::request::Reply;

#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Clear {
    job: Job,
    source: Source,
    act: Act,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Act {
    /// The sector of the register that may name the place.
    Unname,
    Void,
    /// The sector of the descriptor.
    EraseDescriptor,
    /// The sector at this address.
    Erase(u32),
}

impl Clear {
    /// For an update file from the stick.
    pub(crate) fn install(context: &Context<'_>, plan: Plan) -> Self {
        let job = Job::install(context, &plan.manifest);
        Self {
            job,
            source: Source::Stick(plan),
            act: match job.marked() {
                true => Act::Void,
                false => Act::Unname,
            },
        }
    }

    /// For what lies in the stage.
    pub(crate) const fn copy(job: Job, stage: u32) -> Self {
        Self {
            job,
            source: Source::Flash(stage),
            act: Act::Void,
        }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let config = context.config;
        let place = config.place();
        let first = match self.job.marked() {
            true => place.record.base,
            false => self.job.into.base,
        };
        let own = config.memory_at(first).sector_at(first);
        let Some(own) = own else {
            return Turn::Over(Outcome::Halted(Reason::FlashFault));
        };
        let marked = self.job.marked();
        match (self.act, reply) {
            // Nothing may name a place that is being written, in whatever way its cells read tomorrow. A unit that runs an image has
            // settled its register, and that names another place.
            (Act::Unname, None) if !ONE_PLACE => {
                if let Some(index) = context.knowledge.register.beside_empty() {
                    return Turn::Wish(Wish::Erase(config.floor_sector(index).base));
                }
            }
            (Act::Unname, None) => {}
            // The mark is programmed whatever it, and the record, read as: what a cut left of either may read otherwise tomorrow.
            (Act::Void, None) if marked => {
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
            // Some parts refuse to program a granule twice. A mark that they refuse is not erased, and so voids already.
            (Act::Void, Some(_)) if !context.knowledge.stands => {}
            _ => {
                context.buffer.clear();
                return Turn::Over(Outcome::BrokenOff(self.job, Reason::FlashFault));
            }
        }
        let erased = match self.act {
            Act::Unname | Act::Void => {
                context.buffer.clear();
                if marked {
                    context.knowledge.stands = false;
                    context.knowledge.installed = None;
                }
                self.act = Act::EraseDescriptor;
                return Turn::Wish(Wish::Erase(own.base));
            }
            Act::EraseDescriptor => None,
            Act::Erase(address) => Some(address),
        };
        match next_sector(context, self.job.into, own, erased) {
            Some(sector) => {
                self.act = Act::Erase(sector.base);
                Turn::Wish(Wish::Erase(sector.base))
            }
            None => Turn::Over(Outcome::Cleared(self.job, self.source.clone())),
        }
    }

    /// Sectors erased so far and in all, for a progress display.
    pub(crate) fn progress(&self, config: &Config<'_>) -> (u32, u32) {
        let last = match self.act {
            Act::Unname | Act::Void | Act::EraseDescriptor => None,
            Act::Erase(address) => Some(address),
        };
        let (mut done, mut total) = (0, 0);
        let memory = config.memory_at(self.job.into.base);
        for sector in memory.sectors().filter(|sector| self.job.into.overlaps(*sector)) {
            total += 1;
            // The descriptor's own sector was the first, wherever it lies.
            done += u32::from(last.is_some_and(|last| sector.base < last));
        }
        (done + u32::from(last.is_some()), total)
    }
}

/// The sector of `slot` to erase after the one at `erased`, upward, leaving out the descriptor's own.
fn next_sector(context: &Context<'_>, slot: Region, own: Region, erased: Option<u32>) -> Option<Region> {
    context
        .config
        .memory_at(slot.base)
        .sectors()
        .filter(|sector| slot.overlaps(*sector) && *sector != own)
        .find(|sector| erased.is_none_or(|last| sector.base > last))
}
