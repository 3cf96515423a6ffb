//! A product folder, open on the bench: what the maker declared, in the terms of the other crates.

use packstaff_envelope::{Anchor, Kid, UnitKey};
use packstaff_image::checks::{Core, Limit, Target};
use packstaff_installer::{Geometry, Region};
use packstaff_parts::{Part, PartsTable, UnknownPart};
use packstaff_product::keyring::{OneTimeCount, OneTimeError};
use packstaff_product::{
    Board, DocumentError, Keyring, KeyringError, KeyringFile, Ledger, LedgerError, Product, Range, SecondPlace,
    SignatureKind, Unlock, VersionError,
};
use packstaff_rehearsal::claims::ReleasedImage;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::FlashLayout;
use packstaff_unit::timing::FlashParts;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thiserror::Error;

/// Ending of every update file's name.
pub const EXTENSION: &str = "UPD";

/// The maker's own table of parts, in the product folder: it need not be there.
pub const PARTS_FILE: &str = "parts.toml";

/// An open product folder.
pub struct Bench {
    folder: PathBuf,
    /// Where this machine remembers which one-time keys it has used.
    one_time_folder: Option<PathBuf>,
    parts: PartsTable,
    /// What the maker declared.
    pub product: Product,
    /// What has been released.
    pub ledger: Ledger,
}

