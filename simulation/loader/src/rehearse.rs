//! The rehearsal of a maker's own loader: one exploration for each version that an owner may want to arrive at.

use crate::description::{Beginning, Image, NamedStick, UnitKind, read};
use crate::error::RehearsalError;
use crate::fault_free::{FaultFreeEnd, power_up};
use crate::foreign::ForeignLoader;
use crate::report::{Judged, Report};
use crate::sandbox::Sandbox;
use crate::shown::areas;
use packstaff_installer::Region;
use packstaff_rehearsal::claims::ReleasedImage;
use packstaff_rehearsal::explore::{Exploration, Plan, Progress, StickOption, explore_watched, replay};
use packstaff_rehearsal::picture::KnownImage;
use packstaff_unit::drive::{Wish, digest};
use packstaff_unit::flash::{Change, Flash, SumKey};
use std::path::Path;

/// The exploration towards one version.
#[derive(Clone, Debug)]
pub struct Case {
    /// The stick that a patient owner has.
    pub stick: String,
    /// The image that must run in the end.
    pub image: String,
    /// What was covered and found.
    pub found: Exploration,
    /// For each claim that does not hold, flash after each step of its story.
    pub worlds: Vec<Vec<Flash>>,
}

/// Rehearses the loader that a folder's `unit.toml` describes.
///
/// # Errors
/// Why there is no answer: a loader that breaks a claim is an answer.
pub fn rehearse(folder: &Path) -> Result<Report, RehearsalError> {
    rehearse_kind(&read(folder)?)
}

/// Rehearses a loader in its kind of unit.
///
/// # Errors
/// As [`rehearse`].
pub fn rehearse_kind(kind: &UnitKind) -> Result<Report, RehearsalError> {
    rehearse_watched(kind, &|_, _| ())
}

/// The same, and tells `watch` again and again how far it has come, and towards which image.
///
/// # Errors
/// As [`rehearse`].
pub fn rehearse_watched(kind: &UnitKind, watch: &dyn Fn(&str, Progress)) -> Result<Report, RehearsalError> {
    let module = |fault| RehearsalError::Module {
        loader: kind.loader.clone(),
        fault: Box::new(fault),
    };
    let sandbox = Sandbox::new(&kind.module, kind.limits, kind.part).map_err(module)?;
    // The same key each time: the same loader has the same report, to the last figure.
    let key = SumKey::fixed();
    let loader = ForeignLoader::new(kind, sandbox, key);
    let from = beginnings(kind, &loader, key)?;
    let (fault_free, installed) = fault_free_ends(kind, &loader, &from)?;
    let areas = areas(kind, &installed);
    let releases: Vec<ReleasedImage> = kind.images.iter().map(|image| image.release).collect();
    let mut cases: Vec<Case> = Vec::new();
    let mut ahead = goals(kind).into_iter();
    for (good_stick, target) in ahead.by_ref() {
        let image = &kind.images[target].name;
        let plan = plan(kind, &from, &releases, (good_stick, releases[target]), key);
        let mut found = explore_watched(&loader, &plan, &|progress| watch(image, progress))?;
        for violation in &mut found.violations {
            violation.story = violation.story.clone().with_areas(areas.clone());
        }
        let worlds = found.violations.iter();
        let worlds = worlds.map(|violation| replay(&loader, &plan, &violation.story));
        let worlds = worlds.collect::<Result<_, _>>()?;
        let stop = kind.limits.stop_at_first && !found.holds();
        cases.push(Case {
            stick: kind.sticks[good_stick].name.clone(),
            image: image.clone(),
            found,
            worlds,
        });
        if stop {
            break;
        }
    }
    let not_begun: Vec<_> = ahead.map(|(_, image)| kind.images[image].name.clone()).collect();
    Ok(Report {
        to_the_end: not_begun.is_empty() && cases.iter().all(|case| case.found.to_the_end),
        cases,
        not_begun,
        judged: Judged::of(kind),
        faults: kind.faults.clone(),
        calls_max: fault_free.iter().map(|end| end.calls).max().unwrap_or(0),
        changes_max: fault_free.iter().map(|end| end.changes).max().unwrap_or(0),
        areas,
        images: kind
            .images
            .iter()
            .map(|image| KnownImage {
                name: image.name.clone(),
                bytes: image.bytes.clone(),
            })
            .collect(),
    })
}

/// Good sticks that an owner may want to arrive with, and their images. With a floor, a stick of a lower issue than another may
/// be barred, and need not lead anywhere.
fn goals(kind: &UnitKind) -> Vec<(usize, usize)> {
    let good = kind
        .sticks
        .iter()
        .enumerate()
        .filter_map(|(index, stick)| Some((index, stick.installs?)));
    let good: Vec<_> = good.filter(|(_, image)| *image < kind.images.len()).collect();
    let highest = good.iter().map(|(_, image)| kind.images[*image].issue).max();
    good.into_iter()
        .filter(|(_, image)| Some(kind.images[*image].issue) == highest)
        .collect()
}

