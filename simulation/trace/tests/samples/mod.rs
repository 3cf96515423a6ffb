//! Every world of a case, its truth, and what the tracer makes of it.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part of it

use super::support::case::Case;
use super::support::{Update, manifest};
use packstaff_envelope::VersionNumbers;
use packstaff_installer::{Layout, Region};
use packstaff_rehearsal::claims::{ReleasedImage as Known, running};
use packstaff_rehearsal::explore::{
    ChangeKind, ComesTo, Faults, Happening, Moment, OurInstaller, Plan, Step, Story, replay, stories,
};
use packstaff_rehearsal::power_up::{Ending, Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_trace::{Evidence, KindOfUnit, Outcome, Readout, Release, ReleaseId, Tracer, Work};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{Change, EraseCut, Flash, Inside, SumKey, Torn, outcomes};
use packstaff_unit::stick::Stick;
use packstaff_unit::world::{Settings, World};
use std::collections::BTreeMap;
use std::fmt;

/// Which of the worlds are checked.
#[derive(Clone, Copy)]
pub struct Sample {
    /// Cuts inside of each change.
    pub inside: usize,
    /// One world in so many.
    pub every: usize,
    /// The tracer is told that 2.0 has the image of 2.1, and the other way round: it must be seen to be wrong then.
    pub misinformed: bool,
}

impl Sample {
    pub const fn of(inside: usize, every: usize) -> Self {
        Self {
            inside,
            every,
            misinformed: false,
        }
    }

    fn spoil(self, kind: &mut KindOfUnit) {
        if let (true, [_, one, other]) = (self.misinformed, kind.releases.as_mut_slice()) {
            std::mem::swap(&mut one.image, &mut other.image);
        }
    }
}

/// What was covered of one kind of work.
#[derive(Default)]
pub struct Row {
    pub worlds: usize,
    /// One hypothesis only leaves flash so.
    pub decided: usize,
    /// The true hypothesis is the one named first.
    pub first: usize,
    /// The true hypothesis says which release was being installed, and names no other.
    pub named: usize,
    /// Doubtful cells read as whole now: another reading does otherwise, and no read-out shows it.
    pub may_read_otherwise: usize,
}

/// What was covered.
#[derive(Default)]
pub struct Tally {
    pub worlds: usize,
    pub works: BTreeMap<Work, Row>,
    /// What the next start does cannot be told.
    pub start_unknown: usize,
}

impl Tally {
    pub fn assert_every_phase_was_there(&self) {
        for work in [Work::Nothing, Work::Recording, Work::Writing, Work::Erasing] {
            assert!(self.works.contains_key(&work), "{work:?}: {self}");
        }
        // A hole at the very end of the part has nothing behind it: it may be cells that could not be read, or that were not.
        assert!(self.start_unknown * 100 < self.worlds, "{self}");
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} worlds; next start not told in {}",
            self.worlds, self.start_unknown
        )?;
        for (work, row) in &self.works {
            writeln!(
                f,
                "{:>10}: {:>6} worlds, one hypothesis {:>6}, true one first {:>6}, release named {:>6}, other readings {:>6}",
                format!("{work:?}"),
                row.worlds,
                row.decided,
                row.first,
                row.named,
                row.may_read_otherwise
            )?;
        }
        Ok(())
    }
}

/// What is true of a world.
#[derive(Clone, Debug)]
struct Truth {
    work: Work,
    /// What was broken off before, where the unit has done no more since than to settle its register: that still waits to be done.
    pending: Option<Work>,
    /// The image that was being installed last, by its manifest's digest.
    target: Option<[u8; 32]>,
    /// What the stick gave was of another file than was picked.
    foreign: bool,
    /// Bytes of it that were written, as far as shows.
    written: Option<u32>,
}

pub fn kind_of(blueprint: &Blueprint, updates: &[Update]) -> KindOfUnit {
    let top = updates.iter().map(|update| update.sequence).max();
    let release = |update: &Update| {
        let version: Vec<_> = update.version.iter().map(u32::to_string).collect();
        let file = update.file();
        Release {
            version: version.join("."),
            numbers: VersionNumbers::new(&update.version).unwrap(),
            issue: update.sequence,
            file_name: format!("KC4-{}.UPD", version.join("-")),
            manifest: manifest(&file).digest,
            file,
            image: update.image.clone(),
            offered: Some(update.sequence) == top,
        }
    };
    KindOfUnit {
        board: "C".into(),
        generations: vec![("g2".into(), blueprint.clone())],
        releases: updates.iter().map(release).collect(),
    }
}

