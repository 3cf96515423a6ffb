//! One board, ready for a rehearsal: its units, its update files, and the sticks that may be in a unit.

use super::files::{File, highest, recorded_files};
use super::smooth::Install;
use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::budget::rates;
use packstaff_bench::open::{Bench, unit_key};
use packstaff_bench::stick_spec;
use packstaff_bench::wear::Wear;
use packstaff_envelope::{Refusal, open};
use packstaff_product::{Board, Keyring};
use packstaff_rehearsal::claims::{Before, Release as Image, running};
use packstaff_rehearsal::explore::{Faults, Plan, StickOption};
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
pub struct Stage<'a> {
    bench: &'a Bench,
    keyring: &'a Keyring,
    /// The board.
    pub board: &'a Board,
    /// Units of the first generation that is served.
    pub blueprint: Blueprint,
    /// Every version's file.
    pub files: Vec<File>,
    /// Every image that may run.
    pub releases: Vec<Image>,
}

impl<'a> Stage<'a> {
    /// Gets a board ready.
    ///
    /// # Errors
    /// No generation is served, or such a unit cannot be built.
    pub fn of(bench: &'a Bench, keyring: &'a Keyring, board: &'a Board, files: Vec<File>) -> Result<Self> {
        let blueprint = bench.blueprint(board, keyring, generation(bench)?).told()?;
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
    pub fn file(&self, version: &str) -> Result<&File> {
        let file = self.files.iter().find(|file| file.version == version);
        file.ok_or_else(|| miette::miette!("there is no release of {version} for board {}", self.board.revision))
    }

    /// The version that can be come to from every world: of the highest issue, the newest. Once it has run, files of a lower
    /// issue are refused.
    pub fn highest(&self) -> Option<&File> {
        highest(&self.files)
    }

    /// A unit that runs a version, installed by its own installer; `None` for a new one.
    ///
    /// # Errors
    /// It cannot be installed.
    pub fn world(&self, from: Option<&str>) -> Result<World> {
        let mut world = self
            .blueprint
            .new_unit(SETTINGS.to_vec(), SumKey::fixed())
            .into_diagnostic()?;
        let Some(version) = from else { return Ok(world) };
        let file = self.file(version)?;
        world.stick = Some(self.stick(&file.name, &file.bytes)?);
        let seen = power_up(&self.blueprint, &mut world, Owner::Picks(file.manifest), |_, _| {});
        if running(&self.blueprint, &world, seen.ending, &self.releases) == Some(file.image) {
            return Ok(world);
        }
        Err(miette::miette!(
            "{} cannot be installed on a new unit: {:?}",
            file.name,
            seen.ending
        ))
        .wrap_err("the ledger's file for an earlier version")
    }

    fn stick(&self, name: &str, content: &[u8]) -> Result<Stick> {
        let spec = stick_spec::plain(&[(name, content)]);
        Ok(insert(packstaff_stick::build(&spec).into_diagnostic()?))
    }

    /// What is explored for a version to come to, and versions to come from.
    ///
    /// # Errors
    /// A unit or a stick cannot be made.
    pub fn plan(&self, to: &str, from: &[Option<String>], faults: Faults, nodes_max: usize) -> Result<Plan<'_>> {
        let target = self.file(to)?;
        let beginnings = from.iter().map(|from| {
            let name = from
                .as_ref()
                .map_or("a new unit".to_owned(), |from| format!("one that runs {from}"));
            Ok((name, self.world(from.as_deref())?.flash))
        });
        Ok(Plan {
            from: beginnings.collect::<Result<_>>()?,
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
            faults,
            reduce: true,
            stop_at_first: false,
            nodes_max,
            key: SumKey::fixed(),
        })
    }

    /// The target's stick first; then one with each other version, a damaged copy, and one for another board.
    fn sticks(&self, target: &File) -> Result<Vec<StickOption>> {
        let option = |name: String, file: &str, content: &[u8], good| {
            let stick = self.stick(file, content)?;
            Ok::<_, miette::Report>(StickOption { name, stick, good })
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
    fn damaged(&self, file: &File) -> Result<Vec<u8>> {
        let mut bytes = file.bytes.clone();
        let middle = bytes.len().saturating_sub(file.image.image_size as usize / 2 + 1);
        if let Some(byte) = bytes.get_mut(middle) {
            *byte ^= 0x10;
        }
        let (signers, key) = self.keys()?;
        match open(&bytes, &signers, &key) {
            Err(Refusal::PayloadDigest) => Ok(bytes),
            other => Err(miette::miette!(
                "{} with a wrong byte at {middle} should be refused for its payload, and is not: {:?}",
                file.name,
                other.map(|opened| opened.manifest)
            )),
        }
    }

    /// The newest file for another board.
    fn foreign(&self) -> Result<Option<(String, File)>> {
        for other in &self.bench.product.boards {
            if other.revision != self.board.revision
                && let Some(file) = recorded_files(self.bench, other)?.pop()
            {
                return Ok(Some((other.revision.clone(), file)));
            }
        }
        Ok(None)
    }

    fn keys(&self) -> Result<(Vec<packstaff_envelope::Anchor>, packstaff_envelope::UnitKey)> {
        let generation = generation(self.bench)?;
        let key = self.keyring.unit_key(generation).into_diagnostic()?;
        let anchors = self.bench.anchors(self.keyring, generation).told()?;
        Ok((anchors, unit_key(generation, *key).told()?))
    }

    /// Every version's image in the clear, for pictures.
    ///
    /// # Errors
    /// A file does not open.
    pub fn images(&self) -> Result<Vec<KnownImage>> {
        let (signers, key) = self.keys()?;
        let images = self.files.iter().map(|file| {
            let opened = open(&file.bytes, &signers, &key);
            let opened = opened.map_err(|refusal| miette::miette!("{} does not open: {refusal}", file.name))?;
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
    pub fn install(&self, from: Option<&str>, to: &str) -> Result<Install> {
        let mut world = self.world(from)?;
        let file = self.file(to)?;
        world.stick = Some(self.stick(&file.name, &file.bytes)?);
        let before = Before::of(&self.blueprint, &world);
        let mut changes = 0;
        let mut wear = Wear::default();
        let seen = power_up(&self.blueprint, &mut world, Owner::Picks(file.manifest), |_, change| {
            changes += 1;
            wear.see(change);
        });
        let parts = self.bench.parts(self.board).told()?;
        Ok(Install {
            board: self.board.revision.clone(),
            from: from.map(str::to_owned),
            to: to.to_owned(),
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

/// The generation whose units are rehearsed: generations differ in their keys, and in whom they trust.
fn generation(bench: &Bench) -> Result<&str> {
    let first = bench.product.keys.serve.first();
    first
        .map(String::as_str)
        .ok_or_else(|| miette::miette!("product.toml serves no key generation"))
}
