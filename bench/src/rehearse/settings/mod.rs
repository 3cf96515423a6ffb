//! Settings in the rehearsal: which cases there are, and what the keeper is given in each.
//!
//! The layouts, the tables and the room are those of the product, as `settings generate` puts them into a unit; the memory is
//! that of the board. Where firmware keeps its settings by code of its own, the keeper stands in for it, in as many places as
//! that has copies, and the outcome says so.

mod cases;
mod place;

pub use cases::{LeftOut, SettingsCase, SettingsCases, SettingsFrom, settings_cases};
pub use place::{KeptBy, NotExplored, Obstacle, SettingsLost};

use super::error::RehearseError;
use super::limits::{Bound, Limits};
use crate::open::Bench;
use crate::progress::{Explored, Progress, Step};
use crate::settings::{described, put_together};
use packstaff_rehearsal::explore::{Faults, Progress as Seen};
use packstaff_rehearsal::settings::{Exploration, Ideal, Plan, Setup, Unexplored, Version, explore_setup, new_memory};
use packstaff_settings::carry::History;
use packstaff_settings::generate::{UnitTables, room_for, unit_tables};
use packstaff_settings::layout::Layout;
use packstaff_settings::sample::Sample;
use packstaff_unit::flash::SumKey;
use packstaff_unit::part::{Part, PartsTable};
use place::Place;

/// How often an owner changes settings between two power-ups.
const SAVES: u8 = 1;

/// How far an exploration goes: places for records, and cuts one after another. What does not come to an end within
/// [`NODES`] is tried with the next.
const REACHES: [(u32, Option<u8>); 4] = [(3, None), (2, None), (2, Some(2)), (2, Some(1))];

/// Nodes within which an exploration stays quick, so that every machine comes to the same bound. The last of [`REACHES`] may take as
/// many as fit into memory.
const NODES: usize = 60_000;

/// What came of one case of settings.
#[derive(Clone, Debug)]
pub struct SettingsOutcome {
    /// The case.
    pub case: SettingsCase,
    /// What came of it.
    pub end: SettingsEnd,
}

/// How the rehearsal of a case of settings ended.
#[derive(Clone, Debug)]
pub enum SettingsEnd {
    /// It was explored.
    Explored(SettingsExplored),
    /// It was not, because units lose settings in any case.
    Lost(SettingsLost),
    /// It cannot be.
    NotExplored(NotExplored),
}

/// What was explored, how far, and what was found.
#[derive(Clone, Debug)]
pub struct SettingsExplored {
    /// The settings memory, by the trade's name.
    pub memory: String,
    /// Whose code keeps settings.
    pub kept_by: KeptBy,
    /// Places for records that were explored.
    pub places: u32,
    /// Places that a unit has.
    pub places_all: u32,
    /// Cuts one after another; `None` for any number.
    pub cuts_max: Option<u8>,
    /// What was covered and found.
    pub found: Exploration,
}

impl SettingsOutcome {
    /// Whether every claim holds, as far as the case could be explored.
    pub fn holds(&self) -> bool {
        match &self.end {
            SettingsEnd::Explored(explored) => explored.found.violation.is_none(),
            SettingsEnd::Lost(_) => false,
            SettingsEnd::NotExplored(_) => true,
        }
    }
}

/// Rehearses a case of settings.
///
/// # Errors
/// A rule of a layout cannot be followed, or the exploration gave no answer.
pub fn rehearse_settings(
    bench: &Bench,
    case: &SettingsCase,
    limits: &Limits,
    progress: &dyn Progress,
) -> Result<SettingsOutcome, RehearseError> {
    let history = put_together(described(bench)?.layouts)?;
    let end = match SettingsUnderTest::of(&history, bench.parts_table(), case, &limits.faults)? {
        Ok(settings) => settings.explore(limits, progress)?,
        Err(Obstacle::Lost(lost)) => SettingsEnd::Lost(lost),
        Err(Obstacle::Outside(why)) => SettingsEnd::NotExplored(why),
    };
    Ok(SettingsOutcome {
        case: case.clone(),
        end,
    })
}

/// An exploration of settings; a test gives one with a mistake.
pub type Explorer<'a> = &'a dyn Fn(&Setup, &Plan, &dyn Fn(Seen)) -> Result<Exploration, Unexplored>;

/// A case of settings, ready for a rehearsal: what the keeper is given.
pub struct SettingsUnderTest<'p> {
    /// What is explored. The units to begin with and the bounds are put in by [`explore`](Self::explore).
    pub plan: Plan,
    case: SettingsCase,
    part: &'p Part,
    place: Place,
}

impl<'p> SettingsUnderTest<'p> {
    /// Gets a case ready.
    ///
    /// # Errors
    /// A table cannot be made, or the memory is not in the parts table. The inner error says why there is nothing to explore.
    pub fn of(
        history: &History,
        parts: &'p PartsTable,
        case: &SettingsCase,
        faults: &Faults,
    ) -> Result<Result<Self, Obstacle>, RehearseError> {
        let layouts: Vec<&Layout> = case
            .versions
            .iter()
            .filter_map(|version| history.layout(version))
            .collect();
        let part = parts.part(&case.memory)?;
        let mut versions = Vec::new();
        let mut aside_room = 0;
        let room = layouts.iter().map(|layout| room_for(layout)).max().unwrap_or(0);
        for layout in &layouts {
            let tables = unit_tables(history, &layout.version).map_err(|why| RehearseError::Tables {
                version: layout.version.clone(),
                why,
            })?;
            aside_room = aside_room.max(tables.aside_room(room));
            // Of later versions' settings there are others besides: those that were carried over.
            let samples: &[Sample] = if versions.is_empty() {
                &Sample::ALL
            } else {
                &[Sample::Farthest]
            };
            versions.push(version(layout, tables, samples)?);
        }
        let aside_room = u32::try_from(aside_room).map_err(|_| RehearseError::SettingsTooLong {
            what: "what is put aside".to_owned(),
            bytes: aside_room,
        })?;
        let place = match Place::of(&layouts, part, room, aside_room) {
            Ok(place) => place,
            Err(obstacle) => return Ok(Err(obstacle)),
        };
        let plan = Plan {
            from: Vec::new(),
            versions,
            keeps_aside: place.setup.aside.is_some(),
            saves_max: SAVES,
            faults: faults.clone(),
            cuts_max: None,
            powers_max: None,
            wears_out: false,
            nodes_max: 0,
            key: SumKey::fixed(),
        };
        Ok(Ok(Self {
            plan,
            case: case.clone(),
            part,
            place,
        }))
    }