/// Every granule of a flash: its address, and its bytes if they can be read.
fn granules(flash: &Flash) -> impl Iterator<Item = (Region, Option<Vec<u8>>)> + '_ {
    let sectors = flash.layout().sectors().iter();
    let areas = sectors.flat_map(|sector| {
        let size = flash.layout().memory_at(sector.base).granule();
        let bases = (sector.base..sector.base + sector.size).step_by(size as usize);
        bases.map(move |base| Region { base, size })
    });
    areas.map(|area| (area, flash.bytes(area.base, area.size).ok()))
}

/// What a reader gets from flash: what cannot be read is left out.
pub fn read_out(flash: &Flash) -> Readout {
    let mut pieces = Vec::<(u32, Vec<u8>)>::new();
    for (region, bytes) in granules(flash) {
        let Some(bytes) = bytes else { continue };
        match pieces.last_mut() {
            Some((start, held)) if *start + held.len() as u32 == region.base => held.extend(bytes),
            _ => pieces.push((region.base, bytes)),
        }
    }
    Readout {
        name: "flash".into(),
        pieces,
    }
}

/// Which kind of work a change belongs to, by what it touches.
fn work_of(blueprint: &Blueprint, kind: ChangeKind) -> Work {
    let place = blueprint.config().place();
    let address = match kind {
        ChangeKind::Erase(address) | ChangeKind::Program(address, _) => address,
    };
    if blueprint.floors.iter().any(|floor| floor.contains(address)) {
        return Work::Recording;
    }
    let marked = !matches!(blueprint.slots, Layout::Paired { .. });
    match kind {
        ChangeKind::Program(address, _) if marked && address == place.record.base => Work::Recording,
        ChangeKind::Program(address, _) if marked && address == place.void.base => Work::Erasing,
        ChangeKind::Program(..) => Work::Writing,
        ChangeKind::Erase(_) => Work::Erasing,
    }
}

/// Follows a story along the flashes that it left.
fn truth(blueprint: &Blueprint, story: &Story, trail: &[Flash], sizes: &BTreeMap<[u8; 32], u32>) -> Truth {
    let mut truth = Truth {
        work: Work::Nothing,
        pending: None,
        target: None,
        foreign: false,
        written: None,
    };
    let mut picked = None;
    let mut foreign = false;
    let mut asked_for = None;
    // Something else than the register was changed since power came on.
    let mut worked = false;
    let reads: Vec<_> = trail.iter().map(read_out).collect();
    for (index, step) in story.steps.iter().enumerate().skip(1) {
        let shows = reads[index] != reads[index - 1];
        let change = match step {
            Step::Cut(kind, _) => Some(*kind),
            Step::Runs { stick: None, .. } => asked_for,
            _ => None,
        };
        if let Some(kind) = change.filter(|_| shows) {
            let work = work_of(blueprint, kind);
            let settles = work == Work::Recording && !worked;
            truth.pending = match settles {
                true => truth
                    .pending
                    .or(Some(truth.work).filter(|work| matches!(work, Work::Erasing | Work::Writing))),
                false => None,
            };
            worked |= work != Work::Recording;
            truth.work = work;
            truth.target = picked.or(truth.target);
            truth.foreign = foreign;
            if let (Work::Writing, ChangeKind::Program(address, len)) = (truth.work, kind) {
                let place = blueprint.places().find(|place| place.contains(address)).unwrap();
                let done = match step {
                    Step::Cut(_, Moment::Inside(Torn::Program { whole, inside })) => {
                        let granule = blueprint.layout.memory_at(address).granule();
                        (whole + u32::from(*inside == Inside::Wavering)) * granule
                    }
                    _ => len,
                };
                let size = truth.target.and_then(|target| sizes.get(&target)).copied();
                truth.written = Some((address + done - place.base).min(size.unwrap_or(u32::MAX)));
            } else if truth.work == Work::Erasing {
                truth.written = None;
            }
        }
        if let Step::Runs {
            stick,
            happened,
            comes_to,
        } = step
        {
            if stick.is_some() {
                picked = None;
                foreign = false;
                worked = false;
            }
            for happening in happened {
                match happening {
                    Happening::Picked(digest) => picked = Some(*digest),
                    Happening::Swapped(_) => {
                        foreign = picked.is_some();
                    }
                    _ => {}
                }
            }
            asked_for = match comes_to {
                ComesTo::Change(kind) => Some(*kind),
                _ => None,
            };
        }
    }
    truth
}

