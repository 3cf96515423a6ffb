//! What came of a rehearsal, with its stories told: as it is kept, sent from machine to machine, and joined.

use super::told::{self, left_out_sentences, seen};
use crate::text::hex;
use packstaff_bench::rehearse::{
    Beginning, Install, KeptBy, Places, Rehearsal, SettingsEnd, SettingsExplored, SettingsOutcome,
};
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::Exploration;
use packstaff_rehearsal::picture::phase_words;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// The form of this record. It is raised when a field changes its meaning.
pub(super) const FORMAT: u32 = 2;

/// What came of a rehearsal, or of a part of one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record {
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
    pub cases: Vec<CaseRecord>,
    /// The settings of this part. Their numbers come after those of all installs.
    pub keeping: Vec<SettingsRecord>,
    /// What is not rehearsed of settings, and why: in a sentence each.
    pub left_out: Vec<String>,
}

/// What came of one case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CaseRecord {
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
    pub installs: Vec<InstallRecord>,
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
    pub broken: Vec<BrokenClaim>,
}

/// What came of one case of settings.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SettingsRecord {
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
    pub broken: Vec<BrokenClaim>,
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
pub struct BrokenClaim {
    /// The claim, by its short name.
    #[serde(with = "by_id")]
    pub claim: Claim,
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
pub struct InstallRecord {
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

impl Record {
    /// What is kept of a rehearsal, or of a part of one.
    pub fn of(rehearsal: &Rehearsal) -> Self {
        let matrix = &rehearsal.matrix;
        let faults = rehearsal.faults.names().into_iter();
        let cases = rehearsal.installs.iter();
        let settings = rehearsal.settings.iter();
        Self {
            format: FORMAT,
            product: rehearsal.product.clone(),
            boards: rehearsal.boards.clone(),
            faults: faults.map(str::to_owned).collect(),
            matrix: hex(&matrix.digest),
            part: [rehearsal.part.index, rehearsal.part.of],
            cases_all: matrix.names(),
            cases: cases
                .map(|(index, outcome)| CaseRecord::of(&rehearsal.product, *index, outcome))
                .collect(),
            keeping: settings
                .map(|(index, outcome)| SettingsRecord::of(*index, outcome))
                .collect(),
            left_out: left_out_sentences(matrix.settings.left_out.as_ref()),
        }
    }
}

impl CaseRecord {
    /// What is kept of a case; `index` is its number in the matrix.
    pub fn of(product: &str, index: usize, outcome: &packstaff_bench::rehearse::CaseOutcome) -> Self {
        let case = &outcome.case;
        let broken = outcome.scene.iter().flat_map(|scene| {
            told::Scene {
                heading: format!("{product}: {}", case.name()),
                wording: Claim::wording,
                areas: &scene.areas,
                images: &scene.images,
                target: scene.target,
            }
            .broken(&outcome.found, &scene.worlds)
        });
        Self {
            index,
            board: case.board.clone(),
            to: case.to.clone(),
            from: case.from.iter().map(Beginning::to_string).collect(),
            sticks: outcome.sticks.clone(),
            two_places: outcome.places == Places::Two,
            covered: Covered::of(&outcome.found, broken.collect()),
            installs: outcome.installs.iter().map(InstallRecord::of).collect(),
        }
    }

    /// In a few words that tell it from every other case.
    pub fn name(&self) -> String {
        format!("board {}, to {}, from {}", self.board, self.to, self.from.join(", "))
    }
}

impl Covered {
    pub(super) fn of(found: &Exploration, broken: Vec<BrokenClaim>) -> Self {
        let phases = found.phases.iter().map(|(phase, coverage)| PhaseCounts {
            doing: phase_words(*phase).to_owned(),
            powered: coverage.powered,
            cuts: coverage.cuts,
            worlds: coverage.worlds,
        });
        Self {
            worlds: found.worlds,
            powered: found.powered,
            transitions: found.transitions,
            cuts: found.cuts,
            levels: found.levels,
            changes_max: found.changes_max,
            phases: phases.collect(),
            broken,
        }
    }
}

impl SettingsRecord {
    /// What is kept of a case of settings; `index` is its number in the matrix.
    pub fn of(index: usize, outcome: &SettingsOutcome) -> Self {
        let case = &outcome.case;
        let begun = Self {
            index,
            name: case.name(),
            boards: case.boards.clone(),
            versions: case.versions.clone(),
            ..Self::default()
        };
        match &outcome.end {
            SettingsEnd::Explored(explored) => begun.explored(explored),
            SettingsEnd::Lost(lost) => Self {
                broken: vec![BrokenClaim {
                    claim: Claim::SettingsKept,
                    seen: lost.to_string(),
                    steps: 0,
                    story: Vec::new(),
                    page: String::new(),
                }],
                ..begun
            },
            SettingsEnd::NotExplored(why) => Self {
                unexplored: Some(why.to_string()),
                ..begun
            },
        }
    }

    fn explored(self, explored: &SettingsExplored) -> Self {
        let found = &explored.found;
        let broken = found.violation.iter().map(|violation| BrokenClaim {
            claim: violation.claim,
            seen: violation.seen.clone(),
            steps: violation.story.len(),
            story: (1..)
                .zip(violation.story.sentences())
                .map(|(number, sentence)| format!("{number}. {sentence}"))
                .collect(),
            page: String::new(),
        });
        Self {
            memory_name: explored.memory.clone(),
            own_code: explored.kept_by == KeptBy::OwnCode,
            places: explored.places,
            places_all: explored.places_all,
            cuts_max: explored.cuts_max,
            worlds: found.worlds,
            powered: found.powered,
            cuts: found.cuts,
            levels: found.levels,
            changes_max: found.changes_max,
            broken: broken.collect(),
            ..self
        }
    }
}

impl InstallRecord {
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

/// Claims by their short names, which do not change.
pub(super) mod by_id {
    use super::{Claim, Deserialize, Deserializer, Serializer};
    use serde::de::Error as _;

    pub(in crate::rehearse) fn serialize<S: Serializer>(claim: &Claim, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(claim.id())
    }

    pub(in crate::rehearse) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Claim, D::Error> {
        let id = String::deserialize(deserializer)?;
        Claim::named(&id).ok_or_else(|| D::Error::custom(format!("there is no claim `{id}`")))
    }
}
