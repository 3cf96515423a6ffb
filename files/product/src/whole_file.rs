//! Files that appear whole or not at all.
//!
//! A file is written under a passing name in the folder where it is to stand, flushed to the disk and then renamed over
//! its final name, which POSIX makes a single step; then the folder is flushed, so that the name survives too. A cut
//! leaves either the old file or the new one, and perhaps a passing name, which begins with [`PASSING`] and means
//! nothing to anybody.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// How the names of unfinished files and folders begin. Readers skip them; they may be deleted.
pub const PASSING: &str = ".unfinished-";

/// Who may read a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Access {
    /// Its owner alone: mode 0600.
    Private,
    /// Whom the system's settings let: mode 0644 less the umask.
    Shared,
}

/// A file or folder that could not be read or written.
#[derive(Debug, Error)]
#[error("cannot {action} {}: {error}", path.display())]
pub struct FileError {
    /// What was tried.
    pub action: &'static str,
    /// With what.
    pub path: PathBuf,
    /// What the system said.
    #[source]
    pub error: io::Error,
}

impl FileError {
    pub(crate) fn wrap(action: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Self {
        move |error| Self {
            action,
            path: path.to_owned(),
            error,
        }
    }
}

/// Writes a file, over an older one of the same name if there is one.
///
/// # Errors
/// The system refuses; the older file then stands unharmed.
pub fn write_whole(path: &Path, content: &[u8], access: Access) -> Result<(), FileError> {
    let folder = folder_of(path);
    let mut file = passing_file(folder, access).map_err(FileError::wrap("write beside", path))?;
    let written = file.write_all(content).and_then(|()| file.as_file().sync_all());
    written.map_err(FileError::wrap("write", path))?;
    file.persist(path)
        .map_err(|refused| FileError::wrap("write", path)(refused.error))?;
    flush_folder(folder)
}

/// Writes a file that must not be there yet.
///
/// # Errors
/// The system refuses, or there is such a file already ([`io::ErrorKind::AlreadyExists`]).
pub fn write_new(path: &Path, content: &[u8], access: Access) -> Result<(), FileError> {
    let folder = folder_of(path);
    let mut file = passing_file(folder, access).map_err(FileError::wrap("write beside", path))?;
    let written = file.write_all(content).and_then(|()| file.as_file().sync_all());
    written.map_err(FileError::wrap("write", path))?;
    file.persist_noclobber(path)
        .map_err(|refused| FileError::wrap("create", path)(refused.error))?;
    flush_folder(folder)
}

fn folder_of(path: &Path) -> &Path {
    path.parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

fn passing_file(folder: &Path, access: Access) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(PASSING);
    #[cfg(unix)]
    builder.permissions(mode(match access {
        Access::Private => 0o600,
        Access::Shared => 0o644,
    }));
    #[cfg(not(unix))]
    let _ = access;
    builder.tempfile_in(folder)
}

#[cfg(unix)]
fn mode(bits: u32) -> fs::Permissions {
    std::os::unix::fs::PermissionsExt::from_mode(bits)
}

/// A folder that is filled under a passing name and then appears whole.
pub(crate) struct WholeFolder {
    passing: tempfile::TempDir,
}

impl WholeFolder {
    /// Begins a folder inside `parent`.
    pub(crate) fn begin(parent: &Path) -> Result<Self, FileError> {
        let mut builder = tempfile::Builder::new();
        builder.prefix(PASSING);
        #[cfg(unix)]
        builder.permissions(mode(0o755));
        let passing = builder
            .tempdir_in(parent)
            .map_err(FileError::wrap("create a folder in", parent))?;
        Ok(Self { passing })
    }

    /// Adds a file and flushes it to the disk.
    pub(crate) fn add(&self, name: &str, content: &[u8]) -> Result<(), FileError> {
        let path = self.passing.path().join(name);
        let written = File::create_new(&path).and_then(|mut file| {
            file.write_all(content)?;
            file.sync_all()
        });
        written.map_err(FileError::wrap("write", &path))
    }

    /// Gives the folder its name. Fails if the name is taken by a folder with anything in it.
    pub(crate) fn finish(self, path: &Path) -> Result<(), FileError> {
        flush_folder(self.passing.path())?;
        fs::rename(self.passing.path(), path).map_err(FileError::wrap("create", path))?;
        // Nothing is left under the passing name for the guard to remove.
        let _ = self.passing.keep();
        flush_folder(folder_of(path))
    }
}

#[cfg(unix)]
fn flush_folder(folder: &Path) -> Result<(), FileError> {
    File::open(folder)
        .and_then(|folder| folder.sync_all())
        .map_err(FileError::wrap("flush", folder))
}

/// Other systems flush names by themselves or not at all.
#[cfg(not(unix))]
fn flush_folder(_: &Path) -> Result<(), FileError> {
    Ok(())
}

/// Reads a whole file of at most `most` bytes.
pub(crate) fn read_bounded(path: &Path, most: usize) -> Result<Vec<u8>, FileError> {
    use std::io::Read;
    let read = File::open(path).and_then(|file| {
        let mut content = Vec::new();
        file.take(most as u64 + 1).read_to_end(&mut content)?;
        if content.len() > most {
            return Err(io::Error::new(
                io::ErrorKind::FileTooLarge,
                format!("it has more than {most} bytes"),
            ));
        }
        Ok(content)
    });
    read.map_err(FileError::wrap("read", path))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_leaves_the_old_file_and_no_rest() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("record");
        write_whole(&path, b"old", Access::Shared).unwrap();
        // A folder of the final name cannot be replaced by a file: the rename itself fails.
        let taken = folder.path().join("taken");
        fs::create_dir(&taken).unwrap();
        write_whole(&taken, b"new", Access::Shared).unwrap_err();
        assert_eq!(
            write_new(&path, b"new", Access::Shared).unwrap_err().error.kind(),
            io::ErrorKind::AlreadyExists
        );
        assert_eq!(fs::read(&path).unwrap(), b"old");
        let names: Vec<_> = fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| entry.unwrap().file_name())
            .collect();
        assert_eq!(names.len(), 2, "{names:?}");
    }

    #[cfg(unix)]
    #[test]
    fn private_files_are_for_their_owner_alone() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("secret");
        // Even over a file that anybody may read.
        write_whole(&path, b"", Access::Shared).unwrap();
        write_whole(&path, b"secret", Access::Private).unwrap();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    }
}
