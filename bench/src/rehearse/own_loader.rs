//! The rehearsal of a maker's own loader. What came of it is a [`Report`] of the loader's crate.

use crate::progress::{Explored, Progress, Step};
pub use packstaff_loader::{Case, Judged, RehearsalError, Report, wording};
use packstaff_rehearsal::explore::Faults;
use std::cell::RefCell;
use std::path::Path;

/// Rehearses the loader that a folder's `unit.toml` describes. `faults` and `nodes` take the place of what is said there.
///
/// # Errors
/// There is no answer: the description is wrong, or the exploration was given up. A loader that breaks a claim is an answer.
pub fn rehearse_own_loader(
    folder: &Path,
    faults: Option<&Faults>,
    nodes: Option<usize>,
    progress: &dyn Progress,
) -> Result<Report, RehearsalError> {
    let mut kind = packstaff_loader::description::read(folder)?;
    if let Some(faults) = faults {
        kind.faults = faults.clone();
    }
    // The loader never asks its owner for a choice.
    kind.faults.any_choice = false;
    kind.limits.nodes = nodes.unwrap_or(kind.limits.nodes);
    let towards = RefCell::new(None::<String>);
    packstaff_loader::rehearse_watched(&kind, &|to, seen| {
        let what = Explored::OwnLoader { to };
        if towards.replace(Some(to.to_owned())).as_deref() != Some(to) {
            progress.at(&Step::Exploring { what, counts: None });
        }
        let counts = Some(seen.into());
        progress.at(&Step::Exploring { what, counts });
    })
}
