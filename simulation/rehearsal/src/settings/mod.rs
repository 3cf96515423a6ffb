//! Settings under cuts: every world that a settings memory can pass through while a unit saves, is updated and is taken back to
//! an older version, each visited once.
//!
//! As in [`explore`](crate::explore): nodes are worlds with power off, or powered stores about to change their memory; power may
//! fail before, inside and after every change, any number of times; doubtful cells may read either way at every read. Owners may
//! change settings whenever the unit rests, and put any version on between two power-ups.
//!
//! What must hold, whatever happens: when the unit rests, its settings are those that it had or those that were being saved,
//! carried over to the installed version exactly as its tables say, with what was kept aside given back; once it has come up with
//! one of the two, it never comes up with the other again ([`Claim::SettingsKept`](crate::claims::Claim::SettingsKept)); and the store asks of its memory only what
//! that can do, and comes to rest ([`Claim::Sane`](crate::claims::Claim::Sane)).

mod alike;
mod any_size;
mod change;
mod ideal;
mod judge;
mod model;
mod names;
mod owner;
mod parts;
mod plan;
mod readings;
mod store;
mod story;
mod world;

pub use crate::moment::Moment;
pub use alike::{Alike, Apart};
pub use any_size::{LONGEST, Machines, Setup, Unexplored, explore_machines, explore_setup};
pub use ideal::Ideal;
pub use model::{explore, explore_keeper};
pub use parts::{memory_of, new_memory};
pub use plan::{Exploration, Plan, TooLarge, Version, Violation};
pub use store::{ASIDE, KeeperMachine, OurKeeper, ROOM, Store, Wish};
pub use story::{ChangeKind, ComesTo, Step, Story};
