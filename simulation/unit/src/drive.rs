//! The host's driver: carries out what the installer asks of a simulated unit.

use crate::flash::{Change, Flash, FlashFault};
use crate::stick::Stick;
use crate::timing::Work;
use packstaff_envelope::Sha256;
use packstaff_fat::Block;
use packstaff_installer::{Listing, Reason, Region, Reply, Request};

/// A request that has been taken from the machine and can be kept while the world changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wish {
    /// Is a stick there?
    FindStick,
    /// Read a block of the stick.
    ReadStick(u64),
    /// Read flash.
    ReadFlash(Region),
    /// Digest flash.
    DigestFlash(Region),
    /// Is all of a range erased?
    CheckBlank(Region),
    /// Change flash.
    Change(Change),
    /// Let the owner pick from this listing.
    Ask(Box<Listing>),
    /// Tell the owner something; the unit goes on.
    Tell(Reason),
    /// Wait for the owner.
    Wait(Reason),
    /// Start the image at this address.
    Start(u32),
}

impl From<Request<'_>> for Wish {
    fn from(request: Request<'_>) -> Self {
        let region = |base, size| Region { base, size };
        match request {
            Request::FindStick => Self::FindStick,
            Request::ReadStick { block } => Self::ReadStick(block),
            Request::ReadFlash { address, len } => Self::ReadFlash(region(address, len)),
            Request::DigestFlash { address, len } => Self::DigestFlash(region(address, len)),
            Request::CheckBlank { address, len } => Self::CheckBlank(region(address, len)),
            Request::Erase { address } => Self::Change(Change::Erase { address }),
            Request::Program { address, data } => Self::Change(Change::Program {
                address,
                data: data.to_vec(),
            }),
            Request::Ask { listing } => Self::Ask(Box::new(*listing)),
            Request::Tell { reason, .. } => Self::Tell(reason),
            Request::Wait { reason, .. } => Self::Wait(reason),
            Request::Start { address } => Self::Start(address),
        }
    }
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
    /// Bytes of flash: at most 512.
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

/// The answer to a wish that only looks; `None` for one that changes, asks or ends.
pub fn look(wish: &Wish, flash: &Flash, stick: Option<&Stick>) -> Option<Answer> {
    Some(match *wish {
        Wish::FindStick => stick.map_or(Answer::NoStick, |stick| Answer::Stick(stick.blocks())),
        Wish::ReadStick(block) => {
            let read = stick.and_then(|stick| stick.block(block));
            read.map_or(Answer::Failed, |block| Answer::Block(Box::new(block)))
        }
        Wish::ReadFlash(region) => flash
            .bytes(region.base, region.size)
            .map_or(Answer::Failed, Answer::Flash),
        Wish::DigestFlash(region) => digest(flash, region.base, region.size).map_or(Answer::Failed, Answer::Digest),
        Wish::CheckBlank(region) => flash
            .is_blank(region.base, region.size)
            .map_or(Answer::Failed, Answer::Blank),
        Wish::Change(_) | Wish::Ask(_) | Wish::Tell(_) | Wish::Wait(_) | Wish::Start(_) => return None,
    })
}

/// Counts what a real unit would do for a wish.
pub fn count(wish: &Wish, flash: &Flash, work: &mut Work) {
    let layout = flash.layout();
    match wish {
        Wish::ReadStick(_) => work.stick_blocks += 1,
        Wish::ReadFlash(region) | Wish::CheckBlank(region) => work.flash_bytes_read += u64::from(region.size),
        Wish::DigestFlash(region) => work.flash_bytes_digested += u64::from(region.size),
        Wish::Change(Change::Erase { address }) => {
            let size = layout.sector_at(*address).map_or(0, |sector| sector.size);
            *work.at(layout, *address).erases.entry(size).or_default() += 1;
        }
        Wish::Change(Change::Program { address, data }) => {
            work.at(layout, *address).programmed_bytes += data.len() as u64;
        }
        Wish::FindStick | Wish::Ask(_) | Wish::Tell(_) | Wish::Wait(_) | Wish::Start(_) => {}
    }
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
    use crate::flash::{FlashLayout, SumKey};
    use packstaff_installer::SectorRun;
    use packstaff_parts::SecondProgram;
    use std::sync::Arc;

    fn flash() -> Flash {
        let layout = FlashLayout::new(
            0,
            vec![SectorRun { count: 4, size: 1024 }],
            4,
            0xff,
            false,
            SecondProgram::Never,
        );
        Flash::erased(Arc::new(layout), SumKey::fixed())
    }

    #[test]
    fn looking_answers() {
        let mut flash = flash();
        assert_eq!(look(&Wish::FindStick, &flash, None), Some(Answer::NoStick));
        assert_eq!(look(&Wish::ReadStick(0), &flash, None), Some(Answer::Failed));
        flash
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
        let wish = Wish::DigestFlash(Region { base: 0, size: 3 });
        assert_eq!(look(&wish, &flash, None), Some(Answer::Digest(abc)));
        assert_eq!(look(&Wish::Change(Change::Erase { address: 0 }), &flash, None), None);
    }

    #[test]
    fn wishes_are_counted() {
        let flash = flash();
        let mut work = Work::default();
        for wish in [
            Wish::from(Request::Erase { address: 1024 }),
            Wish::from(Request::Program {
                address: 0,
                data: &[0; 16],
            }),
            Wish::from(Request::ReadStick { block: 3 }),
            Wish::from(Request::DigestFlash { address: 0, len: 3 }),
        ] {
            count(&wish, &flash, &mut work);
        }
        assert_eq!(
            (
                work.own.erases[&1024],
                work.own.programmed_bytes,
                work.stick_blocks,
                work.flash_bytes_digested
            ),
            (1, 16, 1, 3)
        );
    }
}
