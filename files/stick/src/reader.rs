//! Reading a stick on the host, with the unit's own code.

use std::fmt;

use packstaff_fat::{BLOCK, Block, DeviceBlock, Entry, Error, LongName, Mount, Step, Volume};

use crate::{BlockSource, ReadError};

/// A file or folder in the root of a stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// Its directory entry.
    pub entry: Entry,
    /// Its long name, if it has one. Never use it as a path.
    pub long: Option<String>,
}

impl Listed {
    /// Whether this is its name, long or short, without regard to case.
    #[must_use]
    pub fn is_named(&self, name: &str) -> bool {
        let is_long = self
            .long
            .as_ref()
            .is_some_and(|long| long.to_lowercase() == name.to_lowercase());
        is_long || self.entry.short.matches(name)
    }
}

impl fmt::Display for Listed {
    /// The name that a computer shows.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.long {
            Some(long) => f.write_str(long),
            None => self.entry.short.fmt(f),
        }
    }
}

/// What is in the root of a stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listing {
    /// The volume.
    pub volume: Volume,
    /// Its label, as the root has it.
    pub label: Option<String>,
    /// Files and folders, in the order in which they stand.
    pub entries: Vec<Listed>,
    /// What stopped the listing before the end of the root, if anything did.
    pub stopped: Option<Error>,
}

impl Listing {
    /// The file or folder of that name.
    ///
    /// # Errors
    ///
    /// If there is none.
    pub fn find(&self, name: &str) -> Result<&Listed, ReadError> {
        let found = self.entries.iter().find(|listed| listed.is_named(name));
        found.ok_or_else(|| ReadError::NotFound { name: name.to_owned() })
    }
}

/// Lists the root of a stick that has 512-byte blocks.
///
/// # Errors
///
/// If a block cannot be read or there is no volume. A root that is damaged further on is listed as far as it goes.
pub fn listing(source: impl BlockSource) -> Result<Listing, ReadError> {
    listing_with_device_block(source, DeviceBlock::B512)
}

/// Lists the root of a stick that reports blocks of another size.
///
/// # Errors
///
/// As [`listing`].
pub fn listing_with_device_block(
    mut source: impl BlockSource,
    device_block: DeviceBlock,
) -> Result<Listing, ReadError> {
    let mut mount = Mount::with_device_block(source.blocks(), device_block);
    let mut held = None;
    let volume = loop {
        match mount.step(held.as_ref())? {
            Step::Read(number) => held = Some(read(&mut source, number)?),
            Step::Ready(volume) => break volume,
        }
    };
    let mut root = volume.root();
    let mut long = LongName::new();
    let mut entries = Vec::new();
    let mut held = None;
    let stopped = loop {
        match root.step(&volume, held.as_ref(), Some(&mut long)) {
            Ok(Step::Read(number)) => held = Some(read(&mut source, number)?),
            Ok(Step::Ready(None)) => break None,
            Ok(Step::Ready(Some(entry))) => {
                let long = (!long.is_empty()).then(|| long.chars().collect());
                entries.push(Listed { entry, long });
            }
            Err(error) => break Some(error),
        }
    };
    let label = root.label().map(shown_label);
    Ok(Listing {
        volume,
        label,
        entries,
        stopped,
    })
}

/// Reads a whole file.
///
/// # Errors
///
/// If a block cannot be read or the file's chain is damaged.
pub fn read_file(mut source: impl BlockSource, volume: &Volume, entry: &Entry) -> Result<Vec<u8>, ReadError> {
    let mut file = volume.file(entry);
    // Grows as blocks arrive: the size that the entry claims may be as wild as it likes.
    let mut contents = Vec::new();
    let mut held = None;
    loop {
        match file.step(volume, held.take().as_ref())? {
            Step::Read(number) => held = Some(read(&mut source, number)?),
            Step::Ready(None) => return Ok(contents),
            Step::Ready(Some(data)) => {
                let block = read(&mut source, data.block)?;
                contents.extend_from_slice(&block[..usize::from(data.len).min(BLOCK)]);
            }
        }
    }
}

fn read(source: &mut impl BlockSource, block: u64) -> Result<Block, ReadError> {
    source.read(block).map_err(|source| ReadError::Read { block, source })
}

/// A label as people read it.
pub(crate) fn shown_label(label: [u8; 11]) -> String {
    label.map(shown).iter().collect::<String>().trim_end().to_owned()
}

/// A byte of a label; the code page of bytes outside ASCII is not known.
fn shown(byte: u8) -> char {
    match byte {
        b' '..=b'~' => char::from(byte),
        _ => '?',
    }
}
