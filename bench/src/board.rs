//! A board on the bench: what the maker declared of it, in the terms of the flash, the unit and the build.

use crate::{Bench, OpenError};
use packstaff_envelope::{Anchor, Kid, UnitKey};
use packstaff_image::checks::{Core, Limit, Target, UnknownCore};
use packstaff_installer::{Geometry, Region};
use packstaff_parts::{Part, UnknownPart};
use packstaff_product::{Board, Keyring, Range, SecondPlace, SignatureKind};
use packstaff_rehearsal::claims::ReleasedImage;
use packstaff_unit::blueprint::{Blueprint, BlueprintError};
use packstaff_unit::flash::FlashLayout;
use packstaff_unit::timing::FlashParts;
use std::sync::Arc;
use thiserror::Error;

/// Why a board cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum BoardFault {
    /// It names a part that no table has.
    #[error(transparent)]
    UnknownPart(#[from] UnknownPart),
    /// It names a part that cannot hold a program.
    #[error("{0} is not a program flash")]
    NoProgramFlash(String),
    /// Its core is not known.
    #[error(transparent)]
    UnknownCore(#[from] UnknownCore),
    /// Its memory map does not suit the installer.
    #[error(transparent)]
    Map(#[from] BlueprintError),
}

impl BoardFault {
    fn of(self, board: &Board) -> OpenError {
        OpenError::Board {
            revision: board.revision.clone(),
            why: self,
        }
    }
}

impl Bench {
    /// The flash part of a board.
    ///
    /// # Errors
    /// It is not in the parts table, or is no program flash.
    pub fn part(&self, board: &Board) -> Result<&Part, OpenError> {
        self.flash_part(board, &board.part)
    }

    /// The settings memory of a board.
    ///
    /// # Errors
    /// It is not in the parts table.
    pub fn settings_memory(&self, board: &Board) -> Result<&Part, UnknownPart> {
        self.parts_table().part(&board.settings_memory)
    }

    fn flash_part(&self, board: &Board, id: &str) -> Result<&Part, OpenError> {
        let table = self.parts_table();
        let found = table.part(id).map_err(|unknown| BoardFault::from(unknown).of(board))?;
        match found.is_program_flash() {
            true => Ok(found),
            false => Err(BoardFault::NoProgramFlash(id.to_owned()).of(board)),
        }
    }

    /// All parts that a board's installs write: its flash part, and the memory of its stage.
    ///
    /// # Errors
    /// One is not in the parts table, or is no flash.
    pub fn parts(&self, board: &Board) -> Result<FlashParts<'_>, OpenError> {
        let beside = board.map.second.memory();
        Ok(FlashParts {
            own: self.part(board)?,
            beside: beside.map(|memory| self.flash_part(board, &memory.part)).transpose()?,
        })
    }

    /// The flash that installs write.
    ///
    /// # Errors
    /// As [`parts`](Self::parts).
    pub fn layout(&self, board: &Board) -> Result<FlashLayout, OpenError> {
        let parts = self.parts(board)?;
        let own = FlashLayout::of(parts.own);
        Ok(match (parts.beside, board.map.second.memory()) {
            (Some(part), Some(memory)) => own.with_beside(FlashLayout::of(part).at(memory.base)),
            _ => own,
        })
    }

    /// Units of a board revision and a key generation, as the simulation builds them.
    ///
    /// # Errors
    /// The memory map does not suit the installer, or the keyring has no such generation.
    pub fn blueprint(&self, board: &Board, keyring: &Keyring, generation: &str) -> Result<Blueprint, OpenError> {
        let key = unit_key(generation, *keyring.unit_key(generation)?)?;
        self.blueprint_with(board, self.anchors(keyring, generation)?, key)
    }

    /// Units of a board revision with these keys.
    ///
    /// # Errors
    /// The memory map does not suit the installer.
    pub fn blueprint_with(&self, board: &Board, anchors: Vec<Anchor>, key: UnitKey) -> Result<Blueprint, OpenError> {
        let siblings = self
            .product
            .boards
            .iter()
            .filter(|other| other.revision != board.revision);
        let blueprint = Blueprint {
            vendor: *self.product.maker.vendor.as_bytes(),
            class: *board.class.as_bytes(),
            siblings: siblings.map(|other| *other.class.as_bytes()).collect(),
            anchors,
            key,
            extension: *b"UPD",
            layout: Arc::new(self.layout(board)?),
            installer: region(board.map.installer),
            slot: region(board.map.slot),
            slots: slots(&board.map.second),
            floors: board.map.floor.map(region),
        };
        blueprint.check().map_err(|why| BoardFault::from(why).of(board))?;
        Ok(blueprint)
    }

    /// The keys that units of a generation trust.
    ///
    /// # Errors
    /// The product file has no such generation, or the keyring lacks a key that its units trust.
    pub fn anchors(&self, keyring: &Keyring, generation: &str) -> Result<Vec<Anchor>, OpenError> {
        let declared = self.product.keys.generation(generation);
        let declared = declared.ok_or_else(|| OpenError::NoGeneration(generation.to_owned()))?;
        declared.trusts.iter().map(|kind| anchor(keyring, *kind)).collect()
    }

    /// The place that a board's builds are meant for.
    ///
    /// # Errors
    /// The board's core or part is not known.
    pub fn target(&self, board: &Board) -> Result<Target, OpenError> {
        let layout = self.layout(board)?;
        let core = board
            .core
            .parse::<Core>()
            .map_err(|unknown| BoardFault::from(unknown).of(board))?;
        let span = |range: Range| range.start()..u32::try_from(range.end()).unwrap_or(u32::MAX);
        let [first, second] = board.map.floor;
        let ours = [
            ("the installer", board.map.installer),
            ("the floor's first record", first),
            ("the floor's second record", second),
        ];
        let second = board
            .map
            .second
            .range()
            .map(|range| (second_name(&board.map.second), range));
        let ours = ours.into_iter().chain(second);
        let ours = ours.map(|(name, range)| (name.to_owned(), span(range)));
        let theirs = board
            .map
            .reserved
            .iter()
            .map(|reserved| (reserved.purpose.clone(), span(reserved.range)));
        Ok(Target {
            slot: span(board.map.slot),
            usable: slots(&board.map.second).usable(region(board.map.slot), layout.geometry()),
            limit: limit(board, layout.geometry()),
            ram: vec![span(board.map.ram)],
            core,
            reserved: ours.chain(theirs).collect(),
            erased: layout.own().erased(),
            earlier: self.earlier(board),
        })
    }

    fn earlier(&self, board: &Board) -> Vec<(String, [u8; 32])> {
        let records = self.ledger.releases().iter().map(|release| &release.record);
        let image = |record: &packstaff_product::Record| {
            Some((record.version.clone(), record.board(&board.revision)?.image_sha256))
        };
        records.filter_map(image).collect()
    }

    /// Every image that the ledger knows for a board.
    pub fn known_images(&self, board: &Board) -> Vec<ReleasedImage> {
        let records = self
            .ledger
            .releases()
            .iter()
            .filter_map(|release| release.record.board(&board.revision));
        records
            .map(|record| ReleasedImage {
                image_size: record.image_size as u32,
                image_digest: record.image_sha256,
            })
            .collect()
    }
}

/// The second place as the installer has it.
pub fn slots(second: &SecondPlace) -> packstaff_installer::Layout {
    match second {
        SecondPlace::None => packstaff_installer::Layout::Single,
        SecondPlace::Stage { range, .. } => packstaff_installer::Layout::Staged { stage: region(*range) },
        SecondPlace::Slot(range) => packstaff_installer::Layout::Paired { second: region(*range) },
    }
}

/// What keeps images from using more of a board's slot.
fn limit(board: &Board, flash: Geometry<'_>) -> Limit {
    let slot = region(board.map.slot);
    let is_smaller =
        slots(&board.map.second).usable(slot, flash) < packstaff_installer::Layout::Single.usable(slot, flash);
    match board.map.second {
        SecondPlace::Stage { .. } if is_smaller => Limit::Stage,
        SecondPlace::Slot(_) => Limit::SecondSlot,
        _ => Limit::Descriptor,
    }
}

/// What to call a second place.
const fn second_name(second: &SecondPlace) -> &'static str {
    match second {
        SecondPlace::Slot(_) => "the second slot",
        SecondPlace::None | SecondPlace::Stage { .. } => "the stage",
    }
}

/// The signing key of a kind, as units are told to trust it.
///
/// # Errors
/// The keyring has no key of that kind.
pub fn anchor(keyring: &Keyring, kind: SignatureKind) -> Result<Anchor, OpenError> {
    match kind {
        SignatureKind::Ed25519 => Ok(Anchor::ed25519(kid(&keyring.signer_kid())?, keyring.public_key())),
        SignatureKind::HssLms => {
            let key = keyring.tree_key()?;
            Ok(Anchor::hss_lms(kid(&key.kid())?, *key.public_key()))
        }
    }
}

/// A generation's key, as units hold it.
///
/// # Errors
/// The generation's name is too long for a unit.
pub fn unit_key(generation: &str, key: [u8; 32]) -> Result<UnitKey, OpenError> {
    Ok(UnitKey {
        kid: kid(generation.as_bytes())?,
        key,
    })
}

/// A key's name, as units hold it.
///
/// # Errors
/// It is empty, or longer than 16 bytes.
pub fn kid(bytes: &[u8]) -> Result<Kid, OpenError> {
    Kid::new(bytes).ok_or(OpenError::KeyName { len: bytes.len() })
}

fn region(range: Range) -> Region {
    Region {
        base: range.start(),
        size: range.size(),
    }
}
