//! One power-up of a simulated unit, from the first step of its installer to the start of an image.

use packstaff_envelope::Manifest;
use packstaff_installer::{Installer, Listing, Phase, Reason};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::drive::{Answer, Wish, count, look};
use packstaff_unit::flash::{Change, FlashFault};
use packstaff_unit::timing::Work;
use packstaff_unit::world::World;

/// More steps than any power-up needs; a machine that takes more is going round in circles.
///
/// A step reads one block, or changes flash once: a 4 GiB file has 2^23 blocks and is read twice.
const STEPS_MAX: u64 = 1 << 25;

/// What the owner does when asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Owner {
    /// Picks the file whose signed manifest has this digest; nothing, if it is not offered.
    Picks([u8; 32]),
    /// Leaves everything as it is.
    Declines,
}

impl Owner {
    /// An owner who wants the update with this manifest.
    pub const fn wants(manifest: &Manifest) -> Self {
        Self::Picks(manifest.digest)
    }

    fn choose(self, listing: &Listing) -> Option<usize> {
        match self {
            Self::Declines => None,
            Self::Picks(digest) => listing
                .offers()
                .find(|(_, _, offer)| offer.manifest == digest)
                .map(|(index, _, _)| index),
        }
    }
}

/// How a power-up ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// An image was started.
    Started {
        /// Where its vector table lies.
        address: u32,
    },
    /// The unit waits for its owner.
    Waiting(Reason),
    /// The machine takes more steps than any install needs.
    Endless,
    /// The machine asked for a change that the part cannot carry out.
    Impossible(packstaff_unit::flash::FlashFault),
}

/// What happened in a power-up.
#[derive(Clone, Debug)]
pub struct PowerUp {
    /// How it ended.
    pub ending: Ending,
    /// What the owner was told on the way.
    pub told: Vec<Reason>,
    /// What the stick held, if the owner was asked.
    pub asked: Option<Listing>,
    /// What the unit did.
    pub work: Work,
}

/// Powers the unit and lets it run. `before` sees each change of flash, and the world just before it.
pub fn power_up(
    blueprint: &Blueprint,
    world: &mut World,
    owner: Owner,
    mut before: impl FnMut(&World, &Change),
) -> PowerUp {
    let config = blueprint.config();
    let mut machine = Installer::new();
    let mut seen = PowerUp {
        ending: Ending::Endless,
        told: Vec::new(),
        asked: None,
        work: Work::default(),
    };
    let mut answer = None::<Answer>;
    let mut progress = machine.progress(&config);
    for _ in 0..STEPS_MAX {
        let reply = answer
            .as_ref()
            .map_or(packstaff_installer::Reply::PowerUp, Answer::reply);
        let wish = Wish::from(machine.step(&config, reply));
        count(&wish, &world.flash, &mut seen.work);
        let now = machine.progress(&config);
        if matches!(now.phase, Phase::Check | Phase::Program) {
            let since = if now.phase == progress.phase { progress.done } else { 0 };
            seen.work.payload_bytes += u64::from(now.done.saturating_sub(since));
        }
        progress = now;
        if let Some(found) = look(&wish, &world.flash, world.stick.as_ref()) {
            answer = Some(found);
            continue;
        }
        answer = Some(match wish {
            Wish::Change(change) => {
                before(world, &change);
                match world.flash.apply(&change) {
                    Ok(()) => Answer::Done,
                    Err(FlashFault::AlreadyProgrammed { .. }) if blueprint.may_be_refused(&change) => Answer::Failed,
                    Err(fault) => {
                        seen.ending = Ending::Impossible(fault);
                        return seen;
                    }
                }
            }
            Wish::Ask(listing) => {
                let choice = owner.choose(&listing);
                // Each file that was listed had its signature looked at, and the chosen one once more.
                seen.work.signatures += listing.rows().count() as u64 + u64::from(choice.is_some());
                seen.asked = Some(*listing);
                Answer::Chosen(choice)
            }
            Wish::Tell(reason) => {
                seen.told.push(reason);
                Answer::Done
            }
            Wish::Wait(reason) => {
                seen.ending = Ending::Waiting(reason);
                return seen;
            }
            Wish::Start(address) => {
                seen.ending = Ending::Started { address };
                return seen;
            }
            // Every other wish only looks, and was answered above.
            _ => Answer::Failed,
        });
    }
    seen
}