/// Flash with its wavering cells in other readings, as erased and as nothing whole, and those that cannot be read as nothing whole.
fn other_readings(flash: &Flash) -> [Flash; 2] {
    let erased = |region: Region| flash.layout().memory_at(region.base).erased();
    let with = |other: &dyn Fn(Region, u8) -> u8| {
        let mut read = Flash::erased(std::sync::Arc::new(flash.layout().clone()), SumKey::fixed());
        for (region, bytes) in granules(flash) {
            let data = match bytes {
                None => vec![0x5a; region.size as usize],
                Some(bytes) if flash.wavers(region) => bytes.into_iter().map(|byte| other(region, byte)).collect(),
                Some(bytes) => bytes,
            };
            if data.iter().any(|byte| *byte != erased(region)) {
                let address = region.base;
                read.apply(&Change::Program { address, data }).unwrap();
            }
        }
        read
    };
    [with(&|region, _| erased(region)), with(&|_, byte| byte ^ 0x5a)]
}

struct Trial<'a> {
    blueprint: &'a Blueprint,
    releases: &'a [Known],
    files: BTreeMap<String, ([u8; 32], Stick, Known)>,
}

impl Trial<'_> {
    /// What a unit with this flash runs, and how many changes it makes before.
    fn alone(&self, flash: &Flash) -> (Option<Known>, usize) {
        self.power(flash, None)
    }

    fn with(&self, flash: &Flash, version: &str) -> Option<Known> {
        let (manifest, stick, _) = &self.files[version];
        self.power(flash, Some((*manifest, stick))).0
    }

    fn power(&self, flash: &Flash, stick: Option<([u8; 32], &Stick)>) -> (Option<Known>, usize) {
        let mut world = World {
            flash: flash.clone(),
            settings: Settings::new(Vec::new()),
            stick: stick.map(|(_, stick)| stick.clone()),
        };
        let owner = stick.map_or(Owner::Declines, |(manifest, _)| Owner::Picks(manifest));
        let mut changes = 0;
        let seen = power_up(self.blueprint, &mut world, owner, |_, _| changes += 1);
        assert!(
            matches!(seen.ending, Ending::Started { .. } | Ending::Waiting(_)),
            "{:?}",
            seen.ending
        );
        (running(self.blueprint, &world, seen.ending, self.releases), changes)
    }
}

/// Explores a case, and checks the account of the worlds that it reaches.
pub fn check_worlds(case: &Case, faults: Faults, sample: Sample) -> Tally {
    check_plan(
        &case.blueprint,
        &case.updates,
        &case.releases,
        &case.plan(faults, true),
        sample,
    )
}

pub fn check_plan(
    blueprint: &Blueprint,
    updates: &[Update],
    releases: &[Known],
    plan: &Plan<'_>,
    sample: Sample,
) -> Tally {
    let subject = OurInstaller::of(blueprint);
    let (found, stories) = stories(&subject, plan).unwrap();
    assert!(found.holds());
    let mut kind = kind_of(blueprint, updates);
    sample.spoil(&mut kind);
    let tracer = Tracer::new(kind).unwrap();
    let versions: BTreeMap<[u8; 32], (String, u32)> = tracer
        .kind()
        .releases
        .iter()
        .map(|release| (release.manifest, (release.version.clone(), release.image.len() as u32)))
        .collect();
    let sizes = versions
        .iter()
        .map(|(manifest, (_, size))| (*manifest, *size))
        .collect();
    let trial = Trial {
        blueprint,
        releases,
        files: tracer
            .kind()
            .releases
            .iter()
            .zip(releases)
            .map(|(release, known)| {
                let stick = insert(super::support::stick(&[("KC4.UPD", &release.file)]));
                (release.version.clone(), (release.manifest, stick, *known))
            })
            .collect(),
    };
    let mut tally = Tally::default();
    let stories: Vec<_> = stories
        .iter()
        .enumerate()
        .flat_map(|(index, story)| to_worlds(blueprint, index, story, sample.inside))
        .skip(sample.every / 2)
        .step_by(sample.every)
        .collect();
    for story in &stories {
        let trail = replay(&subject, plan, story).unwrap();
        let flash = trail.last().unwrap();
        if flash
            .layout()
            .memories()
            .any(|memory| flash.has_dont_care(memory.extent()))
        {
            continue;
        }
        let mut truth = truth(blueprint, story, &trail, &sizes);
        let (runs, changes) = trial.alone(flash);
        if truth.work == Work::Recording && changes == 0 && runs.is_some() {
            // All that there was to record is recorded.
            truth.work = Work::Nothing;
        }
        check(&tracer, &trial, &versions, flash, &truth, runs, story, &mut tally);
    }
    tally
}

