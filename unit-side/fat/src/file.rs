//! Reading a file, block by block.

use crate::chain::Chain;
use crate::detail::detail;
use crate::{BLOCK, Block, Entry, Error, Step, Volume};

/// A block of the device that holds bytes of the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct DataBlock {
    /// Number of the block.
    pub block: u64,
    /// How many of its first bytes are the file's: 1 to 512, and 512 for all but the last.
    pub len: u16,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Phase {
    Start {
        is_directory: bool,
    },
    /// Within a cluster, at this block of it.
    Cluster {
        index: u16,
    },
    /// All bytes are given; the chain must still be seen to end.
    Tail,
    Done,
    Refuse(Error),
}

/// Gives the data blocks of a file in order, and asks for FAT blocks as it needs them.
///
/// It ends with `Ready(None)` only after all bytes that the directory entry claims were given *and* the chain was seen to end. Until
/// then the blocks given are not known to be a whole file: a chain that loops is found before the end, not at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct FileReader {
    phase: Phase,
    chain: Chain,
    size: u32,
    remaining: u32,
    slack: u32,
}

impl FileReader {
    pub(crate) const fn new(entry: &Entry) -> Self {
        Self {
            phase: Phase::Start {
                is_directory: entry.is_directory(),
            },
            chain: Chain::from(entry.first_cluster),
            size: entry.size,
            remaining: entry.size,
            slack: 0,
        }
    }

    /// Bytes of the file, as its directory entry says.
    #[must_use]
    pub const fn size(&self) -> u32 {
        self.size
    }

    /// Bytes that were not given yet.
    #[must_use]
    pub const fn remaining(&self) -> u32 {
        self.remaining
    }

    /// Clusters at the end of the chain that the file does not need, as far as they were seen. Harmless, but not usual.
    #[must_use]
    pub const fn slack(&self) -> u32 {
        self.slack
    }

    /// Goes on to the next data block; `Ready(None)` after the last.
    ///
    /// Call with `None` first and after each `Ready`, and with the block after each `Read`. The data blocks themselves are for the
    /// caller to read; they are never passed in.
    ///
    /// # Errors
    ///
    /// What is wrong with the entry or its chain. After an error the reader gives the same error again.
    pub fn step(&mut self, volume: &Volume, block: Option<&Block>) -> Result<Step<Option<DataBlock>>, Error> {
        let result = self.go(volume, block);
        if let Err(error) = result {
            self.phase = Phase::Refuse(error);
        }
        result
    }

    fn go(&mut self, volume: &Volume, mut block: Option<&Block>) -> Result<Step<Option<DataBlock>>, Error> {
        // Ends: a turn gives, asks, or uses up one cluster of the run that a single FAT block told of.
        loop {
            match self.phase {
                Phase::Refuse(error) => return Err(error),
                Phase::Done => return Ok(Step::Ready(None)),
                Phase::Start { is_directory: true } => return Err(Error::IsDirectory),
                Phase::Start { is_directory: false } => self.start(volume)?,
                Phase::Cluster { index } if index < volume.cluster_blocks => {
                    let len = self.remaining.min(BLOCK as u32);
                    self.remaining = self.remaining.wrapping_sub(len);
                    self.phase = if self.remaining == 0 {
                        Phase::Tail
                    } else {
                        Phase::Cluster {
                            index: index.wrapping_add(1),
                        }
                    };
                    let first = volume.cluster_first_block(self.chain.cluster());
                    let data = DataBlock {
                        block: first.wrapping_add(u64::from(index)),
                        len: len as u16,
                    };
                    return Ok(Step::Ready(Some(data)));
                }
                Phase::Cluster { .. } => match self.chain.advance(volume, block.take())? {
                    Step::Read(number) => return Ok(Step::Read(number)),
                    Step::Ready(Some(_)) => self.phase = Phase::Cluster { index: 0 },
                    Step::Ready(None) => {
                        return Err(Error::ChainShort {
                            missing: detail(self.remaining),
                        });
                    }
                },
                Phase::Tail => match self.chain.advance(volume, block.take())? {
                    Step::Read(number) => return Ok(Step::Read(number)),
                    Step::Ready(Some(_)) => self.slack = self.slack.saturating_add(1),
                    Step::Ready(None) => self.phase = Phase::Done,
                },
            }
        }
    }

    fn start(&mut self, volume: &Volume) -> Result<(), Error> {
        if self.size == 0 {
            self.phase = Phase::Done;
            return Ok(());
        }
        let found = self.chain.cluster();
        if !volume.has_cluster(found) {
            return Err(Error::FirstCluster {
                found: detail(found),
                last: detail(volume.last_cluster()),
            });
        }
        if u64::from(self.size) > volume.data_bytes() {
            return Err(Error::FileTooLarge {
                size: detail(self.size),
            });
        }
        self.phase = Phase::Cluster { index: 0 };
        Ok(())
    }
}
