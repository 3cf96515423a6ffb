//! The rehearsal: from every version that is in the field to this one, and back to every one that an owner may go back to.

use super::Packed;
use crate::bench::Bench;
use crate::progress::Progress;
use crate::report::{Cell, Report};
use crate::stick_spec;
use miette::{IntoDiagnostic, Result, WrapErr};
use product::{Keyring, Version};
use rehearsal::claims::{Release as KnownImage, running};
use rehearsal::power_up::{Ending, Owner, PowerUp, power_up};
use rehearsal::sticks::insert;
use rehearsal::sweep::{Moment, Scene, Sweep, sweep};
use unit::blueprint::Blueprint;
use unit::flash::SumKey;
use unit::part::part;
use unit::stick::Stick;
use unit::timing::{Estimate, Rates};
use unit::world::World;

/// A settings memory's contents: the installer must leave them alone, whatever they are.
const SETTINGS: &[u8] = b"settings, calibration and counters of a unit in the field";

/// A rehearsed install.
pub struct Install {
    /// The board revision.
    pub board: String,
    /// What the unit ran before; `None` for a new unit.
    pub from: Option<String>,
    /// What it runs afterwards.
    pub to: String,
    /// What was tried and found.
    pub sweep: Sweep,
    /// How long the install takes without a cut.
    pub estimate: Estimate,
}

/// An update file and the image in it, as far as a rehearsal needs them.
#[derive(Clone)]
struct File {
    version: String,
    name: String,
    bytes: Vec<u8>,
    manifest: [u8; 32],
    image: KnownImage,
}

pub(super) fn rehearse(
    bench: &Bench,
    keyring: &Keyring,
    version: &Version,
    packed: &[Packed],
    progress: &Progress,
    report: &mut Report,
) -> Result<Vec<Install>> {
    let mut all = Vec::new();
    for packed in packed {
        let column = bench
            .product
            .boards
            .iter()
            .position(|board| board.revision == packed.board.revision)
            .unwrap_or(0);
        let file = File {
            version: version.text().to_owned(),
            name: packed.name.clone(),
            bytes: packed.file.clone(),
            manifest: packed.manifest.digest,
            image: KnownImage {
                image_size: packed.manifest.image_size,
                image_digest: packed.manifest.image_digest,
            },
        };
        for install in board_installs(bench, keyring, &packed.board, file, progress)? {
            let (id, title) = names(&install, version);
            report.set("Rehearsal", &id, &title, column, cell(&install));
            all.push(install);
        }
    }
    Ok(all)
}

/// Rehearses every install of a recorded version, for the `rehearse` verb.
///
/// # Errors
/// The ledger's files are not as they were, or a unit cannot be built.
pub fn installs(
    bench: &Bench,
    keyring: &Keyring,
    version: &Version,
    progress: &Progress,
    report: &mut Report,
) -> Result<Vec<Install>> {
    let release = bench
        .ledger
        .latest_issue_of(version.text())
        .ok_or_else(|| miette::miette!("the ledger has no release of {version}"))?;
    let mut all = Vec::new();
    for (column, board) in bench.product.boards.iter().enumerate() {
        let Some(record) = release.record.board(&board.revision) else {
            continue;
        };
        let file = recorded(release, record)?;
        for install in board_installs(bench, keyring, board, file, progress)? {
            let (id, title) = names(&install, version);
            report.set("Rehearsal", &id, &title, column, cell(&install));
            all.push(install);
        }
    }
    Ok(all)
}

fn names(install: &Install, version: &Version) -> (String, String) {
    match &install.from {
        None => ("from-new".to_owned(), "New unit".to_owned()),
        Some(from) if install.to == version.text() => (format!("from-{from}"), format!("From {from}")),
        Some(_) => (format!("back-to-{}", install.to), format!("Back to {}", install.to)),
    }
}

fn board_installs(
    bench: &Bench,
    keyring: &Keyring,
    board: &product::Board,
    file: File,
    progress: &Progress,
) -> Result<Vec<Install>> {
    let generation = bench
        .product
        .keys
        .serve
        .first()
        .ok_or_else(|| miette::miette!("product.toml serves no key generation"))?;
    let blueprint = bench.blueprint(board, keyring, generation)?;
    let mut releases = bench.known_images(board);
    releases.push(file.image);
    let stage = Stage {
        bench,
        blueprint,
        board,
        releases,
        progress,
    };
    let others = stage.others(&file.version)?;
    let mut installs = vec![stage.install(None, &file)?];
    for other in &others {
        installs.push(stage.install(Some(other), &file)?);
    }
    for other in others.iter().filter(|other| stage.may_go_back_to(&other.version)) {
        installs.push(stage.install(Some(&file), other)?);
    }
    Ok(installs)
}

struct Stage<'a> {
    bench: &'a Bench,
    blueprint: Blueprint,
    board: &'a product::Board,
    releases: Vec<KnownImage>,
    progress: &'a Progress,
}

