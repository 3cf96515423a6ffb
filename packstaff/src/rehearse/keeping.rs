//! Settings in the rehearsal: which cases there are, and what the keeper is given in each.
//!
//! The layouts, the tables and the room are those of the product, as `settings generate` puts them into a unit; the memory is
//! that of the board. Where firmware keeps its settings by code of its own, the keeper stands in for it, in as many places as
//! that has copies, and the report says so.

use super::outcome::{Broken, KeepingOutcome};
use crate::progress::Progress;
use crate::told::{self, ForPeople};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::Bench;
use packstaff_bench::rehearse::{Beginning, Bound, Case, Limits, RehearseError};
use packstaff_bench::settings::{Described, described, put_together};
use packstaff_bench::{Explored as Exploring, Progress as _, Step};
use packstaff_keeper::{AsideConfig, Memory, Region, Spots};
use packstaff_product::Range;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::Progress as Seen;
use packstaff_rehearsal::settings::{
    Exploration, Ideal, Plan, Setup, Unexplored, Version, explore_setup, memory_of, new_memory,
};
use packstaff_settings::carry::History;
use packstaff_settings::generate::{room_for, unit_tables};
use packstaff_settings::layout::{Keeping, Layout};
use packstaff_settings::sample::Sample;
use packstaff_unit::flash::SumKey;
use packstaff_unit::part::{Part, PartsTable};
use std::collections::BTreeSet;

/// How often an owner changes settings between two power-ups.
const SAVES: u8 = 1;

/// How far an exploration goes: places for records, and cuts one after another. What does not come to an end within
/// [`NODES`] is tried with the next.
const REACHES: [(u32, Option<u8>); 4] = [(3, None), (2, None), (2, Some(2)), (2, Some(1))];

/// Nodes within which an exploration stays quick, so that every machine comes to the same bound. The last of [`REACHES`] may take as
/// many as fit into memory.
const NODES: usize = 60_000;

/// One exploration of settings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeepingCase {
    /// The board revisions that have this settings memory and these versions.
    pub boards: Vec<String>,
    /// The settings memory, by its name in the parts table.
    pub memory: String,
    /// The versions that owners put on, in any order, the oldest first.
    pub versions: Vec<String>,
    /// The versions whose settings a unit begins with; empty for a new unit, which comes to all of these.
    pub from: Vec<String>,
}

/// The cases, and in a sentence each what is not rehearsed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct KeepingCases {
    /// The cases.
    pub cases: Vec<KeepingCase>,
    /// What is not rehearsed, and why.
    pub left_out: Vec<String>,
}

impl KeepingCase {
    /// In a few words that tell it from every other case.
    pub fn name(&self) -> String {
        let boards = self.boards.join(" and ");
        let from = match self.from.is_empty() {
            true => "new".to_owned(),
            false => self.from.join(", "),
        };
        let versions = self.versions.join(", ");
        format!(
            "settings in {}, board {boards}, versions {versions}, from {from}",
            self.memory
        )
    }
}

