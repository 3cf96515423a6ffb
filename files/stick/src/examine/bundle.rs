//! Folders and archives, as files to examine; and images inside archives, unpacked without their holes.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use packstaff_fat::{BLOCK, Block};
use zip::ZipArchive;

use super::LooseFile;
use crate::BlockSource;

/// Files of a folder that are looked at, and folders within folders.
const FILES_MAX: usize = 20_000;
const DEPTH_MAX: usize = 24;
/// The most that an image may unfold to, and the most of it that may be other than zero.
const UNPACKED_MAX: u64 = 64 << 30;
const KEPT_MAX: usize = 512 << 20;

/// Why a folder or an archive cannot be examined.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BundleError {
    /// It cannot be read.
    #[error("{} cannot be read: {source}", path.display())]
    Read {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// It is no archive that can be read.
    #[error("{} is a zip archive that cannot be read: {source}; unpack it, and examine what is inside", path.display())]
    Archive {
        /// Which.
        path: PathBuf,
        /// Why.
        source: zip::result::ZipError,
    },
    /// The image in it is too large.
    #[error("the image {name} in the archive unfolds to more than can be held; unpack it, and examine the image")]
    TooLarge {
        /// Which.
        name: String,
    },
}

/// What is in an archive.
pub enum Unpacked {
    /// The image of a stick.
    Image {
        /// Its name in the archive.
        name: String,
        /// Its blocks.
        image: SparseImage,
    },
    /// Files.
    Files(Vec<LooseFile>),
}

/// All files below a folder. Links are not followed.
///
/// # Errors
/// The folder cannot be listed.
pub fn folder(path: &Path) -> Result<Vec<LooseFile>, BundleError> {
    let mut files = Vec::new();
    let mut waiting = vec![(path.to_owned(), Vec::new())];
    while let Some((at, folders)) = waiting.pop() {
        let failed = |source| BundleError::Read {
            path: at.clone(),
            source,
        };
        let mut entries = fs::read_dir(&at)
            .map_err(failed)?
            .collect::<Result<Vec<_>, _>>()
            .map_err(failed)?;
        entries.sort_by_key(fs::DirEntry::file_name);
        for entry in entries {
            let Ok(kind) = entry.file_type() else { continue };
            let name = entry.file_name().to_string_lossy().into_owned();
            if kind.is_dir() && folders.len() < DEPTH_MAX {
                let mut below = folders.clone();
                below.push(name);
                waiting.push((entry.path(), below));
            } else if kind.is_file() && files.len() < FILES_MAX {
                let path = entry.path();
                files.push(LooseFile {
                    folders: folders.clone(),
                    name,
                    size: entry.metadata().map_or(0, |metadata| metadata.len()),
                    read: Box::new(move |most| start_of(&path, most).unwrap_or_default()),
                });
            }
        }
    }
    Ok(files)
}

fn start_of(path: &Path, most: usize) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(most as u64).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// What is in a zip archive: the image of a stick, if it holds one file that could be one, else its files.
///
/// # Errors
/// The archive cannot be read.
pub fn archive(path: &Path) -> Result<Unpacked, BundleError> {
    let bad = |source| BundleError::Archive {
        path: path.to_owned(),
        source,
    };
    let open = || {
        let file = File::open(path).map_err(|source| BundleError::Read {
            path: path.to_owned(),
            source,
        })?;
        ZipArchive::new(file).map_err(bad)
    };
    let mut archive = open()?;
    let mut files = Vec::new();
    let mut images = Vec::new();
    for index in 0..archive.len().min(FILES_MAX) {
        let Ok(entry) = archive.by_index(index) else { continue };
        let Ok(name) = entry.name().map(std::borrow::Cow::into_owned) else {
            continue;
        };
        if entry.is_dir() {
            continue;
        }
        let size = entry.size();
        let mut parts: Vec<String> = name
            .split(['/', '\\'])
            .filter(|part| !part.is_empty())
            .map(str::to_owned)
            .collect();
        let Some(last) = parts.pop() else { continue };
        if is_image(&last, size) {
            images.push((index, name));
        }
        let path = path.to_owned();
        files.push(LooseFile {
            folders: parts,
            name: last,
            size,
            read: Box::new(move |most| entry_start(&path, index, most).unwrap_or_default()),
        });
    }
    if let [(index, name)] = images.as_slice() {
        let entry = archive.by_index(*index).map_err(bad)?;
        return match SparseImage::read(entry) {
            Ok(Some(image)) => Ok(Unpacked::Image {
                name: name.clone(),
                image,
            }),
            Ok(None) => Err(BundleError::TooLarge { name: name.clone() }),
            Err(source) => Err(BundleError::Read {
                path: path.to_owned(),
                source,
            }),
        };
    }
    // What somebody packs as a folder is a stick's top, not a folder on a stick.
    let shared = shared_folder(&files);
    for file in &mut files {
        file.folders.drain(..shared);
    }
    Ok(Unpacked::Files(files))
}

