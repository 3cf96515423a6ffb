//! Files that are updates or look like them, wherever they come from.

use std::io::{Cursor, Read};

use packstaff_fat::{Volume, attributes};
use zip::ZipArchive;

use super::content::{Content, content};
use super::names;
use super::walk::{self, Owners, Tree};
use crate::BlockSource;

/// Largest file that is looked into as a whole. No update comes near.
pub(crate) const FILE_MAX: usize = 64 << 20;
/// Bytes that are looked into in all: a crafted stick can list the same blocks as thousands of files.
const ALL_MAX: usize = 256 << 20;
/// Entries of an archive that are looked at.
const ARCHIVE_MAX: usize = 1000;

/// A file that looks like an update.
#[derive(Clone, Debug)]
pub struct Seen {
    /// Folders and name, for showing only: never a path to open.
    pub path: String,
    /// The name alone.
    pub name: String,
    /// Bytes, as its entry says.
    pub size: u64,
    /// Whether it is at the top of the stick.
    pub is_at_top: bool,
    /// Whether it is in a desktop's bin.
    pub is_in_bin: bool,
    /// Whether it is marked as hidden or as the system's.
    pub is_hidden: bool,
    /// Why it cannot be read as a whole.
    pub broken: Option<packstaff_fat::Error>,
    /// Why the list of its clusters does not end where it does.
    pub goes_on: Option<packstaff_fat::Error>,
    /// Stretches of clusters that it lies in; 0 where that is not known.
    pub pieces: u32,
    /// Another file that has some of its clusters.
    pub shares_with: Option<String>,
    /// What it is.
    pub content: Content,
    /// Names of the updates in it, if it is a zip archive.
    pub packed_updates: Vec<String>,
    /// Its first bytes.
    pub start: Vec<u8>,
    pub(crate) bytes: Vec<u8>,
    pub(crate) position: Option<u32>,
}

impl Seen {
    /// Whether it is an update file that agrees with itself and can be read.
    #[must_use]
    pub const fn is_update(&self) -> bool {
        matches!(self.content, Content::Update(_)) && self.broken.is_none()
    }

    /// Whether it is that, and where a unit looks for it, under a name that a unit takes.
    #[must_use]
    pub fn is_good(&self, ending: &str) -> bool {
        self.is_update() && self.is_at_top && names::has_ending(&self.name, ending)
    }

    /// Whether it is the file with this place in its folder; see [`packstaff_fat::Entry::position`].
    #[must_use]
    pub fn is_entry(&self, position: u32) -> bool {
        self.position == Some(position)
    }

    /// Its bytes, as far as they can be read.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }
}

/// A file without a stick around it.
pub struct LooseFile {
    /// Folders above it, from the top.
    pub folders: Vec<String>,
    /// Its name.
    pub name: String,
    /// Bytes.
    pub size: u64,
    /// Gives its first bytes, at most so many; fewer if it cannot be read.
    pub read: Box<dyn FnMut(usize) -> Vec<u8>>,
}

/// What was gathered.
#[derive(Default)]
pub(crate) struct Gathered {
    pub(crate) files: Vec<Seen>,
    /// Names of what systems left at the top, and of what a repair left.
    pub(crate) leftovers: Vec<String>,
    pub(crate) repairs: Vec<String>,
    pub(crate) at_top: usize,
    pub(crate) owners: Owners,
    pub(crate) slack: u32,
    pub(crate) has_broken: bool,
    pub(crate) is_cut: bool,
}

/// What is known of a file before it is looked into.
struct Candidate<'a> {
    folders: &'a [String],
    name: String,
    size: u64,
    is_hidden: bool,
    position: Option<u32>,
}

