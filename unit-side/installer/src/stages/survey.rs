//! Looking at the stick: is there one, can it be read, and which of its files would this unit install?

use super::examine::{Examine, Examined};
use super::{Context, Outcome, Turn, Wish};
use crate::listing::{Finding, Offer, Relation, Row};
use crate::reason::Reason;
use crate::request::Reply;
use packstaff_envelope::Manifest;
use packstaff_fat::{Entry, Mount, RootReader, Step, Volume};

/// Files with another ending that are looked into, to recognise a renamed update.
const STRANGERS_MAX: u8 = 16;

/// Is a stick there?
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Find;

impl Find {
    #[allow(clippy::unused_self)] // the same shape as every other stage
    pub(crate) fn step(&self, reply: Option<Reply<'_>>) -> Turn {
        match reply {
            None => Turn::Wish(Wish::FindStick),
            Some(Reply::Stick { blocks }) => Turn::Over(Outcome::Found(blocks)),
            Some(_) => Turn::Over(Outcome::NoStick),
        }
    }
}

/// Can it be read?
#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Mounting(Mount);

impl Mounting {
    pub(crate) fn of(blocks: u64) -> Self {
        Self(Mount::new(blocks))
    }

    pub(crate) fn step(&mut self, reply: Option<Reply<'_>>) -> Turn {
        let block = match reply {
            None => None,
            Some(Reply::Block(block)) => Some(block),
            Some(_) => return Turn::Over(Outcome::NoUpdate(Reason::StickUnreadable)),
        };
        match self.0.step(block) {
            Ok(Step::Read(number)) => Turn::Wish(Wish::ReadStick(number)),
            Ok(Step::Ready(volume)) => Turn::Over(Outcome::Mounted(volume)),
            Err(error) => Turn::Over(Outcome::NoUpdate(error.into())),
        }
    }
}

/// Which of its files would this unit install?
#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Survey {
    volume: Volume,
    root: RootReader,
    strangers: u8,
    act: Act,
}

#[derive(Clone, PartialEq, Eq, Hash)]
#[allow(clippy::large_enum_variant)] // lives in the machine's one static
enum Act {
    Directory,
    File(Examine),
}

impl Survey {
    pub(crate) fn of(volume: Volume) -> Self {
        Self {
            volume,
            root: volume.root(),
            strangers: 0,
            act: Act::Directory,
        }
    }

    pub(crate) fn step(&mut self, context: &mut Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        let mut reply = reply;
        // Each turn takes one entry of the directory or one block of a file: both are bounded by their readers.
        loop {
            let entry = match &mut self.act {
                Act::File(examine) => match examine.step(context, &self.volume, reply.take()) {
                    Examined::Wish(wish) => return Turn::Wish(wish),
                    examined => {
                        let file = examine.file();
                        note(context, file, &examined);
                        self.act = Act::Directory;
                        continue;
                    }
                },
                Act::Directory => {
                    let block = match reply {
                        None => None,
                        Some(Reply::Block(block)) => Some(block),
                        Some(_) => return Turn::Over(Outcome::NoUpdate(Reason::StickUnreadable)),
                    };
                    match self.root.step(&self.volume, block, None) {
                        Ok(Step::Read(number)) => return Turn::Wish(Wish::ReadStick(number)),
                        Ok(Step::Ready(Some(entry))) => entry,
                        Ok(Step::Ready(None)) => return Turn::Over(self.conclude(context)),
                        Err(error) => return Turn::Over(Outcome::NoUpdate(error.into())),
                    }
                }
            };
            if let Some(named) = self.worth_a_look(context, &entry) {
                self.act = Act::File(Examine::open(&self.volume, entry, named));
                reply = None;
            }
        }
    }

    /// Whether to look into a file, and if so whether its name has the right ending.
    fn worth_a_look(&mut self, context: &Context<'_>, entry: &Entry) -> Option<bool> {
        if entry.is_directory() {
            return None;
        }
        if entry.short.bytes.last_chunk() == Some(&context.config.extension) {
            return Some(true);
        }
        if entry.size == 0 || self.strangers >= STRANGERS_MAX {
            return None;
        }
        self.strangers = self.strangers.saturating_add(1);
        Some(false)
    }

    fn conclude(&self, context: &Context<'_>) -> Outcome {
        let mut offers = context.listing.offers().peekable();
        if offers.peek().is_none() {
            return Outcome::NoUpdate(context.listing.first_refusal().unwrap_or(Reason::NoUpdate));
        }
        // A stick that stays in the unit must not make it ask at every start.
        if offers.all(|(_, _, offer)| offer.relation == Relation::Installed) {
            return Outcome::NothingNew;
        }
        Outcome::Offers(self.volume)
    }
}

fn note(context: &mut Context<'_>, file: Entry, examined: &Examined) {
    let finding = match examined {
        Examined::Fit(manifest, _) => Finding::Offered(offer(context, manifest)),
        Examined::Unfit(reason) => Finding::Refused(*reason),
        Examined::Foreign | Examined::Wish(_) => return,
    };
    context.listing.push(Row { file, finding });
}

fn offer(context: &Context<'_>, manifest: &Manifest) -> Offer {
    let relation = match context.knowledge.installed {
        None => Relation::First,
        Some(image) if image.image_digest == manifest.image_digest && image.sequence == manifest.sequence => {
            Relation::Installed
        }
        Some(image) => match manifest.version.cmp(&image.version) {
            core::cmp::Ordering::Greater => Relation::Newer,
            core::cmp::Ordering::Equal => Relation::Sibling,
            core::cmp::Ordering::Less => Relation::Older,
        },
    };
    Offer {
        version: manifest.version,
        sequence: manifest.sequence,
        image_size: manifest.image_size,
        relation,
        manifest: manifest.digest,
    }
}
