//! The exploration: every world that an install can pass through, under every fault, each visited once.
//!
//! A node is a world with power off, or a powered loader that is about to change flash. From a powered node the change is
//! carried out, or cut before, inside and after; from a world with power off, power comes on, with any stick in place. Cuts may
//! follow one another without bound, because the search is over states and not over schedules.
//!
//! # Liveness
//!
//! From each world with power off a patient owner's unit, with a good stick and no further cut, must come to the goal
//! (`power_on`: the path begins; `arrival`: where it leads, a change of flash costing 1). The longest of these paths is
//! [`Exploration::changes_max`], the bound on changes that a report gives.
//!
//! # What keeps it small
//!
//! * Stretches that change nothing (mounting, the dry pass, a digest) are one transition, and those that only read the stick
//!   are remembered by the loader's state and the stick.
//! * Contents that are certain to be erased before anything reads them do not keep worlds apart ([`Flash::mark_dont_care`](packstaff_unit::flash::Flash::mark_dont_care)). That this
//!   is so is not assumed: reading such contents ends the exploration with [`Unfinished::Unsound`].
//! * Remnants of records that do not read as whole are as good as one another ([`Flash::stand_in`](packstaff_unit::flash::Flash::stand_in)). That this is so is not
//!   assumed either: the loader is run on both, and where it comes to different states the worlds are kept apart.
//! * Worlds are told apart by keyed 128-bit sums ([`SumKey`](packstaff_unit::flash::SumKey)), kept up to date at the cost of one hash a granule. The chance
//!   that any two of n different nodes collide is about n^2 / 2^129.
//!
//! [`Plan::reduce`] switches the second off; both give the same verdict, and stories of the same length.

mod account;
mod arrival;
mod change;
mod faults;
mod judge;
mod loader;
mod model;
mod plan;
mod power_on;
mod replay;
mod run;
mod story;
mod world;
mod worlds;

pub use crate::moment::Moment;
pub use account::Passage;
pub use faults::{Faults, UnknownFault};
pub use loader::{InstallerMachine, Loader, OurInstaller, Standing};
pub use plan::{Coverage, Exploration, NODE_BYTES, Plan, Progress, StickOption, Unfinished, Violation};
pub use replay::{Strayed, replay};
pub use story::{ChangeKind, ComesTo, Happening, Step, Story};
pub use worlds::stories;

use model::Explorer;

/// Explores everything.
///
/// # Errors
/// Why there is no answer.
pub fn explore<L: Loader>(loader: &L, plan: &Plan<'_>) -> Result<Exploration, Unfinished> {
    explore_watched(loader, plan, &|_| ())
}

/// Explores everything, and tells `watch` again and again how far it has come.
///
/// # Errors
/// Why there is no answer.
pub fn explore_watched<L: Loader>(
    loader: &L,
    plan: &Plan<'_>,
    watch: &dyn Fn(Progress),
) -> Result<Exploration, Unfinished> {
    let (found, _) = Explorer::new(loader, plan).explore(watch)?;
    Ok(found)
}
