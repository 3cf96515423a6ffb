//! The host's driver: carries out what the installer asks of a simulated unit.

use crate::flash::{Change, Flash, FlashFault};
use crate::timing::Work;
use crate::world::World;
use envelope::Sha256;
use fat::Block;
use installer::{Listing, Reason, Reply, Request};

/// A request that has been taken from the machine and can be kept while the world changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Act {
    /// Changes flash.
    Change(Change),
    /// Looks at something; the answer is at hand.
    Look(Answer),
    /// The owner is asked to pick from this listing.
    Ask(Box<Listing>),
    /// The owner is told something; the unit goes on.
    Tell(Reason),
    /// The unit waits for its owner.
    Wait(Reason),
    /// The image at this address is started.
    Start(u32),
}

/// An answer that the driver found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// No stick.
    NoStick,
    /// A stick of so many blocks.
    Stick(u64),
    /// A block of the stick.
    Block(Box<Block>),
    /// Bytes of flash: at most 64.
    Flash(Vec<u8>),
    /// A digest.
    Digest([u8; 32]),
    /// Whether a range is blank.
    Blank(bool),
    /// The owner's choice.
    Chosen(Option<usize>),
    /// Carried out.
    Done,
    /// Could not be carried out.
    Failed,
}

impl Answer {
    /// As the machine takes it.
    pub fn reply(&self) -> Reply<'_> {
        match self {
            Self::NoStick => Reply::NoStick,
            Self::Stick(blocks) => Reply::Stick { blocks: *blocks },
            Self::Block(block) => Reply::Block(block),
            Self::Flash(bytes) => Reply::Flash(bytes),
            Self::Digest(digest) => Reply::Digest(*digest),
            Self::Blank(blank) => Reply::Blank(*blank),
            Self::Chosen(row) => Reply::Chosen(*row),
            Self::Done => Reply::Done,
            Self::Failed => Reply::Failed,
        }
    }
}

/// Carries out what only looks, and hands back what changes, asks or ends. `work` counts what a real unit would do.
pub fn take(request: &Request<'_>, world: &World, work: &mut Work) -> Act {
    Act::Look(match *request {
        Request::FindStick => world
            .stick
            .as_ref()
            .map_or(Answer::NoStick, |stick| Answer::Stick(stick.blocks())),
        Request::ReadStick { block } => {
            work.stick_blocks += 1;
            let read = world.stick.as_ref().and_then(|stick| stick.block(block));
            read.map_or(Answer::Failed, |block| Answer::Block(Box::new(block)))
        }
        Request::ReadFlash { address, len } => {
            work.flash_bytes_read += u64::from(len);
            world.flash.bytes(address, len).map_or(Answer::Failed, Answer::Flash)
        }
        Request::DigestFlash { address, len } => {
            work.flash_bytes_digested += u64::from(len);
            digest(&world.flash, address, len).map_or(Answer::Failed, Answer::Digest)
        }
        Request::CheckBlank { address, len } => {
            work.flash_bytes_read += u64::from(len);
            world.flash.is_blank(address, len).map_or(Answer::Failed, Answer::Blank)
        }
        Request::Erase { address } => {
            let size = world
                .flash
                .layout()
                .geometry()
                .sector_at(address)
                .map_or(0, |sector| sector.size);
            *work.erases.entry(size).or_default() += 1;
            return Act::Change(Change::Erase { address });
        }
        Request::Program { address, data } => {
            work.granules += data.len() as u64 / u64::from(world.flash.layout().geometry().granule.max(1));
            return Act::Change(Change::Program {
                address,
                data: data.to_vec(),
            });
        }
        Request::Ask { listing } => return Act::Ask(Box::new(*listing)),
        Request::Tell { reason, .. } => return Act::Tell(reason),
        Request::Wait { reason, .. } => return Act::Wait(reason),
        Request::Start { address } => return Act::Start(address),
    })
}

/// SHA-256 over a range of flash.
///
/// # Errors
/// As [`Flash::read`].
pub fn digest(flash: &Flash, address: u32, len: u32) -> Result<[u8; 32], FlashFault> {
    let mut hash = Sha256::new();
    flash.for_each_portion(address, len, |bytes| hash.update(bytes))?;
    Ok(hash.finish())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flash::{Layout, SumKey};
    use crate::part::SecondProgram;
    use crate::world::Settings;
    use installer::SectorRun;
    use std::sync::Arc;

    fn world() -> World {
        let layout = Layout::new(
            0,
            vec![SectorRun { count: 4, size: 1024 }],
            4,
            0xff,
            false,
            SecondProgram::Never,
        );
        World {
            flash: Flash::erased(Arc::new(layout), SumKey::fixed()),
            settings: Settings::new(vec![]),
            stick: None,
        }
    }

    #[test]
    fn looking_answers_and_counts() {
        let mut world = world();
        let mut work = Work::default();
        assert_eq!(take(&Request::FindStick, &world, &mut work), Act::Look(Answer::NoStick));
        assert_eq!(
            take(&Request::ReadStick { block: 0 }, &world, &mut work),
            Act::Look(Answer::Failed)
        );
        world
            .flash
            .apply(&Change::Program {
                address: 0,
                data: b"abcd".to_vec(),
            })
            .unwrap();
        // FIPS 180-4 example: SHA-256 of "abc".
        let abc = [
            0xba, 0x78, 0x16, 0xbf, 0x8f, 0x01, 0xcf, 0xea, 0x41, 0x41, 0x40, 0xde, 0x5d, 0xae, 0x22, 0x23, 0xb0, 0x03,
            0x61, 0xa3, 0x96, 0x17, 0x7a, 0x9c, 0xb4, 0x10, 0xff, 0x61, 0xf2, 0x00, 0x15, 0xad,
        ];
        let request = Request::DigestFlash { address: 0, len: 3 };
        assert_eq!(take(&request, &world, &mut work), Act::Look(Answer::Digest(abc)));
        assert_eq!((work.stick_blocks, work.flash_bytes_digested), (1, 3));
    }

    #[test]
    fn changes_are_handed_back_and_counted() {
        let world = world();
        let mut work = Work::default();
        let erase = take(&Request::Erase { address: 1024 }, &world, &mut work);
        assert_eq!(erase, Act::Change(Change::Erase { address: 1024 }));
        take(
            &Request::Program {
                address: 0,
                data: &[0; 16],
            },
            &world,
            &mut work,
        );
        assert_eq!((work.erases[&1024], work.granules), (1, 4));
        assert!(world.flash.is_blank(0, 4096).unwrap());
    }
}
