//! First stage: what does this unit's own flash hold?

use super::{Context, Find, Knowledge, Lacking, Raise, Stage, Turn, Wish};
use crate::descriptor::{DESCRIPTOR_LEN, Descriptor, VOID_MARK_LEN};
use crate::flaw::Flaw;
use crate::floor::{FLOOR_LEN, Floor};
use crate::listing::Listing;
use crate::reason::Reason;
use crate::request::Reply;

/// Reads the descriptor, digests the image that it describes, reads the floor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Inspect {
    reading: Reading,
    next: Next,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Reading {
    Record,
    VoidMark(Option<Descriptor>),
    Image(Descriptor),
    Floor(usize),
}

impl Inspect {
    /// At power-up: look at the stick afterwards.
    pub(crate) const fn at_power_up() -> Self {
        Self {
            reading: Reading::Record,
            next: Next::LookAtStick,
        }
    }

    /// After an install: start what was installed. It is inspected as if the unit had just been powered, so that there
    /// is one way only to the start of an image.
    pub(crate) const fn after_install() -> Self {
        Self {
            reading: Reading::Record,
            next: Next::StartAtOnce,
        }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        if let Some(reply) = reply {
            if let Some(stage) = self.receive(context, reply) {
                return Turn::Go(stage);
            }
        } else {
            *context.knowledge = Knowledge::NOTHING;
            *context.listing = Listing::EMPTY;
        }
        Turn::Wish(self.wish(context))
    }

    fn wish(&self, context: &Context<'_>) -> Wish {
        let config = context.config;
        match self.reading {
            Reading::Record => Wish::ReadFlash {
                address: config.place().record.base,
                len: DESCRIPTOR_LEN as u32,
            },
            Reading::VoidMark(_) => Wish::ReadFlash {
                address: config.place().void.base,
                len: VOID_MARK_LEN as u32,
            },
            Reading::Image(descriptor) => Wish::DigestFlash {
                address: config.slot.base,
                len: descriptor.image_size,
            },
            Reading::Floor(index) => {
                let address = config.floors.get(index).map_or(0, |floor| floor.base);
                Wish::ReadFlash {
                    address,
                    len: FLOOR_LEN as u32,
                }
            }
        }
    }

    fn receive(&mut self, context: &mut Context<'_>, reply: Reply<'_>) -> Option<Stage> {
        let bytes = match reply {
            Reply::Flash(bytes) => bytes,
            // Unreadable cells hold nothing that is whole.
            _ => &[],
        };
        self.reading = match self.reading {
            Reading::Record => Reading::VoidMark(Descriptor::decode(bytes)),
            Reading::VoidMark(record) => {
                let erased = context.config.flash.erased;
                context.knowledge.unvoided = bytes.len() == VOID_MARK_LEN && bytes.iter().all(|byte| *byte == erased);
                match record {
                    Some(descriptor)
                        if context.knowledge.unvoided && descriptor.image_size <= context.config.usable() =>
                    {
                        context.knowledge.stands = true;
                        if context.flawed.has(Flaw::NeverDigests) {
                            context.knowledge.installed = Some(descriptor);
                            Reading::Floor(0)
                        } else {
                            Reading::Image(descriptor)
                        }
                    }
                    _ => Reading::Floor(0),
                }
            }
            Reading::Image(descriptor) => {
                if reply == Reply::Digest(descriptor.image_digest) {
                    context.knowledge.installed = Some(descriptor);
                } else {
                    context.knowledge.lacking = Lacking::Sound;
                }
                Reading::Floor(0)
            }
            Reading::Floor(index) => {
                if let Some(record) = context.knowledge.floors.records.get_mut(index) {
                    *record = Floor::decode(bytes);
                    if context.flawed.has(Flaw::FloorInSlot) {
                        *record = context.knowledge.installed.map(|image| Floor {
                            issue: image.sequence,
                            turn: 1,
                        });
                    }
                }
                match index {
                    0 => Reading::Floor(1),
                    _ => return Some(self.leave(context)),
                }
            }
        };
        None
    }

    /// The floor is raised here, before the image that asks for it is ever started, and never without such an image.
    fn leave(&self, context: &Context<'_>) -> Stage {
        match context.knowledge.installed {
            Some(image) if context.next_floor(image.sequence, None).is_some() => {
                Stage::Raise(Raise::to(image.sequence, self.next))
            }
            _ => self.next.stage(context),
        }
    }
}

/// What follows, once the floor is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Next {
    LookAtStick,
    StartAtOnce,
}

impl Next {
    pub(super) fn stage(self, context: &Context<'_>) -> Stage {
        match (self, context.knowledge.installed) {
            (Self::StartAtOnce, Some(_)) => Stage::Start,
            (Self::StartAtOnce, None) => Stage::Wait(context.knowledge.lacking.reason()),
            (Self::LookAtStick, None) if context.flawed.has(Flaw::NoRecovery) => Stage::Wait(Reason::NoImage),
            (Self::LookAtStick, _) => Stage::Find(Find),
        }
    }
}
