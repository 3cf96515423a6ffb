//! The rehearsal of a product's installs: which cases there are, and what came of each.
//!
//! [`rehearse_board`] is what both a release and a rehearsal of the ledger do with each board.

mod board;
mod cases;
mod error;
mod explore;
mod files;
mod install;
mod limits;

pub use board::BoardUnderTest;
pub use cases::{Beginning, Case, NoPart, PartOf, Split, Wanted, Way, cases, may_go_back_to};
pub use error::RehearseError;
pub use explore::{CaseOutcome, Places, Scene, explore_case, rehearse_board};
pub use files::{UpdateFile, recorded_files};
pub use install::Install;
pub use limits::{Bound, Limits};
