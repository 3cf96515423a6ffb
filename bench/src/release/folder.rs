//! The folder of a release, which appears whole or not at all.

use crate::open::{Bench, EXTENSION};
use packstaff_product::Version;
use packstaff_stick::{StickError, StickImage};
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::{fs, io};
use thiserror::Error;

/// Name of the stick image.
pub(super) const STICK: &str = "stick.img";
/// Name of the owner's sheet.
pub(super) const SHEET: &str = "sheet.html";
/// Name of the report.
pub(super) const REPORT: &str = "report.json";

/// Why a release's folder cannot be written. What was there before is there still, unless the error names where it is.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum FolderError {
    /// A file stands where the folder is to go.
    #[error("{} is there already and is not a folder", .0.display())]
    InTheWay(PathBuf),
    /// The folder holds something else than a release.
    #[error("{} holds {}, which is no part of a release: it would be lost", folder.display(), stranger.to_string_lossy())]
    Stranger {
        /// The folder.
        folder: PathBuf,
        /// What is in it.
        stranger: OsString,
    },
    /// The system refuses.
    #[error("{} cannot be {action}: {error}", path.display())]
    System {
        /// With what.
        path: PathBuf,
        /// What was to be done with it, as in "cannot be written".
        action: &'static str,
        /// What the system said.
        #[source]
        error: io::Error,
    },
    /// The stick image cannot be written.
    #[error("the stick image: {0}")]
    Stick(#[from] StickError),
}

fn cannot(path: &Path, action: &'static str) -> impl FnOnce(io::Error) -> FolderError {
    move |error| FolderError::System {
        path: path.to_owned(),
        action,
        error,
    }
}

/// Where the folder of a version goes, unless somebody says otherwise: `out/<version>` in the product folder.
pub fn usual_folder(bench: &Bench, version: &Version) -> PathBuf {
    bench.folder().join("out").join(version.text())
}

/// A folder is replaced as a whole, so it must hold nothing but an earlier release.
///
/// # Errors
/// It holds something else, or is no folder, or cannot be listed.
pub fn may_replace(folder: &Path) -> Result<(), FolderError> {
    let entries = match fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) if error.kind() == io::ErrorKind::NotADirectory => {
            return Err(FolderError::InTheWay(folder.to_owned()));
        }
        entries => entries.map_err(cannot(folder, "listed"))?,
    };
    for entry in entries {
        let name = entry.map_err(cannot(folder, "listed"))?.file_name();
        if !name.to_str().is_some_and(is_part_of_release) {
            return Err(FolderError::Stranger {
                folder: folder.to_owned(),
                stranger: name,
            });
        }
    }
    Ok(())
}

fn is_part_of_release(name: &str) -> bool {
    [STICK, SHEET, REPORT].contains(&name) || name.strip_suffix(EXTENSION).is_some_and(|start| start.ends_with('.'))
}

/// Writes a release's folder beside its place, then puts it there. What was there before is put aside first, and removed last.
pub(super) fn write(folder: &Path, files: &[(&str, &[u8])], stick: &StickImage) -> Result<(), FolderError> {
    let parent = folder
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    fs::create_dir_all(parent).map_err(cannot(parent, "made"))?;
    let fresh = tempfile::Builder::new()
        .prefix(".packstaff-")
        .tempdir_in(parent)
        .map_err(cannot(parent, "written to"))?;
    for (name, content) in files {
        let path = fresh.path().join(name);
        fs::write(&path, content).map_err(cannot(&path, "written"))?;
    }
    stick.write_to(fresh.path().join(STICK))?;
    // Looked at again: the rehearsal takes its time, and somebody may have put a file there meanwhile.
    may_replace(folder)?;
    put_in_place(fresh, folder)
}

fn put_in_place(fresh: tempfile::TempDir, folder: &Path) -> Result<(), FolderError> {
    let old = fresh.path().with_extension("old");
    let fresh: PathBuf = fresh.keep();
    let had = folder.exists();
    if had {
        fs::rename(folder, &old).map_err(cannot(folder, "put aside"))?;
    }
    if let Err(error) = fs::rename(&fresh, folder) {
        if had {
            fs::rename(&old, folder).map_err(cannot(folder, "put back"))?;
        }
        let _ = fs::remove_dir_all(&fresh);
        return Err(cannot(folder, "put in place")(error));
    }
    if had {
        fs::remove_dir_all(&old).map_err(cannot(folder, "cleared of what was there before"))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_fat::Calendar;
    use packstaff_stick::StickSpec;

    fn stick() -> StickImage {
        let stamp = Calendar {
            year: 2000,
            month: 1,
            day: 1,
            hour: 12,
            minute: 0,
            second: 0,
        };
        packstaff_stick::build(&StickSpec::usual(1, stamp)).unwrap()
    }

    #[test]
    fn an_earlier_release_is_replaced_whole_and_anything_else_is_left_alone() {
        let temp = tempfile::tempdir().unwrap();
        let folder = temp.path().join("deep/2.1");
        write(&folder, &[("OLD.UPD", b"old"), (SHEET, b"old")], &stick()).unwrap();
        write(&folder, &[("NEW.UPD", b"new"), (REPORT, b"{}")], &stick()).unwrap();
        let mut names: Vec<_> = fs::read_dir(&folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        assert_eq!(names, ["NEW.UPD", REPORT, STICK]);
        assert_eq!(fs::read_dir(temp.path().join("deep")).unwrap().count(), 1);

        fs::write(folder.join("thesis.doc"), "years of work").unwrap();
        let refused = write(&folder, &[], &stick()).unwrap_err();
        assert!(matches!(refused, FolderError::Stranger { .. }), "{refused}");
        let file = folder.join("thesis.doc");
        assert!(matches!(may_replace(&file), Err(FolderError::InTheWay(_))));
        assert_eq!(fs::read_to_string(file).unwrap(), "years of work");
        assert_eq!(fs::read_dir(temp.path().join("deep")).unwrap().count(), 1);
    }
}