/// The cases of settings that belong to these installs: for each settings memory, all versions that owners go from or to.
///
/// # Errors
/// A layout file cannot be read or is wrong.
pub fn keeping_cases(bench: &Bench, installs: &[Case]) -> Result<KeepingCases> {
    let mut found = KeepingCases::default();
    let all: Vec<_> = bench.product.versions.list.iter().collect();
    let Described { layouts, .. } = described(bench).told()?;
    let mut without = BTreeSet::new();
    for board in &bench.product.boards {
        let own = || installs.iter().filter(|case| case.board == board.revision);
        let ends: BTreeSet<&str> = own()
            .flat_map(|case| {
                case.from
                    .iter()
                    .filter_map(Beginning::version)
                    .chain([case.to.as_str()])
            })
            .collect();
        let listed = all.iter().map(|version| version.text());
        let (known, unknown): (Vec<&str>, Vec<&str>) = listed
            .filter(|version| ends.contains(version))
            .partition(|version| layouts.iter().any(|layout| layout.version == *version));
        without.extend(unknown.into_iter().map(str::to_owned));
        if known.is_empty() {
            continue;
        }
        let new = own().any(|case| case.from.contains(&Beginning::New));
        let begins = |version: &&str| own().any(|case| case.from.iter().any(|from| from.version() == Some(*version)));
        let case = KeepingCase {
            boards: vec![board.revision.clone()],
            memory: board.settings_memory.clone(),
            from: match new {
                true => Vec::new(),
                false => known.iter().copied().filter(begins).map(str::to_owned).collect(),
            },
            versions: known.into_iter().map(str::to_owned).collect(),
        };
        let alike = |other: &&mut KeepingCase| {
            (&other.memory, &other.versions, &other.from) == (&case.memory, &case.versions, &case.from)
        };
        match found.cases.iter_mut().find(alike) {
            Some(other) => other.boards.extend(case.boards),
            None => found.cases.push(case),
        }
    }
    if layouts.is_empty() {
        let told = "Settings are not rehearsed: the product folder has no settings/VERSION.toml.";
        found.left_out.push(told.to_owned());
    } else if !without.is_empty() {
        let without: Vec<_> = without.into_iter().collect();
        found.left_out.push(format!(
            "Not rehearsed are the settings of {}: there is no settings/VERSION.toml.",
            without.join(", ")
        ));
    }
    Ok(found)
}

/// What the keeper is given in a case.
pub(super) struct Kept<'p> {
    setup: Setup,
    pub(super) plan: Plan,
    part: &'p Part,
    /// The firmware keeps settings by its own code, and the keeper stands in for it.
    own_code: bool,
    /// Places for records that a unit has.
    places: u32,
}

/// Explores; a test gives one with a mistake.
type Explored<'a> = &'a dyn Fn(&Setup, &Plan, &dyn Fn(Seen)) -> Result<Exploration, Unexplored>;

/// Why a case cannot be explored.
pub(super) enum Obstacle {
    /// Units would lose settings, or never keep any.
    Broken(String),
    /// It is outside of what can be rehearsed.
    Outside(String),
}

/// Explores a case. Its number is left to the caller.
///
/// # Errors
/// A rule of a layout cannot be followed, or the exploration gave no answer.
pub fn explore_keeping(
    bench: &Bench,
    case: &KeepingCase,
    limits: &Limits,
    progress: &Progress,
) -> Result<KeepingOutcome> {
    let history = put_together(described(bench).told()?.layouts).told()?;
    match Kept::of(&history, bench.parts_table(), case, limits)? {
        Ok(kept) => kept.explore(case, limits, &explore_setup, progress),
        Err(Obstacle::Outside(why)) => Ok(KeepingOutcome {
            unexplored: Some(why),
            ..KeepingOutcome::begin(case)
        }),
        Err(Obstacle::Broken(seen)) => Ok(KeepingOutcome {
            broken: vec![Broken {
                claim: Claim::SettingsKept.id().to_owned(),
                steps: 0,
                story: Vec::new(),
                page: String::new(),
                seen,
            }],
            ..KeepingOutcome::begin(case)
        }),
    }
}

impl<'p> Kept<'p> {
    pub(super) fn of(
        history: &History,
        parts: &'p PartsTable,
        case: &KeepingCase,
        limits: &Limits,
    ) -> Result<Result<Self, Obstacle>> {
        let layouts: Vec<&Layout> = case
            .versions
            .iter()
            .filter_map(|version| history.layout(version))
            .collect();
        let part = parts.part(&case.memory).into_diagnostic()?;
        let mut versions = Vec::new();
        let mut aside_room = 0;
        let room = layouts.iter().map(|layout| room_for(layout)).max().unwrap_or(0);
        for layout in &layouts {
            let tables = unit_tables(history, &layout.version)
                .into_diagnostic()
                .wrap_err_with(|| format!("the tables of {}", layout.version))?;
            aside_room = aside_room.max(tables.aside_room(room));
            // Of later versions' settings there are others besides: those that were carried over.
            let samples: &[Sample] = if versions.is_empty() {
                &Sample::ALL
            } else {
                &[Sample::Farthest]
            };
            let mut payloads: Vec<_> = samples.iter().map(|sample| sample.record(layout)).collect();
            payloads.dedup();
            versions.push(Version {
                name: layout.version.clone(),
                layout: layout.number,
                len: u16::try_from(layout.record.size).into_diagnostic()?,
                tables: tables.tables.into_iter().map(|(_, table)| table).collect(),
                ways_back: tables.ways_back,
                payloads,
            });
        }
        let placed = match placed(&layouts, part, room, u32::try_from(aside_room).into_diagnostic()?) {
            Ok(placed) => placed,
            Err(obstacle) => return Ok(Err(obstacle)),
        };
        let Placed {
            setup,
            own_code,
            places,
        } = placed;
        let plan = Plan {
            from: Vec::new(),
            versions,
            keeps_aside: setup.aside.is_some(),
            saves_max: SAVES,
            faults: limits.faults.clone(),
            cuts_max: None,
            powers_max: None,
            wears_out: false,
            nodes_max: 0,
            key: SumKey::fixed(),
        };
        Ok(Ok(Self {
            setup,
            plan,
            part,
            own_code,
            places,
        }))
    }