/// Why a product folder, or something in it, cannot be used.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum OpenError {
    /// There is no product file.
    #[error("{} holds no product.toml", .0.display())]
    NoProduct(PathBuf),
    /// A board's part cannot be used.
    #[error("board {revision}: {why}")]
    Board {
        /// The board revision.
        revision: String,
        /// Why.
        why: String,
    },
    /// A key's name that a unit cannot hold.
    #[error("the name of a key has {len} bytes, and a unit holds 1 to 16")]
    KeyName {
        /// Bytes of the name.
        len: usize,
    },
    /// A generation that the product file does not have.
    #[error("there is no [[generation]] {0} in product.toml")]
    NoGeneration(String),
    /// There is no place for what this machine must remember.
    #[error(
        "this machine has no place to remember which one-time keys are used: neither XDG_STATE_HOME nor HOME is set"
    )]
    NoMachineFolder,
    /// A board revision that the product file does not have.
    #[error("there is no board {found} in product.toml, which has {known}")]
    UnknownBoard {
        /// The revision asked for.
        found: String,
        /// Those that there are.
        known: String,
    },
    /// A file of the folder cannot be read.
    #[error("{} cannot be read: {error}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        error: std::io::Error,
    },
    /// The product file is wrong.
    #[error(transparent)]
    Document(#[from] DocumentError),
    /// The ledger cannot be used.
    #[error("the ledger cannot be used: {0}")]
    Ledger(#[source] LedgerError),
    /// The keyring stays closed.
    #[error("the keyring {} stays closed: {error}", path.display())]
    Keyring {
        /// The keyring.
        path: PathBuf,
        /// Why.
        #[source]
        error: KeyringError,
    },
    /// The keyring lacks a key.
    #[error(transparent)]
    Key(#[from] KeyringError),
    /// The count of one-time keys cannot be had.
    #[error(transparent)]
    OneTime(#[from] OneTimeError),
    /// A version's text is not of the product's scheme.
    #[error(transparent)]
    Version(#[from] VersionError),
    /// A version that the product file does not list.
    #[error("version {found} is not listed in product.toml, which has {listed}")]
    UnlistedVersion {
        /// The version asked for.
        found: String,
        /// Those listed.
        listed: String,
    },
}

/// Reads a product file's text, whose boards name parts of a table; `name` is what complaints call it.
///
/// # Errors
/// Everything that is wrong with it, each with its line.
pub fn read_product(name: &str, text: &str, parts: &PartsTable) -> Result<Product, OpenError> {
    Ok(Product::read(name, text, Some(parts))?)
}

/// The built-in parts, and those of the product folder's own table if it has one.
fn read_parts(folder: &Path) -> Result<PartsTable, OpenError> {
    let path = folder.join(PARTS_FILE);
    match std::fs::read_to_string(&path) {
        Ok(text) => Ok(PartsTable::with_own(&path.display().to_string(), &text)?),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(PartsTable::default()),
        Err(error) => Err(OpenError::Unreadable { path, error }),
    }
}

impl Bench {
    /// Opens a product folder.
    ///
    /// # Errors
    /// Everything that is wrong with the maker's own parts table or the product file, each with its line; or the first record of the ledger that cannot be used.
    pub fn open(folder: &Path) -> Result<Self, OpenError> {
        let path = folder.join("product.toml");
        if !path.is_file() {
            return Err(OpenError::NoProduct(folder.to_owned()));
        }
        let text = std::fs::read_to_string(&path).map_err(|error| OpenError::Unreadable {
            path: path.clone(),
            error,
        })?;
        let parts = read_parts(folder)?;
        let product = read_product(&path.display().to_string(), &text, &parts)?;
        let ledger = Ledger::open(&folder.join("ledger")).map_err(OpenError::Ledger)?;
        Ok(Self {
            folder: folder.to_owned(),
            one_time_folder: None,
            parts,
            product,
            ledger,
        })
    }

    /// The same, on a machine that remembers in `folder` which one-time keys it has used: a folder outside of every product
    /// folder, so that an older copy of one does not bring them back.
    #[must_use]
    pub fn with_one_time_folder(self, folder: Option<PathBuf>) -> Self {
        Self {
            one_time_folder: folder,
            ..self
        }
    }

    /// The product folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Where the keyring lies.
    pub fn keyring_path(&self) -> PathBuf {
        self.folder.join(&self.product.keys.keyring)
    }

    /// Opens the keyring.
    ///
    /// # Errors
    /// The secret cannot be had, or does not open it.
    pub fn keyring(&self, unlock: &mut Unlock) -> Result<KeyringFile, OpenError> {
        let path = self.keyring_path();
        KeyringFile::open(&path, unlock).map_err(|error| OpenError::Keyring { path, error })
    }

    /// The version of this text.
    ///
    /// # Errors
    /// It is not in the product's scheme, or not listed.
    pub fn version(&self, text: &str) -> Result<packstaff_product::Version, OpenError> {
        let version = self.product.version(text)?;
        let list = &self.product.versions.list;
        list.iter()
            .find(|listed| listed.text() == version.text())
            .cloned()
            .ok_or_else(|| {
                let listed = list
                    .iter()
                    .map(packstaff_product::Version::text)
                    .collect::<Vec<_>>()
                    .join(", ");
                OpenError::UnlistedVersion {
                    found: text.to_owned(),
                    listed,
                }
            })
    }

    /// The board of this revision.
    ///
    /// # Errors
    /// The product has none.
    pub fn board(&self, revision: &str) -> Result<&Board, OpenError> {
        let known = || {
            self.product
                .boards
                .iter()
                .map(|board| board.revision.as_str())
                .collect::<Vec<_>>()
        };
        self.product.board(revision).ok_or_else(|| OpenError::UnknownBoard {
            found: revision.to_owned(),
            known: known().join(", "),
        })
    }

    /// The flash part of a board.
    ///
    /// # Errors
    /// It is not in the parts table, or is no program flash.
    pub fn part(&self, board: &Board) -> Result<&Part, OpenError> {
        self.flash_part(board, &board.part)
    }

    /// The parts that boards may name: the built-in ones and the maker's own.
    pub const fn parts_table(&self) -> &PartsTable {
        &self.parts
    }

    /// The settings memory of a board.
    ///
    /// # Errors
    /// It is not in the parts table.
    pub fn settings_memory(&self, board: &Board) -> Result<&Part, UnknownPart> {
        self.parts.part(&board.settings_memory)
    }

    fn flash_part(&self, board: &Board, id: &str) -> Result<&Part, OpenError> {
        let fault = |why: String| OpenError::Board {
            revision: board.revision.clone(),
            why,
        };
        let found = self.parts.part(id).map_err(|unknown| fault(unknown.to_string()))?;
        match found.is_program_flash() {
            true => Ok(found),
            false => Err(fault(format!("{id} is not a program flash"))),
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
        blueprint.check().map_err(|why| OpenError::Board {
            revision: board.revision.clone(),
            why: why.to_string(),
        })?;
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

    /// The count of the HSS-LMS key's one-time keys, and the highest of them that the ledger knows.
    ///
    /// # Errors
    /// The keyring has no such key, or this machine has no place for what it must remember.
    pub fn one_time_count(&self, keyring: &KeyringFile) -> Result<(OneTimeCount, Option<u32>), OpenError> {
        let key = keyring.keyring().tree_key()?;
        let recorded = self.ledger.highest_one_time_key(&key.listing().fingerprint);
        let count = keyring.one_time_count(self.one_time_folder()?)?;
        Ok((count, recorded))
    }

    /// Where this machine remembers which one-time keys it has used.
    ///
    /// # Errors
    /// It has no place for that.
    pub fn one_time_folder(&self) -> Result<&Path, OpenError> {
        self.one_time_folder.as_deref().ok_or(OpenError::NoMachineFolder)
    }

    /// The place that a board's builds are meant for.
    ///
    /// # Errors
    /// The board's core or part is not known.
    pub fn target(&self, board: &Board) -> Result<Target, OpenError> {
        let fault = |why: String| OpenError::Board {
            revision: board.revision.clone(),
            why,
        };
        let layout = self.layout(board)?;
        let core = board
            .core
            .parse::<Core>()
            .map_err(|unknown| fault(unknown.to_string()))?;
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
