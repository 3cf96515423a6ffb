//! First stage: what does this unit's own flash hold, and what counts?

use super::{Context, Lacking, Outcome, Then, Turn, Wish};
use crate::config::{BY_DESCRIPTOR, Layout, ONE_PLACE, StartCheck};
use crate::descriptor::{DESCRIPTOR_LEN, Descriptor, VOID_MARK_LEN};
use crate::geometry::Region;
use crate::register::{Held, REGISTER_LEN, Record, Value};
use crate::request::Reply;
use packstaff_envelope::same_digest;

/// Reads the descriptor, digests the image that it describes, reads the register, and digests the image that it names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Inspect {
    reading: Reading,
    then: Then,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Reading {
    Record,
    VoidMark(Option<Descriptor>),
    Image(Descriptor),
    Register(usize),
    /// The image that the register's nth candidate names.
    Candidate(usize, Value, Held),
}

impl Inspect {
    /// At power-up: look at the stick afterwards.
    pub(crate) const fn at_power_up() -> Self {
        Self {
            reading: Reading::Record,
            then: Then::LookAtStick,
        }
    }

    /// After an install: start what was installed. It is inspected as if the unit had just been powered, so that there
    /// is one way only to the start of an image.
    pub(crate) const fn after_install() -> Self {
        Self {
            reading: Reading::Record,
            then: Then::StartAtOnce,
        }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        if let Some(reply) = reply {
            if let Some(outcome) = self.receive(context, reply) {
                return Turn::Over(outcome);
            }
        } else {
            context.knowledge.forget();
            context.listing.clear();
            if let Layout::Paired { .. } = context.config.layout() {
                // Paired slots have no descriptors of their own.
                self.reading = Reading::Register(0);
            }
        }
        Turn::Wish(self.wish(context))
    }

    fn wish(&self, context: &Context<'_>) -> Wish {
        let config = context.config;
        let place = config.place();
        match self.reading {
            Reading::Record => Wish::ReadFlash {
                address: place.record.base,
                len: DESCRIPTOR_LEN as u32,
            },
            Reading::VoidMark(_) => Wish::ReadFlash {
                address: place.void.base,
                len: VOID_MARK_LEN as u32,
            },
            Reading::Image(descriptor) => Wish::DigestFlash {
                address: config.slot.base,
                len: descriptor.image_size,
            },
            Reading::Register(index) => {
                let address = config.floors.get(index).map_or(0, |sector| sector.base);
                Wish::ReadFlash {
                    address,
                    len: REGISTER_LEN as u32,
                }
            }
            Reading::Candidate(_, _, held) => {
                let len = held.descriptor.image_size;
                Wish::DigestFlash {
                    address: place_of(context, held).base,
                    len,
                }
            }
        }
    }

    fn receive(&mut self, context: &mut Context<'_>, reply: Reply<'_>) -> Option<Outcome> {
        let bytes = match reply {
            Reply::Flash(bytes) => bytes,
            // Unreadable cells hold nothing that is whole.
            _ => &[],
        };
        self.reading = match self.reading {
            Reading::Record => Reading::VoidMark(Descriptor::decode(bytes)),
            Reading::VoidMark(record) => self.marked(context, record, bytes),
            Reading::Image(descriptor) => {
                keep_shown(context, reply);
                if shows(reply, &descriptor.image_digest) {
                    context.knowledge.installed = Some(descriptor);
                } else {
                    context.knowledge.lacking = Lacking::Sound;
                }
                Reading::Register(0)
            }
            Reading::Register(index) => {
                if let Some(record) = context.knowledge.register.records.get_mut(index) {
                    *record = Record::decode(bytes);
                }
                match index {
                    0 => Reading::Register(1),
                    _ => match candidate(context, 0) {
                        Some(candidate) => candidate,
                        None => return Some(self.leave(context, None)),
                    },
                }
            }
            // Not met, and not compiled.
            Reading::Candidate(..) if ONE_PLACE => return Some(self.leave(context, None)),
            Reading::Candidate(index, value, held) => {
                // What the stage holds is not started from there: what the slot showed stays.
                if let Layout::Paired { .. } = context.config.layout() {
                    keep_shown(context, reply);
                }
                if shows(reply, &held.descriptor.image_digest) {
                    return Some(self.found(context, value, held));
                }
                context.knowledge.lacking = Lacking::Sound;
                match candidate(context, index.saturating_add(1)) {
                    Some(candidate) => candidate,
                    None => return Some(self.leave(context, None)),
                }
            }
        };
        None
    }

