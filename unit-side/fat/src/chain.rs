//! Walking a chain of clusters through the FAT, forward only and in constant memory.
//!
//! One look at a FAT block follows the chain as long as it leads to the next cluster and stays in the block, so that a file in one
//! piece costs one read per block of FAT.
//!
//! Loops are found in two ways. An anchor is dropped at each power-of-two step; a chain in a loop meets it after about three times
//! the loop's length (R. P. Brent, "An improved Monte Carlo factorization algorithm", 1980; from memory). And a chain has no
//! more clusters than the volume, which bounds every walk for certain.

use crate::bytes::{u8_at, u16_at, u32_at};
use crate::detail::detail;
use crate::{BLOCK, Block, Error, Kind, Step, Volume};

/// What is known of the link that follows the known run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Link {
    /// Not looked at yet.
    Unread,
    /// The low byte of a FAT12 entry that straddles two blocks.
    Half(u8),
    To(u32),
    End,
    Free,
    Bad,
    Outside(u32),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Chain {
    cluster: u32,
    /// How many clusters are known to follow `cluster` without a gap.
    ahead: u32,
    /// What follows the last of them.
    link: Link,
    /// Whether a FAT block was asked for.
    asked: bool,
    anchor: u32,
    /// Steps between the last anchor and the next, and how many are done.
    lap: u32,
    stepped: u32,
}

impl Chain {
    /// A chain that begins at a cluster; the caller has checked that the volume has it.
    pub(crate) const fn from(first: u32) -> Self {
        Self {
            cluster: first,
            ahead: 0,
            link: Link::Unread,
            asked: false,
            anchor: first,
            lap: 1,
            stepped: 0,
        }
    }

    /// The cluster that the walk is at.
    pub(crate) const fn cluster(&self) -> u32 {
        self.cluster
    }

    /// Goes on to the next cluster; `None` at the end of the chain. A block is looked at only if it was asked for.
    pub(crate) fn advance(&mut self, volume: &Volume, block: Option<&Block>) -> Result<Step<Option<u32>>, Error> {
        if self.ahead == 0 && matches!(self.link, Link::Unread | Link::Half(_)) {
            let index = self.fat_block(volume.kind);
            match block.filter(|_| self.asked) {
                Some(block) => {
                    self.asked = false;
                    self.look(volume, index, block);
                }
                None => {
                    self.asked = true;
                    return Ok(Step::Read(volume.fat_first.wrapping_add(index)));
                }
            }
        }
        let cluster = self.cluster;
        if let Some(rest) = self.ahead.checked_sub(1) {
            self.ahead = rest;
            return self.arrive(volume, cluster.wrapping_add(1));
        }
        match self.link {
            Link::To(next) => {
                self.link = Link::Unread;
                self.arrive(volume, next)
            }
            Link::End => Ok(Step::Ready(None)),
            Link::Free => Err(Error::ChainFree {
                cluster: detail(cluster),
            }),
            Link::Bad => Err(Error::ChainBad {
                cluster: detail(cluster),
            }),
            Link::Outside(found) => Err(Error::ChainOutside {
                cluster: detail(cluster),
                found: detail(found),
                last: detail(volume.last_cluster()),
            }),
            // The second half of an entry that the look only began.
            Link::Unread | Link::Half(_) => {
                self.asked = true;
                Ok(Step::Read(volume.fat_first.wrapping_add(self.fat_block(volume.kind))))
            }
        }
    }

    fn arrive(&mut self, volume: &Volume, next: u32) -> Result<Step<Option<u32>>, Error> {
        self.stepped = self.stepped.saturating_add(1);
        // All laps before this one took lap - 1 steps together.
        let steps = self.lap.saturating_sub(1).saturating_add(self.stepped);
        if next == self.anchor || steps >= volume.clusters {
            return Err(Error::ChainLoop { cluster: detail(next) });
        }
        if self.stepped >= self.lap {
            self.anchor = next;
            self.lap = self.lap.saturating_mul(2);
            self.stepped = 0;
        }
        self.cluster = next;
        Ok(Step::Ready(Some(next)))
    }

    /// The FAT block that holds the entry of `cluster`, or the rest of it, counted from the FAT's first.
    fn fat_block(&self, kind: Kind) -> u64 {
        let (block, _) = locate(kind, self.cluster);
        match self.link {
            Link::Half(_) => block.wrapping_add(1),
            _ => block,
        }
    }

    /// Follows the chain within FAT block `index`, from `cluster` on.
    fn look(&mut self, volume: &Volume, index: u64, block: &Block) {
        let mut half = match self.link {
            Link::Half(low) => Some(low),
            _ => None,
        };
        let mut cluster = self.cluster;
        // Ends: each turn goes one entry on, and the block holds at most 342.
        self.link = loop {
            let (in_block, within) = locate(volume.kind, cluster);
            let value = match half.take() {
                Some(low) => fat12_value(cluster, u16::from_le_bytes([low, u8_at(block, 0)])),
                None if in_block != index => break Link::Unread,
                None => match volume.kind {
                    Kind::Fat12 if within == BLOCK - 1 => break Link::Half(u8_at(block, within)),
                    Kind::Fat12 => fat12_value(cluster, u16_at(block, within)),
                    Kind::Fat16 => u32::from(u16_at(block, within)),
                    Kind::Fat32 => u32_at(block, within) & 0x0FFF_FFFF,
                },
            };
            match classify(volume, value) {
                Link::To(next) if next == cluster.wrapping_add(1) => cluster = next,
                other => break other,
            }
        };
        self.ahead = cluster.wrapping_sub(self.cluster);
    }
}

/// Where an entry starts: block of the FAT, and byte within it (FAT specification, "FAT Data Structure").
fn locate(kind: Kind, cluster: u32) -> (u64, usize) {
    let n = u64::from(cluster);
    let offset = match kind {
        Kind::Fat12 => n.wrapping_add(n / 2),
        Kind::Fat16 => n.wrapping_mul(2),
        Kind::Fat32 => n.wrapping_mul(4),
    };
    (offset >> 9, (offset & 511) as usize)
}

fn fat12_value(cluster: u32, pair: u16) -> u32 {
    u32::from(if cluster & 1 == 1 { pair >> 4 } else { pair & 0x0FFF })
}

fn classify(volume: &Volume, value: u32) -> Link {
    let bad = volume.kind.bad_mark();
    match value {
        0 => Link::Free,
        _ if volume.has_cluster(value) => Link::To(value),
        _ if value == bad => Link::Bad,
        _ if value > bad => Link::End,
        _ => Link::Outside(value),
    }
}
