//! What came of a rehearsal, as it is kept, sent from machine to machine, and joined.

use super::keeping::{KeepingCase, KeepingCases};
use crate::told::ForPeople;
use miette::Result;
use packstaff_bench::open::Bench;
use packstaff_bench::rehearse::{self, Beginning, Case, Install, PartOf, Places, recorded_files};
use packstaff_bench::settings;
use packstaff_rehearsal::explore::{Exploration, Faults};
use packstaff_rehearsal::picture::StoryPicture;
use packstaff_rehearsal::power_up::Ending;
use packstaff_words::reasons::{Language, explain};
use packstaff_words::text::hex;
use serde::{Deserialize, Serialize};

/// The form of this record. It is raised when a field changes its meaning.
pub(super) const FORMAT: u32 = 2;

/// What came of a rehearsal, or of a part of one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// Form of this record.
    pub format: u32,
    /// The product's name.
    pub product: String,
    /// The board revisions that have cases.
    pub boards: Vec<String>,
    /// Names of the faults that were looked at.
    pub faults: Vec<String>,
    /// SHA-256 over everything that the cases depend on, in hexadecimal: parts can be joined only if it is the same.
    pub matrix: String,
    /// Which part this is, from 1, and of how many.
    pub part: [usize; 2],
    /// Every case of the matrix, in every part's record.
    pub cases_all: Vec<String>,
    /// The installs of this part.
    pub cases: Vec<CaseOutcome>,
    /// The settings of this part. Their numbers come after those of all installs.
    pub keeping: Vec<KeepingOutcome>,
    /// What is not rehearsed of settings, and why: in a sentence each.
    pub left_out: Vec<String>,
}

/// What came of one case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CaseOutcome {
    /// Its number in the matrix, from 0.
    pub index: usize,
    /// The board revision.
    pub board: String,
    /// The version that must run in the end.
    pub to: String,
    /// The versions to begin with; `new` is a new unit.
    pub from: Vec<String>,
    /// The sticks that may be in the unit.
    pub sticks: Vec<String>,
    /// Whether the unit has room for two images.
    pub two_places: bool,
    /// What was covered, and found.
    #[serde(flatten)]
    pub covered: Covered,
    /// Installs without a cut.
    pub installs: Vec<InstallOutcome>,
}

/// What an exploration covered, and found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Covered {
    /// Worlds with power off that were told apart.
    pub worlds: usize,
    /// Powered loaders about to change flash.
    pub powered: usize,
    /// Transitions.
    pub transitions: u64,
    /// Cuts among them.
    pub cuts: u64,
    /// Steps of the longest shortest way.
    pub levels: usize,
    /// Most changes of flash from any world until the image that is to run does, with a good stick.
    pub changes_max: usize,
    /// What was covered, by what the unit was doing.
    pub phases: Vec<PhaseCounts>,
    /// Claims that do not hold.
    pub broken: Vec<Broken>,
}

/// What came of one case of settings.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct KeepingOutcome {
    /// Its number in the matrix, from 0.
    pub index: usize,
    /// Its name.
    pub name: String,
    /// The board revisions.
    pub boards: Vec<String>,
    /// The settings memory, by the trade's name.
    pub memory_name: String,
    /// The versions that owners put on, in any order.
    pub versions: Vec<String>,
    /// Whether firmware keeps settings by its own code, so that the keeper stood in for it.
    pub own_code: bool,
    /// Places for records that were explored.
    pub places: u32,
    /// Places that a unit has.
    pub places_all: u32,
    /// Cuts one after another; `None` for any number.
    pub cuts_max: Option<u8>,
    /// Worlds with power off that were told apart.
    pub worlds: usize,
    /// Powered keepers about to change the memory, or at rest.
    pub powered: usize,
    /// Cuts.
    pub cuts: u64,
    /// Steps of the longest shortest way.
    pub levels: usize,
    /// Most writes from power-on to rest, without a cut.
    pub changes_max: usize,
    /// Claims that do not hold.
    pub broken: Vec<Broken>,
    /// Why it was not explored, if it was not.
    pub unexplored: Option<String>,
}

/// What was covered while the unit did one thing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PhaseCounts {
    /// What it did.
    pub doing: String,
    /// Places for a cut.
    pub powered: usize,
    /// Cuts.
    pub cuts: u64,
    /// Worlds that a cut was the first to lead to.
    pub worlds: usize,
}

/// A claim that does not hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Broken {
    /// The claim's short name.
    pub claim: String,
    /// What was seen.
    pub seen: String,
    /// Steps of the shortest way to it.
    pub steps: usize,
    /// The way, told.
    pub story: Vec<String>,
    /// The way, drawn: a page of HTML. Empty where only words tell it.
    pub page: String,
}

/// An install without a cut.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InstallOutcome {
    /// What the unit ran before; `None` for a new unit.
    pub from: Option<String>,
    /// Whether what was picked ran, and nothing else changed.
    pub holds: bool,
    /// What was seen.
    pub seen: String,
    /// Changes of flash.
    pub changes: usize,
    /// Typical duration, in seconds.
    pub typical_s: f64,
    /// Longest duration, in seconds.
    pub longest_s: f64,
}

