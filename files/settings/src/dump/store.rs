//! Where records lie in the memory.

use super::DumpError;
use super::record::{Copy, Flaw, examine, part, seal};
use crate::layout::{Keeping, Layout};
use packstaff_document::Range;
use packstaff_keeper::{FRAME, HEAD, Head, is_newer};
use std::cmp::Ordering;

/// Bytes of an image at most.
pub const LARGEST_IMAGE: u64 = 16 << 20;

/// Records that `keeper` keeps, the oldest first. They lie at distances that depend on the memory's pages, which a layout file does
/// not tell; but each head has a check value of its own, so heads are looked for at every byte.
pub(super) fn records(layout: &Layout, regions: &[Range], dump: &[u8]) -> Vec<Copy> {
    let mut found = Vec::new();
    for region in regions {
        let end = dump.len().min(usize::try_from(region.end()).unwrap_or(usize::MAX));
        let mut at = region.start() as usize;
        while at < end {
            let Some(head) = dump.get(at..).and_then(Head::decode) else {
                at += 1;
                continue;
            };
            found.extend(record(layout, head, at, dump.get(at..end).unwrap_or_default()));
            at += HEAD;
        }
    }
    found.sort_by(|one, other| by_turn(one.generation, other.generation));
    found
}

/// Turns go round, so they are no numbers to compare by size.
pub(super) fn by_turn(one: Option<u64>, other: Option<u64>) -> Ordering {
    let turn = |generation: Option<u64>| generation.and_then(|turn| u32::try_from(turn).ok());
    match (turn(one), turn(other)) {
        (Some(one), Some(other)) if is_newer(one, other) => Ordering::Greater,
        (Some(one), Some(other)) if is_newer(other, one) => Ordering::Less,
        (one, other) => one.is_some().cmp(&other.is_some()),
    }
}

fn record(layout: &Layout, head: Head, at: usize, bytes: &[u8]) -> Option<Copy> {
    let payload = bytes.get(HEAD..)?;
    let payload = payload.get(..usize::from(head.len)).unwrap_or(payload);
    let address = u32::try_from(at).ok()?;
    let mut copy = examine(layout, Some(address), payload);
    copy.generation = Some(u64::from(head.turn));
    if head.layout != layout.number || u32::from(head.len) != layout.record.size {
        // Another version's, or one that was kept aside: its bytes mean nothing in this layout.
        copy.proven.clear();
        copy.flaws = vec![Flaw::Constant {
            path: "the layout number".to_owned(),
            found: u64::from(head.layout),
            expected: u64::from(layout.number),
        }];
        return Some(copy);
    }
    let behind = u32::from(head.len) + HEAD as u32;
    if let Some(stored) = part(bytes, behind, 4).and_then(<[u8]>::first_chunk::<4>) {
        let (found, expected) = (u32::from_le_bytes(*stored), head.seal(payload));
        if found == expected {
            copy.proven.push(0..layout.record.size);
        } else {
            copy.flaws.push(Flaw::Crc {
                path: "the record's check value".to_owned(),
                found,
                expected,
                whole: true,
            });
        }
    } else if payload.len() == usize::from(head.len) {
        copy.flaws.push(Flaw::Cut {
            found: bytes.len(),
            expected: layout.record.size + FRAME as u32,
        });
    }
    Some(copy)
}

/// An image of the settings memory with this record in it, sealed. What is not written is 0xFF, as in a new part. With two
/// copies or more, each is there, the last with the highest generation; `keeper` gets one record, at the beginning of its first
/// region, as it has it in memories that are written byte by byte. `size` is the memory's, in bytes; without one, the image ends
/// where the last record does.
///
/// # Errors
/// The record has another size, or the image does not fit.
pub fn image(layout: &Layout, record: &[u8], generation: u32, size: Option<u64>) -> Result<Vec<u8>, DumpError> {
    if record.len() != layout.record.size as usize {
        return Err(DumpError::RecordSize {
            found: record.len(),
            expected: layout.record.size,
        });
    }
    let sealed = |generation: u32| {
        let mut copy = record.to_vec();
        seal(layout, &mut copy, u64::from(generation));
        copy
    };
    let pieces: Vec<(u32, Vec<u8>)> = match &layout.memory.keeping {
        Keeping::Copies(starts) => (generation..)
            .zip(starts)
            .map(|(generation, start)| (*start, sealed(generation)))
            .collect(),
        Keeping::Keeper(regions) => {
            let head = Head {
                turn: generation.max(1),
                sure: 0,
                layout: layout.number,
                len: u16::try_from(record.len()).unwrap_or(u16::MAX),
            };
            let payload = sealed(generation);
            let bytes = [&head.encode()[..], &payload, &head.seal(&payload).to_le_bytes()].concat();
            regions
                .iter()
                .take(1)
                .map(|region| (region.start(), bytes.clone()))
                .collect()
        }
    };
    let ends = pieces
        .iter()
        .map(|(start, bytes)| u64::from(*start) + bytes.len() as u64);
    let needed = ends.max().unwrap_or(0);
    let size = size.unwrap_or(needed);
    if needed > size || size > LARGEST_IMAGE {
        return Err(DumpError::ImageSize {
            needed,
            size: size.min(LARGEST_IMAGE),
        });
    }
    let mut image = vec![0xff; usize::try_from(size).unwrap_or(0)];
    for (start, bytes) in pieces {
        if let Some(room) = image
            .get_mut(start as usize..)
            .and_then(|rest| rest.get_mut(..bytes.len()))
        {
            room.copy_from_slice(&bytes);
        }
    }
    Ok(image)
}
