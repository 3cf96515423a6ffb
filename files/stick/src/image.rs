//! An image as the few stretches of it that are not zero.

use std::fmt;
use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::Arc;

use packstaff_fat::{BLOCK, Block};

use crate::StickError;

/// Bytes at a place; the place is the start of a block.
#[derive(Clone, PartialEq, Eq)]
struct Extent {
    start: u64,
    bytes: Arc<[u8]>,
}

/// The image of a whole stick. What no stretch covers is zero. Copies share their bytes.
#[derive(Clone, PartialEq, Eq)]
pub struct StickImage {
    size: u64,
    /// Bytes before the first file.
    system: u64,
    /// In order, and without overlap.
    extents: Vec<Extent>,
}

impl StickImage {
    /// A stick of so many bytes, all zero, whose tables and root take the first `system`.
    pub(crate) fn blank(size: u64, system: u64) -> Self {
        Self {
            size,
            system,
            extents: Vec::new(),
        }
    }

    /// Lays bytes down from the start of a block on, where nothing is yet.
    pub(crate) fn put(&mut self, start: u64, bytes: Vec<u8>) {
        debug_assert!(start.is_multiple_of(BLOCK as u64) && start + bytes.len() as u64 <= self.size);
        if bytes.is_empty() {
            return;
        }
        let at = self.extents.partition_point(|extent| extent.start < start);
        self.extents.insert(
            at,
            Extent {
                start,
                bytes: bytes.into(),
            },
        );
    }

    /// Bytes of the stick.
    #[must_use]
    pub const fn size(&self) -> u64 {
        self.size
    }

    /// Blocks of 512 bytes of the stick.
    #[must_use]
    pub const fn blocks(&self) -> u64 {
        self.size / BLOCK as u64
    }

    /// Bytes from the start that tables and root take: there, what no stretch covers must be zero on a real stick too. Behind them it
    /// belongs to no file and does not matter.
    #[must_use]
    pub const fn system_bytes(&self) -> u64 {
        self.system
    }

    /// The stretches that are kept: where each begins, and its bytes.
    pub fn stretches(&self) -> impl Iterator<Item = (u64, &[u8])> {
        self.extents.iter().map(|extent| (extent.start, &*extent.bytes))
    }

    /// Bytes that are kept, which are all that may be other than zero.
    #[must_use]
    pub fn kept(&self) -> u64 {
        self.extents.iter().map(|extent| extent.bytes.len() as u64).sum()
    }

    /// A block; `None` past the end of the stick.
    #[must_use]
    pub fn block(&self, number: u64) -> Option<Block> {
        if number >= self.blocks() {
            return None;
        }
        let mut block = [0; BLOCK];
        let start = number * BLOCK as u64;
        let before = self.extents.partition_point(|extent| extent.start <= start);
        if let Some(extent) = before.checked_sub(1).map(|index| &self.extents[index]) {
            // The place within the extent fits memory, since the extent does.
            let rest = usize::try_from(start - extent.start)
                .ok()
                .and_then(|skip| extent.bytes.get(skip..));
            for (to, from) in block.iter_mut().zip(rest.unwrap_or(&[])) {
                *to = *from;
            }
        }
        Some(block)
    }

    /// A block, all zero past the end of the stick. A driver that must tell the end uses [`StickImage::block`].
    #[must_use]
    pub fn read_block(&self, number: u64) -> Block {
        self.block(number).unwrap_or([0; BLOCK])
    }

    /// All bytes.
    #[must_use]
    pub fn to_vec(&self) -> Vec<u8> {
        let mut bytes = vec![0; usize::try_from(self.size).unwrap_or(usize::MAX)];
        for extent in &self.extents {
            let start = extent.start as usize;
            bytes[start..start + extent.bytes.len()].copy_from_slice(&extent.bytes);
        }
        bytes
    }

    /// Writes the image as a file with holes. The file appears whole or not at all: it is written beside its place, brought to
    /// the disk, and then renamed. What was there before is replaced.
    ///
    /// # Errors
    ///
    /// If the folder cannot be written to or the disk is full.
    pub fn write_to(&self, path: impl AsRef<Path>) -> Result<(), StickError> {
        let path = path.as_ref();
        self.write_beside(path).map_err(|source| StickError::Write {
            path: path.to_owned(),
            source,
        })
    }

    fn write_beside(&self, path: &Path) -> io::Result<()> {
        let folder = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        let mut builder = tempfile::Builder::new();
        builder.prefix(".stick-").suffix(".tmp");
        // An image is not a secret: it gets the permissions of any new file.
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let mut file = builder.tempfile_in(folder)?;
        file.as_file().set_len(self.size)?;
        for extent in &self.extents {
            file.seek(SeekFrom::Start(extent.start))?;
            file.write_all(&extent.bytes)?;
        }
        file.as_file().sync_all()?;
        file.persist(path).map_err(|error| error.error)?;
        // The rename itself must reach the disk too, where folders can be synchronised.
        if cfg!(unix) {
            File::open(folder)?.sync_all()?;
        }
        Ok(())
    }
}

impl fmt::Debug for StickImage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let extents: Vec<_> = self
            .extents
            .iter()
            .map(|extent| (extent.start, extent.bytes.len()))
            .collect();
        f.debug_struct("StickImage")
            .field("size", &self.size)
            .field("extents", &extents)
            .finish()
    }
}
