//! A whole stick, erased and written. Nothing gets here but by a [`Permit`], and that only words give.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};

use packstaff_fat::BLOCK;

use super::settle;
use super::system::{DeviceFacts, DeviceRefusal};
use crate::StickImage;

/// Bytes that are written and read at a time.
const STRIDE: usize = 1 << 20;
/// What is wiped at the end of a stick: the second copy of a GUID partition table lies there (UEFI 5.3.2: 33 blocks or more).
const TAIL: u64 = 1 << 20;

/// Leave to erase one device, given in words that name it.
#[derive(Debug)]
pub struct Permit {
    facts: DeviceFacts,
}

/// The words that must be said to have a device erased. They name it and its size, so that they cannot be meant for another one, and
/// cannot be typed by habit.
#[must_use]
pub fn words(facts: &DeviceFacts) -> String {
    format!("erase all {} bytes of {}", facts.size, facts.name)
}

impl Permit {
    /// Takes the words.
    ///
    /// # Errors
    /// They are not exactly those of [`words`].
    pub fn by_words(facts: DeviceFacts, said: &str) -> Result<Self, DeviceRefusal> {
        let words = words(&facts);
        if said == words {
            return Ok(Self { facts });
        }
        Err(DeviceRefusal::Words {
            name: facts.name,
            model: facts.model,
            words,
        })
    }

    /// The device.
    #[must_use]
    pub const fn facts(&self) -> &DeviceFacts {
        &self.facts
    }
}

/// Erases the device's tables and directories, writes the image, and reads all of it back. The first block is written last: until
/// then the stick is one without a format.
///
/// # Errors
/// The image is for another size, or writing or reading back fails.
pub fn erase_and_write(permit: Permit, image: &StickImage) -> Result<(), DeviceRefusal> {
    let facts = &permit.facts;
    let name = || facts.name.clone();
    if image.size() > facts.size || image.size() + (8 << 20) < facts.size {
        return Err(DeviceRefusal::OtherSize {
            name: name(),
            image: image.size(),
            device: facts.size,
        });
    }
    let closed = |why: io::Error| DeviceRefusal::Closed {
        name: name(),
        why: why.to_string(),
    };
    let mut device = open(facts).map_err(closed)?;
    // What the system said may be of a stick that has been changed for another since.
    let size = device.seek(SeekFrom::End(0)).map_err(closed)?;
    if size != facts.size {
        return Err(DeviceRefusal::OtherSize {
            name: name(),
            image: image.size(),
            device: size,
        });
    }
    let failed = |why: io::Error| DeviceRefusal::Failed {
        name: name(),
        why: why.to_string(),
    };
    write(&mut device, image, size).map_err(failed)?;
    match difference(&mut device, image).map_err(failed)? {
        None => Ok(()),
        Some(byte) => Err(DeviceRefusal::Differs { name: name(), byte }),
    }
}

fn open(facts: &DeviceFacts) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true).write(true);
    // Linux does not open a block device in this way while any of it is mounted (open(2), O_EXCL).
    #[cfg(target_os = "linux")]
    if !facts.is_pretended {
        use std::os::unix::fs::OpenOptionsExt;
        options.custom_flags(rustix::fs::OFlags::EXCL.bits() as i32);
    }
    options.open(&facts.path)
}

fn write(device: &mut File, image: &StickImage, size: u64) -> io::Result<()> {
    let zeros = vec![0; STRIDE];
    let wipe = |device: &mut File, mut at: u64, end: u64| {
        device.seek(SeekFrom::Start(at))?;
        while at < end {
            let len = STRIDE.min(usize::try_from(end - at).unwrap_or(STRIDE));
            device.write_all(&zeros[..len])?;
            at += len as u64;
        }
        io::Result::Ok(())
    };
    wipe(device, 0, image.system_bytes().min(size))?;
    wipe(
        device,
        size.saturating_sub(TAIL).max(image.system_bytes()).min(size),
        size,
    )?;
    for (start, bytes) in image.stretches() {
        // The first block comes last.
        let skip = if start == 0 { BLOCK.min(bytes.len()) } else { 0 };
        device.seek(SeekFrom::Start(start + skip as u64))?;
        device.write_all(&bytes[skip..])?;
    }
    device.sync_all()?;
    device.seek(SeekFrom::Start(0))?;
    device.write_all(&image.read_block(0))?;
    settle(device)
}

/// The first byte of the first stretch of blocks that is not what it should be.
fn difference(device: &mut File, image: &StickImage) -> io::Result<Option<u64>> {
    let mut compare = |start: u64, end: u64| {
        let mut at = start;
        device.seek(SeekFrom::Start(at))?;
        while at < end {
            let len = STRIDE.min(usize::try_from(end - at).unwrap_or(STRIDE));
            let mut there = vec![0; len];
            device.read_exact(&mut there)?;
            for (index, block) in there.chunks(BLOCK).enumerate() {
                let number = at / BLOCK as u64 + index as u64;
                let due = image.read_block(number);
                if due.get(..block.len()) != Some(block) {
                    return io::Result::Ok(Some(number * BLOCK as u64));
                }
            }
            at += len as u64;
        }
        Ok(None)
    };
    if let Some(byte) = compare(0, image.system_bytes())? {
        return Ok(Some(byte));
    }
    for (start, bytes) in image.stretches() {
        if let Some(byte) = compare(start, start + bytes.len() as u64)? {
            return Ok(Some(byte));
        }
    }
    Ok(None)
}
