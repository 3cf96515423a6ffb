//! One board, ready for a rehearsal: its units, its update files, and the sticks that may be in a unit.

use super::cases::{Beginning, Case, Way};
use super::error::RehearseError;
use super::files::{UpdateFile, highest, recorded_files};
use super::install::Install;
use super::limits::Limits;
use crate::budget::rates;
use crate::open::{Bench, OpenError, unit_key};
use crate::stick_spec;
use crate::wear::Wear;
use packstaff_envelope::{Anchor, Refusal, UnitKey, open};
use packstaff_product::{Board, Keyring};
use packstaff_rehearsal::claims::{Before, ReleasedImage as Image, running};
use packstaff_rehearsal::explore::{NODE_BYTES, Plan, StickOption};
use packstaff_rehearsal::picture::KnownImage;
use packstaff_rehearsal::power_up::{Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::SumKey;
use packstaff_unit::stick::Stick;
use packstaff_unit::timing::Estimate;
use packstaff_unit::world::World;

/// A settings memory's contents: the installer must leave them alone, whatever they are.
const SETTINGS: &[u8] = b"settings, calibration and counters of a unit in the field";

/// A board, and everything that a rehearsal of its installs needs.
pub struct BoardUnderTest<'a> {
    bench: &'a Bench,
    keyring: &'a Keyring,
    /// The board.
    pub board: &'a Board,
    /// Units of the first generation that is served.
    pub blueprint: Blueprint,
    /// Every version's file.
    pub files: Vec<UpdateFile>,
    /// Every image that may run.
    pub releases: Vec<Image>,
}

impl<'a> BoardUnderTest<'a> {
    /// Gets a board ready.
    ///
    /// # Errors
    /// No generation is served, or such a unit cannot be built.
    pub fn of(
        bench: &'a Bench,
        keyring: &'a Keyring,
        board: &'a Board,
        files: Vec<UpdateFile>,
    ) -> Result<Self, RehearseError> {
        let blueprint = bench.blueprint(board, keyring, generation(bench)?)?;
        let mut releases = bench.known_images(board);
        releases.extend(files.iter().map(|file| file.image));
        releases.sort_by_key(|image| (image.image_digest, image.image_size));
        releases.dedup();
        Ok(Self {
            bench,
            keyring,
            board,
            blueprint,
            files,
            releases,
        })
    }

    /// The product's name.
    pub fn product_name(&self) -> &str {
        &self.bench.product.name
    }

    /// The file of a version.
    ///
    /// # Errors
    /// There is none.
    pub fn file(&self, version: &str) -> Result<&UpdateFile, RehearseError> {
        let file = self.files.iter().find(|file| file.version == version);
        file.ok_or_else(|| RehearseError::NotForBoard {
            version: version.to_owned(),
            board: self.board.revision.clone(),
        })
    }

    /// The version that can be come to from every world: of the highest issue, the newest. Once it has run, files of a lower
    /// issue are refused.
    pub fn highest(&self) -> Option<&UpdateFile> {
        highest(&self.files)
    }

    /// A unit at the beginning of an install: one that runs a version had it installed by its own installer.
    ///
    /// # Errors
    /// It cannot be installed.
    pub fn world(&self, from: &Beginning) -> Result<World, RehearseError> {
        let mut world = self.blueprint.new_unit(SETTINGS.to_vec(), SumKey::fixed())?;
        let Beginning::Runs(version) = from else {
            return Ok(world);
        };
        let file = self.file(version)?;
        world.stick = Some(stick(&file.name, &file.bytes)?);
        let seen = power_up(&self.blueprint, &mut world, Owner::Picks(file.manifest), |_, _| {});
        match running(&self.blueprint, &world, seen.ending, &self.releases) == Some(file.image) {
            true => Ok(world),
            false => Err(RehearseError::NotInstalled {
                file: file.name.clone(),
                ending: seen.ending,
            }),
        }
    }