impl Gathered {
    /// Looks into a file if it may be of interest; `read` gives its first bytes.
    fn take(
        &mut self,
        candidate: &Candidate<'_>,
        ending: &str,
        left: &mut usize,
        read: &mut dyn FnMut(usize) -> Vec<u8>,
    ) -> Option<usize> {
        let start = read(packstaff_fat::BLOCK);
        let is_like = names::is_like_an_update(&candidate.name, ending);
        let is_archive = start.starts_with(b"PK\x03\x04");
        if !is_like && !start.starts_with(&[0xD8, 0x6B]) && !is_archive {
            return None;
        }
        let most = FILE_MAX
            .min(*left)
            .min(usize::try_from(candidate.size).unwrap_or(usize::MAX));
        self.is_cut |= *left < FILE_MAX && most < usize::try_from(candidate.size).unwrap_or(usize::MAX);
        let bytes = read(most);
        *left = left.saturating_sub(bytes.len());
        let content = content(&bytes, candidate.size);
        let packed_updates = if content == Content::Zip {
            updates_in(&bytes, ending)
        } else {
            Vec::new()
        };
        // Archives of other things are none of our business.
        if !is_like && content == Content::Zip && packed_updates.is_empty() {
            return None;
        }
        let path = candidate.folders.iter().cloned().chain([candidate.name.clone()]);
        self.files.push(Seen {
            path: path.collect::<Vec<_>>().join("/"),
            name: candidate.name.clone(),
            size: candidate.size,
            is_at_top: candidate.folders.is_empty(),
            is_in_bin: candidate.folders.iter().any(|folder| names::is_bin(folder)),
            is_hidden: candidate.is_hidden,
            broken: None,
            goes_on: None,
            pieces: 0,
            shares_with: None,
            content,
            packed_updates,
            start: start.into_iter().take(16).collect(),
            bytes,
            position: candidate.position,
        });
        Some(self.files.len() - 1)
    }

    fn note_name(&mut self, name: &str) {
        self.at_top += 1;
        if names::is_leftover(name) {
            self.leftovers.push(name.to_owned());
        }
        if names::is_from_a_repair(name) {
            self.repairs.push(name.to_owned());
        }
    }
}

/// The files of a volume.
pub(crate) fn of_tree(source: &mut dyn BlockSource, volume: &Volume, tree: &Tree, ending: &str) -> Gathered {
    let mut gathered = Gathered::default();
    let mut left = ALL_MAX;
    let mut seen_of_node = vec![None; tree.nodes.len()];
    for (index, node) in tree.nodes.iter().enumerate() {
        let name = node.listed.to_string();
        let entry = &node.listed.entry;
        if node.folders.is_empty() {
            gathered.note_name(&name);
        }
        if entry.is_directory() {
            continue;
        }
        let candidate = Candidate {
            folders: &node.folders,
            name,
            size: entry.size.into(),
            is_hidden: entry.attributes & (attributes::HIDDEN | attributes::SYSTEM) != 0,
            position: Some(entry.position),
        };
        let mut read = |most| walk::contents(source, volume, entry, most);
        let seen = gathered.take(&candidate, ending, &mut left, &mut read);
        seen_of_node[index] = seen;
        let followed = gathered.owners.follow(source, volume, entry, index);
        let Ok(extents) = followed else {
            gathered.has_broken = true;
            continue;
        };
        gathered.slack = gathered.slack.saturating_add(extents.slack);
        gathered.has_broken |= extents.broken.is_some() || extents.goes_on.is_some();
        if let Some(seen) = seen.and_then(|at| gathered.files.get_mut(at)) {
            seen.broken = extents.broken;
            seen.goes_on = extents.goes_on;
            seen.pieces = extents.pieces;
        }
    }
    for (one, other) in gathered.owners.shared.clone() {
        for (this, that) in [(one, other), (other, one)] {
            let that = tree.nodes.get(that).map(walk::Node::path);
            let seen = seen_of_node.get(this).copied().flatten();
            if let Some(seen) = seen.and_then(|at| gathered.files.get_mut(at)) {
                seen.shares_with = that;
            }
        }
    }
    gathered
}

/// Files of a folder or an archive.
pub(crate) fn loose(files: Vec<LooseFile>, ending: &str) -> Gathered {
    let mut gathered = Gathered::default();
    let mut left = ALL_MAX;
    for mut file in files {
        if file.folders.is_empty() {
            gathered.note_name(&file.name);
        }
        let candidate = Candidate {
            folders: &file.folders,
            name: file.name.clone(),
            size: file.size,
            is_hidden: false,
            position: None,
        };
        gathered.take(&candidate, ending, &mut left, &mut file.read);
    }
    gathered
}

/// Names of the updates in a zip archive, by name or by contents.
fn updates_in(bytes: &[u8], ending: &str) -> Vec<String> {
    let Ok(mut archive) = ZipArchive::new(Cursor::new(bytes)) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for index in 0..archive.len().min(ARCHIVE_MAX) {
        let Ok(entry) = archive.by_index(index) else {
            continue;
        };
        let Ok(name) = entry.name().map(std::borrow::Cow::into_owned) else {
            continue;
        };
        let mut start = Vec::new();
        // Only its first bytes: what is packed may unfold to very much more.
        let _ = entry.take(2).read_to_end(&mut start);
        let last = name.rsplit('/').next().unwrap_or(&name);
        if !last.starts_with("._") && (names::is_like_an_update(last, ending) || start == [0xD8, 0x6B]) {
            found.push(name);
        }
    }
    found
}
