//! Reading a directory, entry by entry.

use crate::bytes::{array_at, u8_at};
use crate::chain::Chain;
use crate::detail::detail;
use crate::entry::attributes;
use crate::{Block, Entry, Error, LongName, Step, Volume};

/// The most entries of one directory: 2 MiB of them (FAT specification, "Other Notes").
pub const MAX_DIRECTORY_ENTRIES: u32 = 65_536;

/// Entries in one block.
const PER_BLOCK: u32 = 16;

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Phase {
    /// The fixed root of FAT12 and FAT16.
    Fixed,
    /// Within a cluster.
    Cluster,
    /// Looking for the next cluster.
    Turn,
    Done,
    Refuse(Error),
}

/// The reader of the root's entries, by [`Volume::root`].
pub type RootReader = DirectoryReader;

/// Gives the entries of a directory one by one: files and folders, but not the label, deleted entries and pieces of long names.
///
/// After an error the reader gives the same error or ends; it does not recover.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct DirectoryReader {
    phase: Phase,
    chain: Chain,
    /// The entry to look at next, from 0.
    position: u32,
    /// The block last asked for.
    asked: Option<u64>,
    label: Option<[u8; 11]>,
}

impl DirectoryReader {
    pub(crate) const fn root(volume: &Volume) -> Self {
        let phase = if volume.root_cluster == 0 {
            Phase::Fixed
        } else {
            Phase::Cluster
        };
        Self {
            phase,
            chain: Chain::from(volume.root_cluster),
            position: 0,
            asked: None,
            label: None,
        }
    }

    pub(crate) const fn folder(volume: &Volume, entry: &Entry) -> Self {
        let first = entry.first_cluster;
        let phase = if !entry.is_directory() {
            Phase::Refuse(Error::IsFile)
        } else if !volume.has_cluster(first) {
            Phase::Refuse(Error::FirstCluster {
                found: detail(first),
                last: detail(volume.last_cluster()),
            })
        } else {
            Phase::Cluster
        };
        Self {
            phase,
            chain: Chain::from(first),
            position: 0,
            asked: None,
            label: None,
        }
    }

    /// The volume's label, if the entries given so far were preceded by one: 11 bytes, padded with spaces. In the root only.
    #[must_use]
    pub const fn label(&self) -> Option<[u8; 11]> {
        self.label
    }

    /// Goes on to the next entry; `Ready(None)` after the last.
    ///
    /// Call with `None` first, and with the block after each `Read`. After `Ready(Some(_))` call with `None`, and the block that the
    /// entry was in is asked for once more; or with that same block, if it is still at hand, which spares the read.
    ///
    /// `long` gets the entry's long name; see [`LongName`].
    ///
    /// # Errors
    ///
    /// What is wrong with the directory's chain, or that it is too long. Entries given before stay valid.
    pub fn step(
        &mut self,
        volume: &Volume,
        block: Option<&Block>,
        mut long: Option<&mut LongName>,
    ) -> Result<Step<Option<Entry>>, Error> {
        let mut block = block;
        // Ends: each turn uses the block up, or asks for one.
        loop {
            let wanted = match self.phase {
                Phase::Refuse(error) => return Err(error),
                Phase::Done => {
                    if let Some(long) = long {
                        long.clear();
                    }
                    return Ok(Step::Ready(None));
                }
                Phase::Turn => {
                    match self.chain.advance(volume, block.take()) {
                        Ok(Step::Read(number)) => {
                            self.asked = None;
                            return Ok(Step::Read(number));
                        }
                        Ok(Step::Ready(None)) => self.phase = Phase::Done,
                        Ok(Step::Ready(Some(_))) if self.position >= MAX_DIRECTORY_ENTRIES => {
                            self.phase = Phase::Refuse(Error::DirectoryTooLong);
                        }
                        Ok(Step::Ready(Some(_))) => self.phase = Phase::Cluster,
                        Err(error) => self.phase = Phase::Refuse(error),
                    }
                    continue;
                }
                Phase::Fixed if self.position >= u32::from(volume.root_entries) => {
                    self.phase = Phase::Done;
                    continue;
                }
                Phase::Fixed => volume.root_first.wrapping_add(u64::from(self.position / PER_BLOCK)),
                Phase::Cluster => {
                    let mask = u32::from(volume.cluster_blocks).wrapping_sub(1);
                    let within = (self.position / PER_BLOCK) & mask;
                    volume
                        .cluster_first_block(self.chain.cluster())
                        .wrapping_add(u64::from(within))
                }
            };
            let Some(contents) = block.take().filter(|_| self.asked == Some(wanted)) else {
                self.asked = Some(wanted);
                return Ok(Step::Read(wanted));
            };
            if let Some(entry) = self.scan(volume, contents, long.as_deref_mut()) {
                return Ok(Step::Ready(Some(entry)));
            }
        }
    }

    /// Looks through the rest of a block for an entry to give.
    fn scan(&mut self, volume: &Volume, block: &Block, mut long: Option<&mut LongName>) -> Option<Entry> {
        let first = self.position % PER_BLOCK;
        for index in first..PER_BLOCK {
            if matches!(self.phase, Phase::Fixed) && self.position >= u32::from(volume.root_entries) {
                break;
            }
            let raw: [u8; 32] = array_at(block, index.wrapping_mul(32) as usize);
            if u8_at(&raw, 0) == 0 {
                self.phase = Phase::Done;
                break;
            }
            let position = self.position;
            self.pass(volume);
            if let Some(entry) = self.take(volume, &raw, position, long.as_deref_mut()) {
                return Some(entry);
            }
        }
        None
    }

    /// Moves past an entry, and out of the cluster after its last.
    fn pass(&mut self, volume: &Volume) {
        self.position = self.position.wrapping_add(1);
        let per_cluster = PER_BLOCK.wrapping_mul(u32::from(volume.cluster_blocks));
        // Entries per cluster are a power of two.
        if matches!(self.phase, Phase::Cluster) && self.position & per_cluster.wrapping_sub(1) == 0 {
            self.phase = Phase::Turn;
        }
    }

    fn take(&mut self, volume: &Volume, raw: &[u8; 32], position: u32, long: Option<&mut LongName>) -> Option<Entry> {
        let kind = u8_at(raw, 11) & 0x3F;
        let is_deleted = u8_at(raw, 0) == 0xE5;
        if !is_deleted && kind == attributes::LONG_NAME {
            if let Some(long) = long {
                long.piece(raw);
            }
            return None;
        }
        if is_deleted || kind & attributes::LABEL != 0 {
            if let Some(long) = long {
                long.clear();
            }
            if !is_deleted && self.label.is_none() {
                self.label = Some(array_at(raw, 0));
            }
            return None;
        }
        let entry = Entry::read(raw, volume.kind, position);
        if let Some(long) = long {
            long.settle(&entry.short.bytes);
        }
        Some(entry)
    }
}