    /// What is explored in a case.
    ///
    /// # Errors
    /// A unit or a stick cannot be made.
    pub fn plan(&self, case: &Case, limits: &Limits) -> Result<Plan<'_>, RehearseError> {
        let target = self.file(&case.to)?;
        let beginnings = case.from.iter().map(|from| {
            let name = match from {
                Beginning::New => "a new unit".to_owned(),
                Beginning::Runs(version) => format!("one that runs {version}"),
            };
            Ok((name, self.world(from)?.flash))
        });
        Ok(Plan {
            from: beginnings.collect::<Result<_, RehearseError>>()?,
            sticks: self.sticks(target)?,
            good_stick: 0,
            goal: target.manifest,
            target: target.image,
            releases: &self.releases,
            files: self
                .files
                .iter()
                .map(|file| (file.manifest, file.image.image_digest))
                .collect(),
            faults: limits.faults.clone(),
            reduce: true,
            stop_at_first: false,
            nodes_max: limits.bound.nodes(NODE_BYTES),
            key: SumKey::fixed(),
        })
    }

    /// The target's stick first; then one with each other version, a damaged copy, and one for another board.
    fn sticks(&self, target: &UpdateFile) -> Result<Vec<StickOption>, RehearseError> {
        let option = |name: String, file: &str, content: &[u8], good| {
            let stick = stick(file, content)?;
            Ok::<_, RehearseError>(StickOption { name, stick, good })
        };
        let mut sticks = vec![option(
            format!("a stick with {}", target.version),
            &target.name,
            &target.bytes,
            true,
        )?];
        for other in self.files.iter().filter(|file| file.version != target.version) {
            sticks.push(option(
                format!("a stick with {}", other.version),
                &other.name,
                &other.bytes,
                true,
            )?);
        }
        let damaged = self.damaged(target)?;
        sticks.push(option(
            format!("a damaged copy of {}", target.version),
            &target.name,
            &damaged,
            false,
        )?);
        if let Some((board, file)) = self.foreign()? {
            sticks.push(option(
                format!("a stick for board {board}"),
                &file.name,
                &file.bytes,
                false,
            )?);
        }
        Ok(sticks)
    }

    /// A copy with one wrong byte in the middle of its payload: what is signed is whole, and the image is not.
    fn damaged(&self, file: &UpdateFile) -> Result<Vec<u8>, RehearseError> {
        let mut bytes = file.bytes.clone();
        let middle = bytes.len().saturating_sub(file.image.image_size as usize / 2 + 1);
        if let Some(byte) = bytes.get_mut(middle) {
            *byte ^= 0x10;
        }
        let (signers, key) = self.keys()?;
        match open(&bytes, &signers, &key) {
            Err(Refusal::PayloadDigest) => Ok(bytes),
            other => Err(RehearseError::DamageUnseen {
                file: file.name.clone(),
                at: middle,
                found: format!("{:?}", other.map(|opened| opened.manifest)),
            }),
        }
    }

    /// The newest file for another board.
    fn foreign(&self) -> Result<Option<(String, UpdateFile)>, RehearseError> {
        for other in &self.bench.product.boards {
            if other.revision != self.board.revision
                && let Some(file) = recorded_files(self.bench, other)?.pop()
            {
                return Ok(Some((other.revision.clone(), file)));
            }
        }
        Ok(None)
    }

    fn keys(&self) -> Result<(Vec<Anchor>, UnitKey), RehearseError> {
        let generation = generation(self.bench)?;
        let key = self.keyring.unit_key(generation).map_err(OpenError::Key)?;
        let anchors = self.bench.anchors(self.keyring, generation)?;
        Ok((anchors, unit_key(generation, *key)?))
    }

    /// Every version's image in the clear, for pictures.
    ///
    /// # Errors
    /// A file does not open.
    pub fn images(&self) -> Result<Vec<KnownImage>, RehearseError> {
        let (signers, key) = self.keys()?;
        let images = self.files.iter().map(|file| {
            let opened = open(&file.bytes, &signers, &key).map_err(|why| RehearseError::NotOpened {
                file: file.name.clone(),
                why,
            })?;
            Ok(KnownImage {
                name: file.version.clone(),
                bytes: opened.image,
            })
        });
        images.collect()
    }

    /// One install without a cut: how long it takes, and that it leaves alone what it must.
    ///
    /// # Errors
    /// A unit or a stick cannot be made.
    pub fn install(&self, way: &Way) -> Result<Install, RehearseError> {
        let mut world = self.world(&way.from)?;
        let file = self.file(&way.to)?;
        world.stick = Some(stick(&file.name, &file.bytes)?);
        let before = Before::of(&self.blueprint, &world);
        let mut changes = 0;
        let mut wear = Wear::default();
        let seen = power_up(&self.blueprint, &mut world, Owner::Picks(file.manifest), |_, change| {
            changes += 1;
            wear.see(change);
        });
        let parts = self.bench.parts(self.board)?;
        Ok(Install {
            board: self.board.revision.clone(),
            from: way.from.clone(),
            to: way.to.clone(),
            changes,
            arrived: running(&self.blueprint, &world, seen.ending, &self.releases) == Some(file.image),
            ending: seen.ending,
            broken: before.broken(&self.blueprint, &world).collect(),
            erases_most: wear.most(&self.blueprint.layout),
            estimate: Estimate::of(
                &seen.work,
                parts,
                &rates(self.bench.product.budget.as_ref(), self.board, parts.own),
            ),
        })
    }
}

/// A stick with one file on it.
fn stick(name: &str, content: &[u8]) -> Result<Stick, RehearseError> {
    Ok(insert(packstaff_stick::build(&stick_spec::plain(&[(name, content)]))?))
}

/// The generation whose units are rehearsed: generations differ in their keys, and in whom they trust.
fn generation(bench: &Bench) -> Result<&str, RehearseError> {
    let first = bench.product.keys.serve.first();
    first.map(String::as_str).ok_or(RehearseError::NoGeneration)
}
