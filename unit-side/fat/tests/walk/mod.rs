//! Walks all of a stick and checks, at each step, what the reader promises on any input: no read outside the device or, once
//! mounted, the volume; no more reads than stated; a file whole, without a block twice, or an error.
//!
//! Shared by the tests of this crate, those of the stick images, and the fuzz target.

#![allow(dead_code, reason = "each of those uses its own part")]

use std::collections::HashSet;

use packstaff_fat::{Block, DataBlock, DeviceBlock, DirectoryReader, Entry, Error, LongName, Mount, Step, Volume};

/// A file or folder, and what came of reading it.
pub(crate) struct Walked {
    pub(crate) entry: Entry,
    pub(crate) long: Option<String>,
    /// The bytes of a file; nothing for a folder that could be listed.
    pub(crate) contents: Result<Vec<u8>, Error>,
}

/// What came of a stick.
pub(crate) struct Walk {
    pub(crate) volume: Volume,
    pub(crate) label: Option<[u8; 11]>,
    pub(crate) entries: Vec<Walked>,
    /// What stopped the listing of the root, if anything did.
    pub(crate) stopped: Option<Error>,
}

/// How much of a stick is walked, for inputs that claim to have very much on them.
#[derive(Clone, Copy)]
pub(crate) struct Limits {
    /// Files and folders that are read; all are listed.
    pub(crate) entries: usize,
    /// Steps of one file or folder; the rest of it is not looked at.
    pub(crate) steps: u64,
}

pub(crate) const ALL: Limits = Limits {
    entries: usize::MAX,
    steps: u64::MAX,
};

/// Mounts a device of so many blocks and reads all that is in its root, and the lists of the folders there.
pub(crate) fn walk(
    blocks: u64,
    device_block: DeviceBlock,
    limits: Limits,
    read: &mut dyn FnMut(u64) -> Block,
) -> Result<Walk, Error> {
    let volume = mount(blocks, device_block, read)?;
    assert!(
        volume.blocks() > 0 && volume.first_block() + volume.blocks() <= blocks,
        "volume outside the device"
    );
    let (found, stopped, label) = list(&volume, volume.root(), limits, read);
    let mut entries = Vec::new();
    for (entry, long) in found.into_iter().take(limits.entries) {
        let contents = if entry.is_directory() {
            let (_, stopped, _) = list(&volume, volume.directory(&entry), limits, read);
            stopped.map_or(Ok(Vec::new()), Err)
        } else {
            file(&volume, &entry, limits, read)
        };
        entries.push(Walked { entry, long, contents });
    }
    Ok(Walk {
        volume,
        label,
        entries,
        stopped,
    })
}

fn mount(blocks: u64, device_block: DeviceBlock, read: &mut dyn FnMut(u64) -> Block) -> Result<Volume, Error> {
    let mut mount = Mount::with_device_block(blocks, device_block);
    let mut held = None;
    for _ in 0..=Mount::MAX_READS {
        match mount.step(held.as_ref())? {
            Step::Read(number) => {
                assert!(number < blocks, "block {number} of a device of {blocks}");
                held = Some(read(number));
            }
            Step::Ready(volume) => return Ok(volume),
        }
    }
    panic!("mounting asks for more than {} blocks", Mount::MAX_READS);
}

type Found = Vec<(Entry, Option<String>)>;

/// Lists a directory twice: once with long names and handing the held block back after each entry, once without either. Both must
/// find the same.
fn list(
    volume: &Volume,
    reader: DirectoryReader,
    limits: Limits,
    read: &mut dyn FnMut(u64) -> Block,
) -> (Found, Option<Error>, Option<[u8; 11]>) {
    let thrifty = list_once(volume, reader, true, limits, read);
    if limits.steps == u64::MAX {
        let plain = list_once(volume, reader, false, limits, read);
        let entries = |found: &Found| found.iter().map(|found| found.0).collect::<Vec<_>>();
        assert_eq!(entries(&thrifty.0), entries(&plain.0));
        assert_eq!((thrifty.1, thrifty.2), (plain.1, plain.2));
    }
    thrifty
}

fn list_once(
    volume: &Volume,
    mut reader: DirectoryReader,
    thrifty: bool,
    limits: Limits,
    read: &mut dyn FnMut(u64) -> Block,
) -> (Found, Option<Error>, Option<[u8; 11]>) {
    let mut found = Found::new();
    let mut long = LongName::new();
    let mut held = None;
    let mut reads = 0;
    let mut steps = 0;
    let stopped = loop {
        steps += 1;
        if steps > limits.steps {
            break None;
        }
        match reader.step(volume, held.as_ref(), thrifty.then_some(&mut long)) {
            Ok(Step::Read(number)) => {
                reads += 1;
                check_within(volume, number);
                held = Some(read(number));
            }
            Ok(Step::Ready(None)) => break None,
            Ok(Step::Ready(Some(entry))) => {
                found.push((entry, (!long.is_empty()).then(|| long.chars().collect())));
                held = held.filter(|_| thrifty);
            }
            Err(error) => {
                assert_eq!(reader.step(volume, None, None), Err(error), "an error is the end");
                break Some(error);
            }
        }
    };
    assert!(reads <= volume.max_directory_reads(), "{reads} reads of a directory");
    (found, stopped, reader.label())
}

fn file(volume: &Volume, entry: &Entry, limits: Limits, read: &mut dyn FnMut(u64) -> Block) -> Result<Vec<u8>, Error> {
    let mut reader = volume.file(entry);
    let mut contents = Vec::new();
    let mut seen = HashSet::new();
    let mut held: Option<Block> = None;
    let mut reads = 0;
    let mut steps = 0;
    loop {
        steps += 1;
        if steps > limits.steps {
            return Ok(contents);
        }
        match reader.step(volume, held.take().as_ref())? {
            Step::Read(number) => {
                reads += 1;
                let fat = volume.fat_first_block();
                assert!(
                    (fat..fat + volume.fat_blocks()).contains(&number),
                    "block {number} is not of the FAT"
                );
                check_within(volume, number);
                held = Some(read(number));
            }
            Step::Ready(Some(DataBlock { block, len })) => {
                check_within(volume, block);
                assert!(
                    block >= volume.fat_first_block() + volume.fat_blocks(),
                    "block {block} is not data"
                );
                seen.insert(block);
                let is_last = reader.remaining() == 0;
                assert!(if is_last { (1..=512).contains(&len) } else { len == 512 });
                contents.extend(read(block).iter().take(len.into()));
            }
            Step::Ready(None) => break,
        }
        assert!(reads <= volume.max_file_reads(), "{reads} FAT blocks for a file");
    }
    assert_eq!(contents.len(), entry.size as usize, "a file that ends well is whole");
    assert_eq!(seen.len(), contents.len().div_ceil(512), "and has no block twice");
    Ok(contents)
}

fn check_within(volume: &Volume, block: u64) {
    let first = volume.first_block();
    assert!(
        (first..first + volume.blocks()).contains(&block),
        "block {block} is outside the volume"
    );
}
