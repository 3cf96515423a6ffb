//! Stick images: what the unit's own reader finds on them.

use super::{Description, update};
use packstaff_fat::Kind;
use packstaff_stick::{BlockSource, Listed, Listing, SeekSource, listing, read_file};
use std::fs::File;

/// Largest file of a stick that is looked into.
const FILE_MAX: u32 = 16 << 20;
/// Bytes that are looked into in all: a crafted stick can list the same blocks as thousands of large files.
const ALL_MAX: u64 = 64 << 20;

/// What is on a stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StickSeen {
    /// Bytes of the whole image.
    pub bytes: u64,
    /// The form of FAT.
    pub kind: Kind,
    /// The partition that the volume is in, from 0; `None` if it fills the stick.
    pub partition: Option<u8>,
    /// Its label.
    pub label: Option<String>,
    /// Files and folders at the top, in the order in which they stand.
    pub entries: Vec<Listed>,
    /// What stopped the listing before its end.
    pub stopped: Option<packstaff_fat::Error>,
    /// The files of interest among those that were looked into.
    pub held: Vec<HeldFile>,
    /// The first file that was not looked into, because those before it were many.
    pub not_looked_into: Option<String>,
}

impl StickSeen {
    /// Bytes of files that are looked into in all.
    pub const LOOKED_INTO_MAX: u64 = ALL_MAX;
}

/// A file of interest on a stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeldFile {
    /// Its name.
    pub name: String,
    /// What it is.
    pub held: Held,
}

/// What a file on a stick is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Held {
    /// An update file, whose signature nobody checked.
    Update {
        /// Its version.
        version: String,
    },
    /// An update file that cannot be read.
    DamagedUpdate,
    /// The stick does not give all of it.
    Unreadable,
}

/// Looks at an image, block by block; `None` if it has no boot sector or partition table at all.
pub(super) fn look(file: &mut File) -> Option<Description> {
    let mut source = SeekSource::new(file).ok()?;
    let first = source.read(0).ok()?;
    if first[510..] != [0x55, 0xaa] {
        return None;
    }
    let bytes = source.blocks() * 512;
    let listing = match listing(&mut source) {
        Ok(listing) => listing,
        Err(error) => return Some(Description::UnreadableStick { bytes, error }),
    };
    let (held, not_looked_into) = held(&mut source, &listing);
    Some(Description::Stick(Box::new(StickSeen {
        bytes,
        kind: listing.volume.kind(),
        partition: listing.volume.slot(),
        label: listing.label,
        entries: listing.entries,
        stopped: listing.stopped,
        held,
        not_looked_into,
    })))
}

/// Files of interest, and the first that there was no more time for.
fn held(source: &mut dyn BlockSource, listing: &Listing) -> (Vec<HeldFile>, Option<String>) {
    let is_candidate = |listed: &&Listed| !listed.entry.is_directory() && listed.entry.size <= FILE_MAX;
    let mut held = Vec::new();
    let mut left = ALL_MAX;
    for listed in listing.entries.iter().filter(is_candidate) {
        let Some(rest) = left.checked_sub(u64::from(listed.entry.size)) else {
            return (held, Some(listed.to_string()));
        };
        left = rest;
        let found = match read_file(&mut *source, &listing.volume, &listed.entry) {
            Err(_) => Some(Held::Unreadable),
            Ok(content) => update(&content).map(|seen| match seen {
                Description::Update { seen, .. } => Held::Update {
                    version: seen.version.to_string(),
                },
                _ => Held::DamagedUpdate,
            }),
        };
        held.extend(found.map(|found| HeldFile {
            name: listed.to_string(),
            held: found,
        }));
    }
    (held, None)
}