    fn marked(&self, context: &mut Context<'_>, record: Option<Descriptor>, mark: &[u8]) -> Reading {
        let erased = context.config.flash.erased;
        let unvoided = mark.len() == VOID_MARK_LEN && mark.iter().all(|byte| *byte == erased);
        let Some(descriptor) = record.filter(|_| unvoided) else {
            return Reading::Register(0);
        };
        if descriptor.image_size > context.config.usable() {
            return Reading::Register(0);
        }
        context.knowledge.stands = true;
        let at_power_up = matches!(self.then, Then::LookAtStick);
        let by_descriptor = BY_DESCRIPTOR && at_power_up && context.start_check == StartCheck::AfterInstall;
        if by_descriptor {
            context.knowledge.installed = Some(descriptor);
            context.knowledge.shown = stand_in(&descriptor, mark, erased);
            return Reading::Register(0);
        }
        Reading::Image(descriptor)
    }

    /// The image that a candidate of the register names is there, whole.
    fn found(&self, context: &mut Context<'_>, value: Value, held: Held) -> Outcome {
        match context.config.layout() {
            Layout::Paired { .. } => {
                context.knowledge.installed = Some(held.descriptor);
                context.knowledge.runs_second = Some(held.second);
            }
            Layout::Staged { .. } | Layout::Single => context.knowledge.to_copy = Some(held.descriptor),
        }
        self.leave(context, Some(value))
    }

    /// The register is settled here, before anything that it asks for is started or given up, and never for an image that is
    /// not there.
    fn leave(&self, context: &Context<'_>, found: Option<Value>) -> Outcome {
        let target = found.or_else(|| {
            let image = context.knowledge.installed?;
            Some(Value {
                issue: image.sequence,
                held: None,
            })
        });
        Outcome::Inspected(target, self.then)
    }
}

/// Where an image lies that the register names.
fn place_of(context: &Context<'_>, held: Held) -> Region {
    let config = context.config;
    match config.layout() {
        Layout::Single => config.slot,
        Layout::Staged { stage } => stage,
        Layout::Paired { second } if held.second => second,
        Layout::Paired { .. } => config.slot,
    }
}

/// The nth candidate, if there is something to find out about it.
fn candidate(context: &Context<'_>, index: usize) -> Option<Reading> {
    if ONE_PLACE {
        return None;
    }
    let value = context.knowledge.register.candidates().nth(index)?;
    let held = value
        .held
        .filter(|held| held.descriptor.image_size <= place_of(context, *held).size)?;
    // With one slot the register holds no image.
    let wanted = context.config.layout() != Layout::Single;
    wanted.then_some(Reading::Candidate(index, value, held))
}

/// Keeps what flash showed of the image that may be started, for the comparison at the start itself.
fn keep_shown(context: &mut Context<'_>, reply: Reply<'_>) {
    if let Reply::Digest(digest) = reply {
        context.knowledge.shown = digest;
    }
}

/// Whether a reply is this digest, in a time that does not depend on where it differs.
fn shows(reply: Reply<'_>, wanted: &[u8; 32]) -> bool {
    let Reply::Digest(digest) = reply else {
        return false;
    };
    same_digest(&digest, wanted)
}

/// What stands for the digest of an image that is started by its descriptor alone: the digest that this names, spoilt by
/// whatever its void mark has that is not erased.
fn stand_in(descriptor: &Descriptor, mark: &[u8], erased: u8) -> [u8; 32] {
    let mut shown = descriptor.image_digest;
    for (byte, mark) in shown.iter_mut().zip(mark) {
        *byte ^= mark ^ erased;
    }
    shown
}