    /// Goes as far as it can.
    pub(super) fn explore(
        mut self,
        case: &KeepingCase,
        limits: &Limits,
        explored: Explored<'_>,
        progress: &Progress,
    ) -> Result<KeepingOutcome> {
        let what = Exploring::Settings {
            memory: &self.part.name,
        };
        progress.at(&Step::Exploring { what, counts: None });
        let mut tried = None;
        let mut before = None;
        for (places, cuts_max) in REACHES {
            let setup = self.setup.with_places(places).into_diagnostic()?;
            // Two regions with three places each go beyond any bound that is quick.
            if setup.aside.is_some() && places > 2 {
                continue;
            }
            if before.replace((setup, cuts_max)) == Some((setup, cuts_max)) {
                continue;
            }
            let bytes = setup.node_bytes();
            self.plan.cuts_max = cuts_max;
            let most = if REACHES.last() == Some(&(places, cuts_max)) {
                usize::MAX
            } else {
                NODES
            };
            self.plan.nodes_max = match limits.bound {
                Bound::Nodes(nodes) => nodes,
                memory => memory.nodes(bytes).min(most),
            };
            self.begin(case, &setup)?;
            match explored(&setup, &self.plan, &|seen: Seen| {
                let counts = Some(seen.into());
                progress.at(&Step::Exploring { what, counts });
            }) {
                Ok(found) => return Ok(self.outcome(case, &setup, &found)),
                Err(Unexplored::TooLarge(too_large)) => tried = Some((too_large.0, bytes)),
                Err(other) => {
                    return Ok(KeepingOutcome {
                        unexplored: Some(other.to_string()),
                        ..KeepingOutcome::begin(case)
                    });
                }
            }
        }
        let (nodes, bytes) = tried.unwrap_or((0, 0));
        Err(told::report(RehearseError::TooLarge {
            case: case.name(),
            nodes,
            node_bytes: bytes,
        }))
    }

