//! Everything on a FAT volume: all folders, deleted entries, and which clusters each file has. All of it through the unit's own
//! reader; only what that passes over (deleted entries) is looked at here.

use std::collections::{HashMap, HashSet, VecDeque};

use packstaff_fat::{BLOCK, Block, DirectoryReader, Entry, Error, LongName, Stamp, Step, Volume};

use crate::reader::Listed;
use crate::{BlockSource, ReadError};

/// Entries that are looked at in all.
const ENTRIES_MAX: usize = 20_000;
/// Folders within folders.
const DEPTH_MAX: usize = 24;
/// Clusters that are followed in all; a file of 4 GiB in clusters of 4 KiB has a million.
const CLUSTERS_MAX: usize = 2 << 20;

/// A file or folder, and where it is.
#[derive(Clone, Debug)]
pub(crate) struct Node {
    /// Folders above it, from the top; none for what is at the top.
    pub(crate) folders: Vec<String>,
    pub(crate) listed: Listed,
}

impl Node {
    pub(crate) fn path(&self) -> String {
        let names = self.folders.iter().cloned().chain([self.listed.to_string()]);
        names.collect::<Vec<_>>().join("/")
    }
}

/// What is left of a deleted file.
#[derive(Clone, Debug)]
pub(crate) struct Deleted {
    pub(crate) folders: Vec<String>,
    /// Its short name; the first character is lost.
    pub(crate) name: String,
    pub(crate) size: u32,
    pub(crate) written: Stamp,
}

/// All that is on a volume.
#[derive(Debug, Default)]
pub(crate) struct Tree {
    pub(crate) nodes: Vec<Node>,
    pub(crate) deleted: Vec<Deleted>,
    /// Folders whose listing stopped, and why; the root's path is empty.
    pub(crate) stopped: Vec<(String, Error)>,
    /// Whether there is more than was looked at.
    pub(crate) is_cut: bool,
    pub(crate) label: Option<String>,
    /// First blocks of the clusters that folders have.
    pub(crate) folder_clusters: HashSet<u64>,
    pub(crate) unreadable: Option<u64>,
    /// Folders that lead to where another one led before.
    pub(crate) met_again: Vec<String>,
}

/// Walks all folders, from the top down.
pub(crate) fn tree(source: &mut dyn BlockSource, volume: &Volume) -> Tree {
    let mut tree = Tree::default();
    let mut visited = HashSet::new();
    let mut waiting = VecDeque::from([(Vec::new(), volume.root())]);
    while let Some((folders, reader)) = waiting.pop_front() {
        let first = tree.nodes.len();
        folder(source, volume, reader, &folders, &mut tree);
        for node in &tree.nodes[first..] {
            let entry = &node.listed.entry;
            if !entry.is_directory() || entry.is_dot() {
                continue;
            }
            if !visited.insert(entry.first_cluster) {
                tree.met_again.push(node.path());
                continue;
            }
            if folders.len() >= DEPTH_MAX {
                tree.is_cut = true;
                continue;
            }
            let mut below = folders.clone();
            below.push(node.listed.to_string());
            waiting.push_back((below, volume.directory(entry)));
        }
        if tree.nodes.len() >= ENTRIES_MAX {
            tree.is_cut |= !waiting.is_empty();
            break;
        }
    }
    tree.nodes.retain(|node| !node.listed.entry.is_dot());
    tree
}

fn folder(
    source: &mut dyn BlockSource,
    volume: &Volume,
    mut reader: DirectoryReader,
    folders: &[String],
    tree: &mut Tree,
) {
    let table = volume.fat_first_block()..volume.fat_first_block() + volume.fat_blocks();
    let mut long = LongName::new();
    let mut held: Option<Block> = None;
    let mut has_ended = false;
    let stop = |tree: &mut Tree, error| tree.stopped.push((folders.join("/"), error));
    loop {
        match reader.step(volume, held.as_ref(), Some(&mut long)) {
            Ok(Step::Read(number)) => {
                let Ok(block) = source.read(number) else {
                    tree.unreadable = tree.unreadable.or(Some(number));
                    return;
                };
                if !table.contains(&number) {
                    tree.folder_clusters.insert(number);
                    has_ended = has_ended || leftovers(&block, folders, tree);
                }
                held = Some(block);
            }
            Ok(Step::Ready(None)) => break,
            Ok(Step::Ready(Some(entry))) => {
                if tree.nodes.len() >= ENTRIES_MAX {
                    tree.is_cut = true;
                    break;
                }
                let long = (!long.is_empty()).then(|| long.chars().collect());
                tree.nodes.push(Node {
                    folders: folders.to_vec(),
                    listed: Listed { entry, long },
                });
            }
            Err(error) => {
                stop(tree, error);
                break;
            }
        }
    }
    if folders.is_empty() {
        tree.label = reader.label().map(crate::reader::shown_label);
    }
}

