//! The rehearsal of a product's installs and settings: which cases there are, and what came of each.
//!
//! [`rehearse`] goes through the ledger's releases. [`rehearse_board`] is what both that and a release do with each board, and
//! [`Rehearsal::rehearse_settings`] what both do with settings.

mod board;
mod cases;
mod error;
mod explore;
mod files;
mod install;
mod limits;
#[cfg(feature = "own-loader")]
pub mod own_loader;
mod rehearsal;
mod settings;

pub use board::BoardUnderTest;
pub use cases::{Beginning, Case, NoPart, PartOf, Split, Wanted, Way, cases, may_go_back_to};
pub use error::RehearseError;
pub use explore::{CaseOutcome, Places, Scene, explore_case, rehearse_board};
pub use files::{UpdateFile, recorded_files};
pub use install::Install;
pub use limits::{Bound, Limits};
pub use rehearsal::{Ask, Matrix, Rehearsal, rehearse};
pub use settings::{
    Explorer, KeptBy, LeftOut, NotExplored, Obstacle, SettingsCase, SettingsCases, SettingsEnd, SettingsExplored,
    SettingsFrom, SettingsLost, SettingsOutcome, SettingsUnderTest, rehearse_settings, settings_cases,
};