impl Stage<'_> {
    /// The files of every other version, each under its highest issue.
    fn others(&self, version: &str) -> Result<Vec<File>> {
        let mut files = Vec::<File>::new();
        for release in self.bench.ledger.releases() {
            let Some(record) = release.record.board(&self.board.revision) else {
                continue;
            };
            if release.record.version == version {
                continue;
            }
            // The ledger gives the issues of a version upward: the later takes the place of the earlier.
            files.retain(|file| file.version != release.record.version);
            files.push(recorded(release, record)?);
        }
        Ok(files)
    }

    fn may_go_back_to(&self, version: &str) -> bool {
        let issue = self.bench.product.policy.issue;
        let numbers = self.bench.product.version(version).map(|version| version.numbers());
        numbers.is_ok_and(|numbers| numbers >= self.bench.product.policy.oldest.numbers())
            && self
                .bench
                .ledger
                .latest_issue_of(version)
                .is_some_and(|release| release.record.issue >= issue)
    }

    fn install(&self, from: Option<&File>, to: &File) -> Result<Install> {
        let from_version = from.map(|file| file.version.clone());
        let words = from_version.as_deref().unwrap_or("new");
        self.progress.say(&format!(
            "rehearsing board {}: {words} to {}",
            self.board.revision, to.version
        ));
        let mut world = self.world(from)?;
        world.stick = Some(self.stick(to)?);
        let scene = Scene {
            blueprint: &self.blueprint,
            world,
            owner: Owner::Picks(to.manifest),
            target: to.image,
            releases: &self.releases,
        };
        let sweep = sweep(&scene);
        let estimate = self.estimate(&sweep.smooth)?;
        Ok(Install {
            board: self.board.revision.clone(),
            from: from_version,
            to: to.version.clone(),
            sweep,
            estimate,
        })
    }

    /// A unit that runs `from`, installed by its own installer.
    fn world(&self, from: Option<&File>) -> Result<World> {
        let mut world = self
            .blueprint
            .new_unit(SETTINGS.to_vec(), SumKey::fixed())
            .into_diagnostic()?;
        if let Some(from) = from {
            world.stick = Some(self.stick(from)?);
            let seen = power_up(&self.blueprint, &mut world, Owner::Picks(from.manifest), |_, _| {});
            let runs = running(&self.blueprint, &world, seen.ending, &self.releases);
            if runs != Some(from.image) {
                let why = format!("{:?}", seen.ending);
                return Err(miette::miette!(
                    "{} cannot be installed on a new unit: {why}",
                    from.name
                ))
                .wrap_err("the ledger's file for an earlier version");
            }
        }
        Ok(world)
    }

    fn stick(&self, file: &File) -> Result<Stick> {
        let spec = stick_spec::plain(&[(&file.name, &file.bytes)]);
        Ok(insert(::stick::build(&spec).into_diagnostic()?))
    }

    fn estimate(&self, smooth: &PowerUp) -> Result<Estimate> {
        let part = part(&self.board.part).into_diagnostic()?;
        let clock = part.clock_hz_max.unwrap_or(48_000_000) as f64;
        Ok(Estimate::of(&smooth.work, part, &Rates::portable(clock)))
    }
}

fn recorded(release: &product::ledger::Release, record: &product::ledger::BoardRecord) -> Result<File> {
    let bytes = release
        .update_file(record)
        .into_diagnostic()
        .wrap_err("the ledger's archive")?;
    let image_size = u32::try_from(record.image_size).into_diagnostic()?;
    Ok(File {
        version: release.record.version.clone(),
        name: record.file.clone(),
        bytes,
        manifest: record.manifest_sha256,
        image: KnownImage {
            image_size,
            image_digest: record.image_sha256,
        },
    })
}

fn cell(install: &Install) -> Cell {
    let sweep = &install.sweep;
    let figure = format!("{} cuts at {} changes", sweep.cuts, sweep.changes);
    let Some(first) = sweep.violations.first() else {
        return Cell::pass(figure);
    };
    let place = match first.change {
        None => "without any cut".to_owned(),
        Some(change) => {
            let moment = match first.moment {
                Moment::Before => "just before".to_owned(),
                Moment::Inside(torn) => format!("inside ({torn:?})"),
                Moment::After => "just after".to_owned(),
            };
            format!("power cut {moment} change {} of {}", change + 1, sweep.changes)
        }
    };
    let ending = match first.ending {
        Ending::Started { .. } => "an image was started".to_owned(),
        Ending::Waiting(reason) => format!("the unit waits: {reason} ({})", reason.code()),
        Ending::Endless => "the installer did not come to an end".to_owned(),
        Ending::Impossible(fault) => format!("the installer asked for the impossible: {fault}"),
    };
    let stick = if first.with_stick {
        "with the stick"
    } else {
        "without a stick"
    };
    Cell::fail(
        format!(
            "{} of {} cases; the first: {place}, then, {stick}: {ending}",
            sweep.violations.len(),
            sweep.cuts
        ),
        first.claim.statement(),
        "An install that can go wrong like this must not go out. The update file or the memory map is at fault, or the installer: please report it.",
    )
}

/// What was rehearsed, in one honest sentence.
pub(super) fn sentence(installs: &[Install]) -> String {
    let cuts: usize = installs.iter().map(|install| install.sweep.cuts).sum();
    let boards = installs
        .iter()
        .map(|install| &install.board)
        .collect::<std::collections::BTreeSet<_>>()
        .len();
    format!(
        "Rehearsed: {} installs on {boards} board revisions, each cut once at every change of flash, {cuts} cuts in all, \
         whole and torn; after every one the unit ran the picked version again with the stick, and without it nothing but \
         a whole released image, or waited.",
        installs.len(),
    )
}
