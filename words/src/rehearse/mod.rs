//! A rehearsal, told: its report, its record for machines, its results for build servers, its pictures.
//!
//! A [`Record`] is a rehearsal with its stories told. It is what `--json` prints. Parts that were rehearsed on several machines
//! come back as such, so reports are made from records, and joining parts is here too.

mod junit;
mod merge;
#[cfg(feature = "own-loader")]
mod own_loader;
mod pages;
mod proof;
mod record;
mod remedy;
mod rows;
mod told;

pub use junit::junit;
pub use merge::{NotMerged, merge, read_record};
#[cfg(feature = "own-loader")]
pub use own_loader::{LoaderCaseRecord, LoaderRecord, NotJudged};
pub use pages::{Page, pages};
pub use proof::{conclusion, owners_sentence, proof};
pub use record::{BrokenClaim, CaseRecord, Covered, InstallRecord, PhaseCounts, Record, SettingsRecord};
pub use rows::{UnknownBoard, release_rows, report_of};