/// Stories that end with power off: a story to such a world itself; a story to a change of flash, with a cut before it, one after
/// it, and some of those inside of it, others in each story.
fn to_worlds(blueprint: &Blueprint, index: usize, story: &Story, cuts: usize) -> Vec<Story> {
    let Some(Step::Runs {
        comes_to: ComesTo::Change(kind),
        ..
    }) = story.steps.last()
    else {
        return vec![story.clone()];
    };
    let flash = Flash::erased(blueprint.layout.clone(), SumKey::fixed());
    let change = match kind {
        ChangeKind::Erase(address) => Change::Erase { address: *address },
        ChangeKind::Program(address, len) => Change::Program {
            address: *address,
            data: vec![0; *len as usize],
        },
    };
    let inside: Vec<_> = outcomes(&flash, &change, &Inside::ALL, &EraseCut::ALL).collect();
    let some = inside
        .iter()
        .cycle()
        .skip(index.wrapping_mul(31))
        .step_by(1 + inside.len() / cuts.max(1))
        .take(cuts.min(inside.len()));
    let moments = some
        .map(|torn| Moment::Inside(*torn))
        .chain([Moment::Before, Moment::After]);
    moments
        .map(|moment| {
            let steps = story.steps.iter().cloned().chain([Step::Cut(*kind, moment)]);
            Story::of(steps.collect(), Vec::new())
        })
        .collect()
}

#[allow(clippy::too_many_arguments)] // all that is known of one world
fn check(
    tracer: &Tracer,
    trial: &Trial<'_>,
    versions: &BTreeMap<[u8; 32], (String, u32)>,
    flash: &Flash,
    truth: &Truth,
    runs: Option<Known>,
    story: &Story,
    tally: &mut Tally,
) {
    let evidence = Evidence {
        readouts: vec![read_out(flash)],
        ..Evidence::default()
    };
    let account = tracer.account(&evidence).unwrap();
    let seen = account.flash.as_ref().unwrap();
    let text = || {
        format!(
            "{truth:?}, runs {runs:?}\n{:#?}\n{story}",
            account.flash.as_ref().unwrap().hypotheses
        )
    };
    tally.worlds += 1;
    let row = tally.works.entry(truth.work).or_default();
    row.worlds += 1;

    // How far the install came: the true hypothesis is among those told, with the right version and the right number of bytes.
    let target = truth.target.map(|target| &versions[&target].0);
    let is_true = |hypothesis: &packstaff_trace::Hypothesis| {
        let names = |id: &ReleaseId| target == Some(&id.version);
        let version =
            truth.work == Work::Nothing || hypothesis.installing.is_empty() || hypothesis.installing.iter().any(names);
        let written = match (truth.work, hypothesis.written, truth.written) {
            (Work::Writing, Some((seen, _)), Some(written)) => seen == written || truth.foreign,
            _ => true,
        };
        (hypothesis.work == truth.work || Some(hypothesis.work) == truth.pending) && version && written
    };
    let place = seen.hypotheses.iter().position(is_true);
    let place = place.unwrap_or_else(|| panic!("no hypothesis is the true one: {}", text()));
    row.decided += usize::from(seen.hypotheses.len() == 1);
    row.first += usize::from(place == 0);
    row.named += usize::from(seen.hypotheses[place].installing.len() == 1);

    // The version: what the unit starts as its cells read now.
    let next = account.next.as_ref().unwrap();
    let mut start_unknown = false;
    if next.certain {
        let version = runs.map(|runs| {
            let known = trial.files.iter().find(|(_, (_, _, known))| *known == runs);
            known.unwrap().0.clone()
        });
        match (&next.at_best, &version) {
            (Outcome::Starts { release: Some(id), .. }, Some(version)) => {
                assert_eq!(&id.version, version, "{}", text())
            }
            (Outcome::Waits { .. }, None) => {}
            (other, _) => panic!("{other:?} is told where {version:?} runs: {}", text()),
        }
        assert_eq!(account.repair.needed, Some(runs.is_none()), "{}", text());
    } else {
        start_unknown = true;
    }

    // The repair: the stick that is named works on the world itself, whatever its doubtful cells read as.
    let send = account
        .repair
        .send()
        .unwrap_or_else(|| panic!("no stick is named: {}", text()));
    let wanted = trial.files[&send.release.version].2;
    let others = other_readings(flash);
    for reading in [flash].into_iter().chain(&others) {
        assert_eq!(trial.with(reading, &send.release.version), Some(wanted), "{}", text());
    }
    row.may_read_otherwise += usize::from(others.iter().any(|other| trial.alone(other).0 != runs));
    tally.start_unknown += usize::from(start_unknown);
}
