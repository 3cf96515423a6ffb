//! Where settings are kept in a case: by the keeper, or by firmware's own code, which the keeper stands in for.

use packstaff_keeper::{AsideConfig, ConfigFault, Memory, Region, Spots};
use packstaff_product::Range;
use packstaff_rehearsal::settings::{Setup, Unexplored, memory_of};
use packstaff_settings::layout::{Keeping, Layout};
use packstaff_unit::part::Part;
use thiserror::Error;

/// Where settings are kept.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// What the keeper works on.
    pub(super) setup: Setup,
    /// By whom.
    pub(super) kept_by: KeptBy,
    /// Places for records that a unit has.
    pub(super) places: u32,
}

/// Whose code keeps settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KeptBy {
    /// The keeper.
    Keeper,
    /// The firmware's own code. It is not rehearsed: the keeper stands in for it.
    OwnCode,
}

/// What makes units lose settings, or never keep any.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum SettingsLost {
    /// Versions look in different places.
    #[error("{first} and {other} keep settings, or what is put aside, in different places: neither finds the other's")]
    Apart {
        /// The first version that keeps settings.
        first: String,
        /// A version that keeps them elsewhere.
        other: String,
    },
    /// The memory is too small.
    #[error("settings are to be kept up to address {end:#x}, and {part} ends at {limit:#x}")]
    Beyond {
        /// The end of what is kept: the address behind its last byte.
        end: u64,
        /// The memory, by the trade's name.
        part: String,
        /// The end of the memory.
        limit: u64,
    },
    /// A keeper refuses to work there.
    #[error("{0}")]
    Config(ConfigFault),
}

/// Why settings cannot be rehearsed.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum NotExplored {
    /// The parts table does not say how the memory is written.
    #[error("{part} has no pages in the parts table: the keeper cannot work on it")]
    NoPages {
        /// The memory, by the trade's name.
        part: String,
    },
    /// Some versions have code of their own, others the keeper.
    #[error(
        "{own} keeps settings by its own code, and {keeper} with keeper: what becomes of them in between is the firmware's"
    )]
    OwnAndKeeper {
        /// A version with its own code.
        own: String,
        /// A version with the keeper.
        keeper: String,
    },
    /// More than the keeper can look after.
    #[error("the keeper works in one region, and the layouts name several")]
    SeveralRegions,
    /// The keeper cannot stand in for the firmware's own code.
    #[error("{part}: {fault}")]
    NoRoom {
        /// The memory, by the trade's name.
        part: String,
        /// Why.
        fault: ConfigFault,
    },
    /// The exploration cannot be begun.
    #[error(transparent)]
    Unexplored(#[from] Unexplored),
}

/// Why a case cannot be explored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Obstacle {
    /// It does not need to be: settings are lost.
    Lost(SettingsLost),
    /// It is outside of what can be rehearsed.
    Outside(NotExplored),
}

impl Place {
    /// Where versions of these layouts keep settings. `room` is the longest settings, `aside_room` what is put aside, in bytes.
    pub(super) fn of(layouts: &[&Layout], part: &Part, room: u32, aside_room: u32) -> Result<Self, Obstacle> {
        let memory = memory_of(part).ok_or_else(|| {
            Obstacle::Outside(NotExplored::NoPages {
                part: part.name.clone(),
            })
        })?;
        let by_keeper = layouts.iter().filter_map(|layout| match &layout.memory.keeping {
            Keeping::Keeper(regions) => Some((*layout, regions.as_slice())),
            Keeping::Copies(_) => None,
        });
        let by_keeper: Vec<(&Layout, &[Range])> = by_keeper.collect();
        let Some((first, regions)) = by_keeper.first() else {
            return Self::stand_in(layouts, part, memory, room);
        };
        let has_own_code = |layout: &&&Layout| matches!(layout.memory.keeping, Keeping::Copies(_));
        if let Some(own) = layouts.iter().find(has_own_code) {
            return Err(Obstacle::Outside(NotExplored::OwnAndKeeper {
                own: own.version.clone(),
                keeper: first.version.clone(),
            }));
        }
        let [region] = regions else {
            return Err(Obstacle::Outside(NotExplored::SeveralRegions));
        };
        let is_apart = |(layout, regions): &&(&Layout, &[Range])| {
            *regions != [*region] || layout.memory.aside != first.memory.aside
        };
        if let Some((other, _)) = by_keeper.iter().find(is_apart) {
            return Err(Obstacle::Lost(SettingsLost::Apart {
                first: first.version.clone(),
                other: other.version.clone(),
            }));
        }
        let aside = first.memory.aside;
        fits(part, [Some(*region), aside].into_iter().flatten()).map_err(Obstacle::Lost)?;
        let setup = Setup {
            memory,
            region: region_of(*region),
            room,
            aside: aside.map(|aside| AsideConfig {
                region: region_of(aside),
                room: aside_room,
            }),
        };
        let places = setup.places();
        Ok(Self {
            setup,
            kept_by: KeptBy::Keeper,
            places: places.map_err(|fault| Obstacle::Lost(SettingsLost::Config(fault)))?,
        })
    }

    /// The keeper in the place of firmware's own code: from the beginning of the memory, with as many places as there are copies.
    fn stand_in(layouts: &[&Layout], part: &Part, memory: Memory, room: u32) -> Result<Self, Obstacle> {
        let copies = layouts.iter().map(|layout| match &layout.memory.keeping {
            Keeping::Copies(starts) => starts.len(),
            Keeping::Keeper(_) => 0,
        });
        let copies = u32::try_from(copies.max().unwrap_or(0).max(2)).unwrap_or(2);
        let whole = Region {
            base: part.base,
            size: part.size_bytes,
        };
        let no_room = |fault| {
            Obstacle::Outside(NotExplored::NoRoom {
                part: part.name.clone(),
                fault,
            })
        };
        let spots = Spots::new(memory, whole, room).map_err(no_room)?;
        let setup = Setup {
            memory,
            region: whole,
            room,
            aside: None,
        };
        let places = copies.min(spots.count);
        Ok(Self {
            setup: setup.with_places(places).map_err(no_room)?,
            kept_by: KeptBy::OwnCode,
            places,
        })
    }
}

/// Whether ranges lie within a memory.
fn fits(part: &Part, mut ranges: impl Iterator<Item = Range>) -> Result<(), SettingsLost> {
    let limit = u64::from(part.base) + u64::from(part.size_bytes);
    match ranges.find(|range| range.end() > limit) {
        None => Ok(()),
        Some(beyond) => Err(SettingsLost::Beyond {
            end: beyond.end(),
            part: part.name.clone(),
            limit,
        }),
    }
}

fn region_of(range: Range) -> Region {
    Region {
        base: range.start(),
        size: range.size(),
    }
}