impl Outcome {
    /// An outcome without cases yet.
    ///
    /// # Errors
    /// The ledger's files cannot be read.
    pub fn begin(bench: &Bench, all: &[Case], keeping: &KeepingCases, faults: &Faults, part: PartOf) -> Result<Self> {
        let settings = keeping.cases.iter().map(KeepingCase::name);
        let names: Vec<_> = all.iter().map(Case::name).chain(settings).collect();
        let faults: Vec<_> = faults.names().into_iter().map(str::to_owned).collect();
        let mut matrix = vec![env!("CARGO_PKG_VERSION").to_owned(), bench.product.name.clone()];
        for board in &bench.product.boards {
            let files = recorded_files(bench, board).told()?;
            let files = files.iter().map(|file| hex(&packstaff_envelope::sha256(&file.bytes)));
            matrix.push(format!("{} {}", board.revision, files.collect::<Vec<_>>().join(" ")));
            matrix.push(format!("{} {:?}", board.part, board.map));
        }
        for version in &bench.product.versions.list {
            let layout = settings::file(bench, version.text()).told()?;
            matrix.extend(layout.map(|content| format!("{version} {}", hex(&packstaff_envelope::sha256(&content)))));
        }
        matrix.extend(names.iter().cloned());
        matrix.extend(faults.iter().cloned());
        let has_cases = |board: &&packstaff_product::Board| all.iter().any(|case| case.board == board.revision);
        let boards = bench.product.boards.iter().filter(has_cases);
        Ok(Self {
            format: FORMAT,
            product: bench.product.name.clone(),
            boards: boards.map(|board| board.revision.clone()).collect(),
            faults,
            matrix: hex(&packstaff_envelope::sha256(matrix.join("\n").as_bytes())),
            part: [part.index, part.of],
            cases_all: names,
            cases: Vec::new(),
            keeping: Vec::new(),
            left_out: keeping.left_out.clone(),
        })
    }
}

impl KeepingOutcome {
    /// An outcome without an answer yet.
    pub(super) fn begin(case: &KeepingCase) -> Self {
        Self {
            name: case.name(),
            boards: case.boards.clone(),
            versions: case.versions.clone(),
            ..Self::default()
        }
    }
}

impl Covered {
    pub(super) fn of(found: &Exploration, broken: Vec<Broken>) -> Self {
        Self {
            worlds: found.worlds,
            powered: found.powered,
            transitions: found.transitions,
            cuts: found.cuts,
            levels: found.levels,
            changes_max: found.changes_max,
            phases: PhaseCounts::of(found),
            broken,
        }
    }
}

impl CaseOutcome {
    /// What is kept of a case; `index` is its number in the matrix.
    pub fn of(product: &str, index: usize, done: &rehearse::CaseOutcome) -> Self {
        let case = &done.case;
        let heading = format!("{product}: {}", case.name());
        let scenes = done.scene.iter().flat_map(|scene| {
            let worlds = done.found.violations.iter().zip(&scene.worlds);
            worlds.map(move |it| (scene, it))
        });
        let broken = scenes.map(|(scene, (violation, worlds))| {
            Broken::of(&StoryPicture {
                heading: &heading,
                claim: violation.claim,
                wording: violation.claim.wording(),
                seen: &violation.seen,
                story: &violation.story,
                worlds,
                areas: &scene.areas,
                images: &scene.images,
                target: scene.target,
            })
        });
        Self {
            index,
            board: case.board.clone(),
            to: case.to.clone(),
            from: case.from.iter().map(Beginning::to_string).collect(),
            sticks: done.sticks.clone(),
            two_places: done.places == Places::Two,
            covered: Covered::of(&done.found, broken.collect()),
            installs: done.installs.iter().map(InstallOutcome::of).collect(),
        }
    }

    /// In a few words that tell it from every other case.
    pub fn name(&self) -> String {
        format!("board {}, to {}, from {}", self.board, self.to, self.from.join(", "))
    }
}

impl InstallOutcome {
    /// What is kept of an install.
    pub fn of(install: &Install) -> Self {
        let total = install.estimate.total();
        Self {
            from: install.from.version().map(str::to_owned),
            holds: install.holds(),
            seen: seen(install),
            changes: install.changes,
            typical_s: total.typical_s,
            longest_s: total.longest_s,
        }
    }
}

/// How an install without a cut ended.
fn seen(install: &Install) -> String {
    let ending = match install.ending {
        Ending::Started { .. } if install.arrived => "what was picked runs".to_owned(),
        Ending::Started { .. } => "another image is started".to_owned(),
        Ending::Waiting(reason) => {
            let explained = explain(reason, Language::English);
            format!("the unit waits: {} ({})", explained.maker.cause.line, reason.code())
        }
        Ending::Endless => "the installer does not come to an end".to_owned(),
        Ending::Impossible(fault) => format!("the installer asks for the impossible: {fault}"),
    };
    let broken: Vec<_> = install.broken.iter().map(|claim| claim.statement()).collect();
    match broken.is_empty() {
        true => ending,
        false => format!("{ending}; does not hold: {}", broken.join(" ")),
    }
}