/// Notes the deleted entries of a block; `true` if the folder ends in it. What they mean is the FAT specification's ("FAT Directory
/// Structure"): a first byte of E5.
fn leftovers(block: &Block, folders: &[String], tree: &mut Tree) -> bool {
    for raw in block.chunks_exact(32) {
        match raw[0] {
            0 => return true,
            0xE5 if raw[11] & 0x3F != packstaff_fat::attributes::LONG_NAME && raw[11] & 0x18 == 0 => {
                let mut bytes = [b' '; 11];
                bytes.copy_from_slice(&raw[..11]);
                bytes[0] = b'?';
                tree.deleted.push(Deleted {
                    folders: folders.to_vec(),
                    name: packstaff_fat::ShortName { bytes, case: 0 }.to_string(),
                    size: u32::from_le_bytes([raw[28], raw[29], raw[30], raw[31]]),
                    written: Stamp {
                        time: u16::from_le_bytes([raw[22], raw[23]]),
                        date: u16::from_le_bytes([raw[24], raw[25]]),
                    },
                });
            }
            _ => {}
        }
    }
    false
}

/// Which clusters a file has, and how it went.
#[derive(Clone, Debug)]
pub(crate) struct Extents {
    /// Stretches of neighbouring clusters.
    pub(crate) pieces: u32,
    /// The problem that keeps some of the file's bytes from being read.
    pub(crate) broken: Option<Error>,
    /// A problem behind the file's last byte.
    pub(crate) goes_on: Option<Error>,
    /// Clusters behind the file's end.
    pub(crate) slack: u32,
}

/// Who has which cluster, by its first block.
#[derive(Debug, Default)]
pub(crate) struct Owners {
    owners: HashMap<u64, usize>,
    /// Pairs of files that share a cluster.
    pub(crate) shared: Vec<(usize, usize)>,
    /// Whether there were too many clusters to follow them all.
    pub(crate) is_cut: bool,
    followed: usize,
}

impl Owners {
    /// Follows the chain of file `index` without reading its contents.
    pub(crate) fn follow(
        &mut self,
        source: &mut dyn BlockSource,
        volume: &Volume,
        entry: &Entry,
        index: usize,
    ) -> Result<Extents, ReadError> {
        let mut file = volume.file(entry);
        let mut extents = Extents {
            pieces: 0,
            broken: None,
            goes_on: None,
            slack: 0,
        };
        let step = u64::from(volume.cluster_blocks());
        let mut within = 0;
        let mut expected = None;
        let mut held = None;
        loop {
            match file.step(volume, held.take().as_ref()) {
                Ok(Step::Read(block)) => {
                    held = Some(source.read(block).map_err(|source| ReadError::Read { block, source })?);
                }
                Ok(Step::Ready(Some(data))) => {
                    // Blocks come in order: the first of each cluster, then the rest of it.
                    if within == 0 {
                        // Thousands of names may lead to the same clusters.
                        if self.followed >= CLUSTERS_MAX {
                            self.is_cut = true;
                            return Ok(extents);
                        }
                        self.followed += 1;
                        extents.pieces += u32::from(expected != Some(data.block));
                        expected = Some(data.block + step);
                        if let Some(&other) = self.owners.get(&data.block) {
                            if other != index && !self.shared.contains(&(other, index)) && self.shared.len() < 100 {
                                self.shared.push((other, index));
                            }
                        } else {
                            self.owners.insert(data.block, index);
                        }
                    }
                    within = (within + 1) % step;
                }
                Ok(Step::Ready(None)) => break,
                Err(error) if entry.size > 0 && file.remaining() == 0 => {
                    extents.goes_on = Some(error);
                    break;
                }
                Err(error) => {
                    extents.broken = Some(error);
                    break;
                }
            }
        }
        extents.slack = file.slack();
        Ok(extents)
    }

    pub(crate) fn has(&self, first_block: u64) -> bool {
        self.owners.contains_key(&first_block)
    }
}

/// Reads a file, or as much of it as there is before something goes wrong.
pub(crate) fn contents(source: &mut dyn BlockSource, volume: &Volume, entry: &Entry, most: usize) -> Vec<u8> {
    let mut file = volume.file(entry);
    let mut bytes = Vec::new();
    let mut held = None;
    while bytes.len() < most {
        match file.step(volume, held.take().as_ref()) {
            Ok(Step::Read(number)) => match source.read(number) {
                Ok(block) => held = Some(block),
                Err(_) => break,
            },
            Ok(Step::Ready(Some(data))) => match source.read(data.block) {
                Ok(block) => bytes.extend_from_slice(&block[..usize::from(data.len).min(BLOCK)]),
                Err(_) => break,
            },
            Ok(Step::Ready(None)) | Err(_) => break,
        }
    }
    bytes.truncate(most);
    bytes
}