fn plan<'a>(
    kind: &UnitKind,
    from: &[(String, Flash)],
    releases: &'a [ReleasedImage],
    (good_stick, target): (usize, ReleasedImage),
    key: SumKey,
) -> Plan<'a> {
    let sticks = kind.sticks.iter().map(|stick| StickOption {
        name: stick.name.clone(),
        stick: stick.stick.clone(),
        good: stick.installs.is_some(),
    });
    Plan {
        from: from.to_vec(),
        sticks: sticks.collect(),
        good_stick,
        // The loader asks its owner nothing, so that no file is ever picked.
        goal: [0; 32],
        target,
        releases,
        files: Vec::new(),
        faults: kind.faults.clone(),
        reduce: !kind.erased_before_read.is_empty(),
        stop_at_first: kind.limits.stop_at_first,
        nodes_max: kind.limits.nodes,
        key,
    }
}

/// The units to begin with, each made by what the description says.
fn beginnings(
    kind: &UnitKind,
    loader: &ForeignLoader<'_>,
    key: SumKey,
) -> Result<Vec<(String, Flash)>, RehearsalError> {
    let make = |beginning: &Beginning| {
        let mut flash = Flash::erased(kind.layout.clone(), key);
        for (address, bytes) in &beginning.contents {
            let put = Change::Program {
                address: *address,
                data: bytes.clone(),
            };
            flash.apply(&put).map_err(|why| RehearsalError::Contents {
                unit: beginning.name.clone(),
                why,
            })?;
        }
        fill(kind, &mut flash);
        let stick = beginning.after_stick.and_then(|index| kind.sticks.get(index));
        if let Some(stick) = stick {
            install(kind, loader, &mut flash, beginning, stick)?;
        }
        Ok((beginning.name.clone(), flash))
    };
    kind.beginnings.iter().map(make).collect()
}

/// What the loader must leave alone is not simulated; a pattern stands for it where the description gives no contents.
fn fill(kind: &UnitKind, flash: &mut Flash) {
    let may = |sector: &Region| kind.may_change.iter().any(|range| range.overlaps(*sector));
    for sector in kind.layout.sectors().iter().filter(|sector| !may(sector)) {
        if flash.is_blank(sector.base, sector.size) == Ok(true) {
            let pattern = (0..sector.size).map(|at| (at.wrapping_mul(0x9e37_79b9) >> 24) as u8);
            flash.hold(sector.base, &pattern.collect::<Vec<_>>(), None);
        }
    }
}

fn install(
    kind: &UnitKind,
    loader: &ForeignLoader<'_>,
    flash: &mut Flash,
    beginning: &Beginning,
    stick: &NamedStick,
) -> Result<(), RehearsalError> {
    let end = power_up(loader, flash, Some(&stick.stick)).map_err(|fault| RehearsalError::Loader {
        loader: kind.loader.clone(),
        unit: beginning.name.clone(),
        stick: stick.name.clone(),
        fault: Box::new(fault),
    })?;
    let wanted = stick.installs.and_then(|image| kind.images.get(image));
    if wanted.is_some_and(|image| runs(kind, flash, &end, image)) {
        return Ok(());
    }
    let ended = match end.wish {
        Wish::Start(address) if address == kind.slot.base => "started something else".to_owned(),
        _ => end.words(),
    };
    Err(RehearsalError::NotMade {
        unit: beginning.name.clone(),
        stick: stick.name.clone(),
        ended,
    })
}

/// Units with the images that they run.
type Installed = Vec<(String, Flash)>;

/// Every unit with every stick and without, with nothing going wrong: a loader that fails here is not fit for more. Also gives those
/// units that run an image then.
fn fault_free_ends(
    kind: &UnitKind,
    loader: &ForeignLoader<'_>,
    from: &[(String, Flash)],
) -> Result<(Vec<FaultFreeEnd>, Installed), RehearsalError> {
    let sticks = || std::iter::once(None).chain(kind.sticks.iter().map(Some));
    let pairs = from.iter().flat_map(|unit| sticks().map(move |stick| (unit, stick)));
    let mut ends = Vec::new();
    let mut installed = Installed::new();
    for ((unit, flash), stick) in pairs {
        let mut flash = flash.clone();
        let end = power_up(loader, &mut flash, stick.map(|stick| &stick.stick));
        let end = end.map_err(|fault| RehearsalError::Loader {
            loader: kind.loader.clone(),
            unit: unit.clone(),
            stick: stick.map_or("no stick".to_owned(), |stick| stick.name.clone()),
            fault: Box::new(fault),
        })?;
        let mut images = kind.images.iter();
        if let Some(image) = images.find(|image| runs(kind, &flash, &end, image)) {
            installed.push((image.name.clone(), flash));
        }
        ends.push(end);
    }
    Ok((ends, installed))
}

/// Whether a unit has come to run an image.
fn runs(kind: &UnitKind, flash: &Flash, end: &FaultFreeEnd, image: &Image) -> bool {
    let ReleasedImage {
        image_size,
        image_digest,
    } = image.release;
    end.wish == Wish::Start(kind.slot.base) && digest(flash, kind.slot.base, image_size) == Ok(image_digest)
}
