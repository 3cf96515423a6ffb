//! Files into a folder: of a mounted stick, or any other.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use super::settle;
use crate::examine::names::is_like_an_update;
use crate::{StickError, StickFile, short_name};

/// Why files cannot be brought to a folder.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DeliverError {
    /// It is no folder.
    #[error("{} is no folder; name the folder of the mounted stick, such as /media/you/KILN", .0.display())]
    NoFolder(PathBuf),
    /// A name does not fit a stick.
    #[error(transparent)]
    Name(#[from] StickError),
    /// Another file has that name.
    #[error(
        "{} is there already with other contents, and nothing was written; take it away, or say --replace",
        .0.display()
    )]
    Exists(PathBuf),
    /// Something in that place is no file.
    #[error("{} is there already and is no ordinary file; take it away", .0.display())]
    NotAFile(PathBuf),
    /// It could not be written.
    #[error("{} could not be written: {source}. Files that come before it in the list are there", path.display())]
    Write {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// What was read back is not what was written.
    #[error(
        "{} was written, but reads back differently from byte {first_difference} on; do not use this stick",
        path.display()
    )]
    Differs {
        /// Which.
        path: PathBuf,
        /// The first byte.
        first_difference: u64,
    },
}

/// What becomes of a file with other contents that has the name of one that is brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SameName {
    /// It stays, and nothing is written.
    Refused,
    /// The new one takes its place.
    Replaced,
}

/// What was done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivered {
    /// Names of the files that were written and read back, and their bytes.
    pub written: Vec<(String, u64)>,
    /// Names of those that were there already with the same contents. They were read and compared too.
    pub kept: Vec<String>,
    /// Whether the folder is on a FAT volume, as far as the system says.
    pub is_fat: Option<bool>,
}

/// Copies files into a folder. Each appears whole or not at all.
///
/// # Errors
/// The folder is none, a name does not fit a stick, a file is in the way, or writing or reading back fails.
pub fn deliver(folder: &Path, files: &[StickFile], same_name: SameName) -> Result<Delivered, DeliverError> {
    if !folder.is_dir() {
        return Err(DeliverError::NoFolder(folder.to_owned()));
    }
    // All that could be in the way, before anything is written.
    let mut is_there = Vec::with_capacity(files.len());
    for file in files {
        short_name(&file.name)?;
        let path = folder.join(&file.name);
        is_there.push(match fs::symlink_metadata(&path) {
            Err(_) => false,
            Ok(metadata) if !metadata.is_file() => return Err(DeliverError::NotAFile(path)),
            Ok(_) if compare(&path, &file.contents).is_ok_and(|difference| difference.is_none()) => true,
            Ok(_) if same_name == SameName::Replaced => false,
            Ok(_) => return Err(DeliverError::Exists(path)),
        });
    }
    let mut delivered = Delivered {
        written: Vec::new(),
        kept: Vec::new(),
        is_fat: is_fat(folder),
    };
    for (file, is_there) in files.iter().zip(is_there) {
        let path = folder.join(&file.name);
        let failed = |source| DeliverError::Write {
            path: path.clone(),
            source,
        };
        if is_there {
            delivered.kept.push(file.name.clone());
            continue;
        }
        write(folder, &path, &file.contents).map_err(failed)?;
        if let Some(first_difference) = compare(&path, &file.contents).map_err(failed)? {
            return Err(DeliverError::Differs { path, first_difference });
        }
        delivered.written.push((file.name.clone(), file.contents.len() as u64));
    }
    Ok(delivered)
}

fn write(folder: &Path, path: &Path, contents: &[u8]) -> io::Result<()> {
    let mut builder = tempfile::Builder::new();
    // No dot in front: what a computer hides on a stick, its owner cannot take away.
    builder.prefix("new-").suffix(".tmp");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder.tempfile_in(folder)?;
    file.write_all(contents)?;
    settle(file.as_file())?;
    file.persist(path).map_err(|error| error.error)?;
    if cfg!(unix) {
        File::open(folder)?.sync_all()?;
    }
    Ok(())
}

/// The first byte in which a file differs from what it should be.
fn compare(path: &Path, contents: &[u8]) -> io::Result<Option<u64>> {
    let file = File::open(path)?;
    settle(&file)?;
    let mut there = Vec::with_capacity(contents.len());
    file.take(contents.len() as u64 + 1).read_to_end(&mut there)?;
    if there == contents {
        return Ok(None);
    }
    let common = there
        .iter()
        .zip(contents)
        .take_while(|(one, other)| one == other)
        .count();
    Ok(Some(common as u64))
}

#[cfg(target_os = "linux")]
fn is_fat(folder: &Path) -> Option<bool> {
    // The number that Linux gives to its FAT file systems (linux/magic.h, MSDOS_SUPER_MAGIC).
    let found = rustix::fs::statfs(folder).ok()?;
    Some(found.f_type == 0x4d44)
}

#[cfg(not(target_os = "linux"))]
fn is_fat(_: &Path) -> Option<bool> {
    None
}

/// Names at the top of a folder that look like updates and are not among `names`.
///
/// # Errors
/// The folder cannot be listed.
pub fn other_updates(folder: &Path, names: &[&str], ending: &str) -> io::Result<Vec<String>> {
    let mut others = Vec::new();
    for entry in fs::read_dir(folder)? {
        let name = entry?.file_name().to_string_lossy().into_owned();
        if is_like_an_update(&name, ending) && !names.iter().any(|ours| ours.eq_ignore_ascii_case(&name)) {
            others.push(name);
        }
    }
    others.sort();
    Ok(others)
}