    /// The worlds to begin with: a new unit, or units that the keeper of a version has saved settings in.
    fn begin(&mut self, case: &KeepingCase, setup: &Setup) -> Result<()> {
        let new = new_memory(self.part, setup)
            .ok_or_else(|| miette::miette!("{} cannot be simulated as a settings memory", self.part.name))?;
        let nothing = Ideal {
            version: 0,
            value: None,
            aside: None,
        };
        self.plan.from = vec![("new".to_owned(), new.clone(), nothing)];
        if case.from.is_empty() {
            return Ok(());
        }
        self.plan.from.clear();
        for (index, version) in self.plan.versions.iter().enumerate() {
            if !case.from.contains(&version.name) {
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

    fn outcome(&self, case: &KeepingCase, setup: &Setup, found: &Exploration) -> KeepingOutcome {
        let broken = found.violation.iter().map(|violation| Broken {
            claim: violation.claim.id().to_owned(),
            seen: violation.seen.clone(),
            steps: violation.story.len(),
            story: (1..)
                .zip(violation.story.sentences())
                .map(|(number, sentence)| format!("{number}. {sentence}"))
                .collect(),
            page: String::new(),
        });
        KeepingOutcome {
            memory_name: self.part.name.clone(),
            own_code: self.own_code,
            places: setup.places().unwrap_or(0),
            places_all: self.places,
            cuts_max: self.plan.cuts_max,
            worlds: found.worlds,
            powered: found.powered,
            cuts: found.cuts,
            levels: found.levels,
            changes_max: found.changes_max,
            broken: broken.collect(),
            ..KeepingOutcome::begin(case)
        }
    }
}

/// Where settings are kept.
struct Placed {
    setup: Setup,
    own_code: bool,
    places: u32,
}

fn placed(layouts: &[&Layout], part: &Part, room: u32, aside_room: u32) -> Result<Placed, Obstacle> {
    let outside = |why: String| Obstacle::Outside(why);
    let memory = memory_of(part).ok_or_else(|| {
        outside(format!(
            "{} has no pages in the parts table: the keeper cannot work on it",
            part.name
        ))
    })?;
    let by_keeper = layouts.iter().filter_map(|layout| match &layout.memory.keeping {
        Keeping::Keeper(regions) => Some((*layout, regions)),
        Keeping::Copies(_) => None,
    });
    let by_keeper: Vec<(&Layout, &Vec<Range>)> = by_keeper.collect();
    let Some((first, regions)) = by_keeper.first() else {
        return stand_in(layouts, part, memory, room);
    };
    if let Some(own) = layouts
        .iter()
        .find(|layout| matches!(layout.memory.keeping, Keeping::Copies(_)))
    {
        return Err(outside(format!(
            "{} keeps settings by its own code, and {} with keeper: what becomes of them in between is the firmware's",
            own.version, first.version
        )));
    }
    let [region] = regions.as_slice() else {
        return Err(outside(
            "the keeper works in one region, and the layouts name several".to_owned(),
        ));
    };
    for (other, regions) in &by_keeper {
        if regions.as_slice() != [*region] || other.memory.aside != first.memory.aside {
            return Err(Obstacle::Broken(format!(
                "{} and {} keep settings, or what is put aside, in different places: neither finds the other's",
                first.version, other.version
            )));
        }
    }
    let setup = Setup {
        memory,
        region: region_of(*region),
        room,
        aside: first.memory.aside.map(|aside| AsideConfig {
            region: region_of(aside),
            room: aside_room,
        }),
    };
    let ends = [Some(*region), first.memory.aside].into_iter().flatten();
    let limit = u64::from(part.base) + u64::from(part.size_bytes);
    if let Some(beyond) = ends.into_iter().find(|range| range.end() > limit) {
        return Err(Obstacle::Broken(format!(
            "settings are to be kept up to address {:#x}, and {} ends at {limit:#x}",
            beyond.end(),
            part.name
        )));
    }
    let places = setup.places().map_err(|fault| Obstacle::Broken(fault.to_string()))?;
    Ok(Placed {
        setup,
        own_code: false,
        places,
    })
}

/// The keeper in the place of firmware's own code: from the beginning of the memory, with as many places as there are copies.
fn stand_in(layouts: &[&Layout], part: &Part, memory: Memory, room: u32) -> Result<Placed, Obstacle> {
    let copies = layouts.iter().map(|layout| match &layout.memory.keeping {
        Keeping::Copies(starts) => starts.len(),
        Keeping::Keeper(_) => 0,
    });
    let copies = u32::try_from(copies.max().unwrap_or(0).max(2)).unwrap_or(2);
    let whole = Region {
        base: part.base,
        size: part.size_bytes,
    };
    let outside = |fault: packstaff_keeper::ConfigFault| Obstacle::Outside(format!("{}: {fault}", part.name));
    let spots = Spots::new(memory, whole, room).map_err(outside)?;
    let setup = Setup {
        memory,
        region: whole,
        room,
        aside: None,
    };
    let places = copies.min(spots.count);
    Ok(Placed {
        setup: setup.with_places(places).map_err(outside)?,
        own_code: true,
        places,
    })
}

fn region_of(range: Range) -> Region {
    Region {
        base: range.start(),
        size: range.size(),
    }
}
