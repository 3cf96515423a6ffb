//! Stick images: what the unit's own reader finds on them.

use super::{Description, update};
use packstaff_stick::{BlockSource, SeekSource, listing, read_file};
use packstaff_words::text::bytes;
use std::fs::File;

/// Largest file of a stick that is looked into.
const FILE_MAX: u32 = 16 << 20;
/// Bytes that are looked into in all: a crafted stick can list the same blocks as thousands of large files.
const ALL_MAX: u64 = 64 << 20;

/// Looks at an image, block by block; `None` if it has no boot sector or partition table at all.
pub(super) fn look(file: &mut File) -> Option<Description> {
    let mut source = SeekSource::new(file).ok()?;
    let first = source.read(0).ok()?;
    if first[510..] != [0x55, 0xaa] {
        return None;
    }
    let blocks = source.blocks();
    let listing = match listing(&mut source) {
        Ok(listing) => listing,
        Err(error) => {
            let mut description = Description::new("A stick image that a unit cannot read");
            description.line("size", bytes(blocks * 512));
            description.line("refused", error);
            return Some(description);
        }
    };
    let mut description = Description::new("A stick image");
    description.line("size", bytes(blocks * 512));
    description.line("format", format!("{:?}", listing.volume.kind()));
    description.line(
        "partition",
        listing
            .volume
            .slot()
            .map_or_else(|| "none".to_owned(), |slot| slot.to_string()),
    );
    if let Some(label) = &listing.label {
        description.line("label", label);
    }
    for listed in &listing.entries {
        let what = if listed.entry.is_directory() {
            "folder".to_owned()
        } else {
            bytes(u64::from(listed.entry.size))
        };
        description.line(&listed.to_string(), what);
    }
    if let Some(error) = listing.stopped {
        description.remark(format!("The listing stops here: {error}"));
    }
    let updates: Vec<_> = listing
        .entries
        .iter()
        .filter(|listed| !listed.entry.is_directory() && listed.entry.size <= FILE_MAX)
        .collect();
    let mut left = ALL_MAX;
    for listed in updates {
        let Some(rest) = left.checked_sub(u64::from(listed.entry.size)) else {
            description.remark(format!(
                "Only files of {} together were looked into: {listed} and those behind it were not.",
                bytes(ALL_MAX)
            ));
            break;
        };
        left = rest;
        let Ok(content) = read_file(&mut source, &listing.volume, &listed.entry) else {
            description.remark(format!("{listed} cannot be read"));
            continue;
        };
        if let Some(seen) = update::look(&content) {
            let version = seen
                .lines
                .iter()
                .find(|line| line.name == "version")
                .map_or("", |line| line.value.as_str());
            description.remark(format!("{listed}: {}, version {version}", seen.kind));
        }
    }
    Some(description)
}