/// How many folders all files are in together.
fn shared_folder(files: &[LooseFile]) -> usize {
    let Some(first) = files.first() else { return 0 };
    let shared = |file: &LooseFile| {
        file.folders
            .iter()
            .zip(&first.folders)
            .take_while(|(one, other)| one == other)
            .count()
    };
    files.iter().map(shared).min().unwrap_or(0)
}

/// Endings that images of sticks have, and a size that one could have (common practice).
fn is_image(name: &str, size: u64) -> bool {
    let endings = ["img", "dd", "raw", "image", "iso", "bin"];
    let has_ending = name
        .rsplit_once('.')
        .is_some_and(|(_, last)| endings.iter().any(|ending| last.eq_ignore_ascii_case(ending)));
    has_ending && size >= 64 << 10 && size.is_multiple_of(BLOCK as u64)
}

fn entry_start(path: &Path, index: usize, most: usize) -> Option<Vec<u8>> {
    let mut archive = ZipArchive::new(File::open(path).ok()?).ok()?;
    let mut bytes = Vec::new();
    let entry = archive.by_index(index).ok()?;
    entry.take(most as u64).read_to_end(&mut bytes).ok()?;
    Some(bytes)
}

/// An image that came as a stream: only the stretches that are not zero are kept.
#[derive(Debug, Default)]
pub struct SparseImage {
    blocks: u64,
    /// Stretches of blocks: the first, and the bytes.
    extents: Vec<(u64, Vec<u8>)>,
}

impl SparseImage {
    /// Reads a whole image; `None` if it is too large to hold.
    ///
    /// # Errors
    /// The stream cannot be read.
    pub fn read(mut stream: impl Read) -> io::Result<Option<Self>> {
        let mut image = Self::default();
        let mut kept = 0;
        let mut block: Block = [0; BLOCK];
        loop {
            let mut filled = 0;
            while filled < BLOCK {
                match stream.read(&mut block[filled..])? {
                    0 => break,
                    more => filled += more,
                }
            }
            if filled < BLOCK {
                return Ok(Some(image));
            }
            if block != [0; BLOCK] {
                kept += BLOCK;
                let number = image.blocks;
                match image.extents.last_mut() {
                    Some((start, bytes)) if *start + (bytes.len() / BLOCK) as u64 == number => {
                        bytes.extend_from_slice(&block)
                    }
                    _ => image.extents.push((number, block.to_vec())),
                }
            }
            image.blocks += 1;
            if kept > KEPT_MAX || image.blocks * BLOCK as u64 > UNPACKED_MAX {
                return Ok(None);
            }
        }
    }
}

impl BlockSource for SparseImage {
    fn blocks(&self) -> u64 {
        self.blocks
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        if block >= self.blocks {
            return Err(io::Error::new(
                io::ErrorKind::UnexpectedEof,
                format!("there is no block {block}"),
            ));
        }
        let at = self.extents.partition_point(|(start, _)| *start <= block);
        let stretch = at.checked_sub(1).and_then(|index| self.extents.get(index));
        let found = stretch.and_then(|(start, bytes)| {
            let skip = usize::try_from(block - start).ok()?.checked_mul(BLOCK)?;
            bytes.get(skip..)?.first_chunk().copied()
        });
        Ok(found.unwrap_or([0; BLOCK]))
    }
}
