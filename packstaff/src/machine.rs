//! What depends on the machine that the program runs on.

use packstaff_bench::{Bench, OpenError};
use std::path::{Path, PathBuf};

/// Where this machine remembers which one-time keys it has used: outside of every product folder, so that an older copy of
/// one does not bring them back. `None` where the environment names no such place.
pub(crate) fn one_time_folder() -> Option<PathBuf> {
    let absolute = |name| {
        std::env::var_os(name)
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
    };
    let state = absolute("XDG_STATE_HOME").or_else(|| absolute("HOME").map(|home| home.join(".local/state")))?;
    Some(state.join("packstaff/one-time-keys"))
}

/// Opens a product folder on this machine.
///
/// # Errors
/// As [`Bench::open`].
pub(crate) fn open(folder: &Path) -> Result<Bench, OpenError> {
    Ok(Bench::open(folder)?.with_one_time_folder(one_time_folder()))
}