    /// Goes as far as it can.
    ///
    /// # Errors
    /// There are more nodes than are allowed for, at any reach.
    pub fn explore(self, limits: &Limits, progress: &dyn Progress) -> Result<SettingsEnd, RehearseError> {
        self.explore_with(&explore_setup, limits, progress)
    }

    /// The same with another exploration.
    ///
    /// # Errors
    /// As [`explore`](Self::explore).
    pub fn explore_with(
        mut self,
        explorer: Explorer<'_>,
        limits: &Limits,
        progress: &dyn Progress,
    ) -> Result<SettingsEnd, RehearseError> {
        let what = Explored::Settings {
            memory: &self.part.name,
        };
        progress.at(&Step::Exploring { what, counts: None });
        let told = |seen: Seen| {
            let counts = Some(seen.into());
            progress.at(&Step::Exploring { what, counts });
        };
        let mut tried = (0, 0);
        for (setup, cuts_max, most) in self.reaches()? {
            let node_bytes = setup.node_bytes();
            self.plan.cuts_max = cuts_max;
            self.plan.nodes_max = match limits.bound {
                Bound::Nodes(nodes) => nodes,
                memory @ Bound::Memory(_) => memory.nodes(node_bytes).min(most),
            };
            self.begin(&setup)?;
            match explorer(&setup, &self.plan, &told) {
                Ok(found) => {
                    return Ok(SettingsEnd::Explored(SettingsExplored {
                        memory: self.part.name.clone(),
                        kept_by: self.place.kept_by,
                        places: setup.places().map_err(RehearseError::SettingsPlace)?,
                        places_all: self.place.places,
                        cuts_max,
                        found,
                    }));
                }
                Err(Unexplored::TooLarge(too_large)) => tried = (too_large.0, node_bytes),
                Err(other) => return Ok(SettingsEnd::NotExplored(other.into())),
            }
        }
        let (nodes, node_bytes) = tried;
        Err(RehearseError::TooLarge {
            case: self.case.name(),
            nodes,
            node_bytes,
        })
    }

    /// What is tried, one after the other: where settings are kept, cuts one after another, and the most nodes.
    fn reaches(&self) -> Result<Vec<(Setup, Option<u8>, usize)>, RehearseError> {
        let mut reaches = Vec::new();
        for (places, cuts_max) in REACHES {
            let setup = self
                .place
                .setup
                .with_places(places)
                .map_err(RehearseError::SettingsPlace)?;
            // Two regions with three places each go beyond any bound that is quick.
            if setup.aside.is_some() && places > 2 {
                continue;
            }
            let most = match REACHES.last() == Some(&(places, cuts_max)) {
                true => usize::MAX,
                false => NODES,
            };
            reaches.push((setup, cuts_max, most));
        }
        reaches.dedup_by_key(|(setup, cuts_max, _)| (*setup, *cuts_max));
        Ok(reaches)
    }

    /// The worlds to begin with: a new unit, or units that the keeper of a version has saved settings in.
    fn begin(&mut self, setup: &Setup) -> Result<(), RehearseError> {
        let new = new_memory(self.part, setup).ok_or_else(|| RehearseError::NotSimulated(self.part.name.clone()))?;
        let SettingsFrom::Saved(saved) = &self.case.from else {
            let nothing = Ideal {
                version: 0,
                value: None,
                aside: None,
            };
            self.plan.from = vec![("new".to_owned(), new, nothing)];
            return Ok(());
        };
        self.plan.from.clear();
        for (index, version) in self.plan.versions.iter().enumerate() {
            if !saved.contains(&version.name) {
                continue;
            }
            for payload in &version.payloads {
                let mut memory = new.clone();
                setup.hold(&mut memory, version, payload);
                let ideal = Ideal {
                    version: index,
                    value: Some(payload.clone()),
                    aside: None,
                };
                let name = format!("with settings of version {}", version.name);
                self.plan.from.push((name, memory, ideal));
            }
        }
        Ok(())
    }
}

/// A version, as the exploration has it.
fn version(layout: &Layout, tables: UnitTables, samples: &[Sample]) -> Result<Version, RehearseError> {
    let mut payloads: Vec<_> = samples.iter().map(|sample| sample.record(layout)).collect();
    payloads.dedup();
    let bytes = layout.record.size;
    Ok(Version {
        name: layout.version.clone(),
        layout: layout.number,
        len: u16::try_from(bytes).map_err(|_| RehearseError::SettingsTooLong {
            what: format!("what {} keeps", layout.version),
            bytes: bytes as usize,
        })?,
        tables: tables.tables.into_iter().map(|(_, table)| table).collect(),
        ways_back: tables.ways_back,
        payloads,
    })
}

#[cfg(test)]
mod tests;
