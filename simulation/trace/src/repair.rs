//! Which stick repairs the unit: each is tried on the unit as it was read, by the installer itself.

use crate::hypothesis::{Hypothesis, Work};
use crate::known::{KindOfUnit, Release, ReleaseId};
use crate::start::{Next, Outcome, Worlds, run};
use packstaff_installer::Reason;
use packstaff_rehearsal::power_up::Owner;
use packstaff_rehearsal::sticks::insert;
use packstaff_stick::{Calendar, StickError, StickSpec};

/// A stick with one release, ready to be tried.
pub(crate) struct Stick {
    release: usize,
    stick: packstaff_unit::stick::Stick,
}

/// A release that was tried.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fix {
    /// Which.
    pub release: ReleaseId,
    /// Its update file.
    pub file: String,
    /// It is the one that was being installed, or that is installed.
    pub intended: bool,
    /// Generations of keys whose units end up running it.
    pub works_for: Vec<String>,
    /// Those whose units do not, and what they show.
    pub fails_for: Vec<Refused>,
}

/// A unit that does not take a release.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    /// The generation.
    pub generation: String,
    /// What is shown on the way, and with what it waits.
    pub shows: Vec<Reason>,
}

/// What to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Repair {
    /// Whether the unit needs a stick to have a version again: `None` if that depends on what was not read.
    pub needed: Option<bool>,
    /// What was tried, the one to send first. It is the one to send as well if the unit waits against expectation.
    pub tried: Vec<Fix>,
}

impl Repair {
    /// The release to send: one that works for every generation that the unit may be of, or else for some.
    pub fn send(&self) -> Option<&Fix> {
        self.tried.first().filter(|fix| !fix.works_for.is_empty())
    }
}

/// Makes a stick for each release that owners may go to.
///
/// # Errors
/// A file's name cannot stand on a stick.
pub(crate) fn sticks(kind: &KindOfUnit) -> Result<Vec<Stick>, StickError> {
    let stamp = Calendar {
        year: 2000,
        month: 1,
        day: 1,
        hour: 12,
        minute: 0,
        second: 0,
    };
    let offered = kind.releases.iter().enumerate().filter(|(_, release)| release.offered);
    let made = offered.map(|(index, release)| {
        let spec = StickSpec::usual(1, stamp).with_file(release.file_name.as_str(), release.file.as_slice());
        Ok(Stick {
            release: index,
            stick: insert(packstaff_stick::build(&spec)?),
        })
    });
    made.collect()
}

/// Tries every stick in every world that the unit may be in.
pub(crate) fn repair(
    kind: &KindOfUnit,
    worlds: &Worlds,
    sticks: &[Stick],
    next: Option<&Next>,
    hypotheses: &[Hypothesis],
) -> Repair {
    let starts = |outcome: &Outcome| matches!(outcome, Outcome::Starts { .. });
    let needed = next.and_then(|next| match (starts(&next.at_best), starts(&next.at_worst)) {
        (true, true) => Some(false),
        (false, false) => Some(true),
        _ => None,
    });
    let mut tried: Vec<(Fix, &Release)> = sticks
        .iter()
        .filter_map(|stick| Some((stick, kind.releases.get(stick.release)?)))
        .map(|(stick, release)| (one(kind, worlds, stick, release, hypotheses), release))
        .collect();
    tried.sort_by_key(|(fix, release)| {
        let everywhere = fix.fails_for.is_empty();
        std::cmp::Reverse((
            everywhere,
            !fix.works_for.is_empty(),
            fix.intended,
            release.issue,
            release.numbers,
        ))
    });
    Repair {
        needed,
        tried: tried.into_iter().map(|(fix, _)| fix).collect(),
    }
}

fn one(kind: &KindOfUnit, worlds: &Worlds, stick: &Stick, release: &Release, hypotheses: &[Hypothesis]) -> Fix {
    let mut fix = Fix {
        release: release.id(),
        file: release.file_name.clone(),
        intended: intended(hypotheses, &release.version),
        works_for: Vec::new(),
        fails_for: Vec::new(),
    };
    for (generation, blueprint) in &kind.generations {
        let ran: Vec<_> = worlds
            .all()
            .map(|world| {
                run(
                    kind,
                    blueprint,
                    world,
                    Some(&stick.stick),
                    Owner::Picks(release.manifest),
                )
            })
            .collect();
        let arrives = |outcome: &Outcome| match outcome {
            Outcome::Starts {
                release: Some(started), ..
            } => started.version == release.version,
            _ => false,
        };
        match ran.iter().find(|ran| !arrives(&ran.outcome)) {
            None => fix.works_for.push(generation.clone()),
            Some(ran) => fix.fails_for.push(Refused {
                generation: generation.clone(),
                shows: ran.reasons.clone(),
            }),
        }
    }
    fix
}

/// Whether a version is the only one that the likeliest hypothesis speaks of, and an install was under way or is done.
fn intended(hypotheses: &[Hypothesis], version: &str) -> bool {
    hypotheses.first().is_some_and(|hypothesis| {
        let only = hypothesis.installing.iter().all(|id| id.version == version) && !hypothesis.installing.is_empty();
        only && hypothesis.work != Work::Damaged
    })
}
