//! What the system knows of a device, and every reason not to erase it.
//!
//! Linux says all of it in files: `/sys/class/block` (kernel documentation, `ABI/stable/sysfs-block`), `/proc/self/mountinfo` and
//! `/proc/swaps` (proc(5)). Tests put other files in their place.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

/// The smallest stick that is written to, and the largest: beyond that, a device is more likely somebody's disk.
const SMALLEST: u64 = 1 << 20;
const LARGEST: u64 = 256_000_000_000;

/// Where the system's files are.
#[derive(Clone, Debug)]
pub struct System {
    dev: PathBuf,
    sys: PathBuf,
    proc: PathBuf,
    /// Ordinary files stand for devices.
    is_pretended: bool,
}

impl Default for System {
    fn default() -> Self {
        Self {
            dev: "/dev".into(),
            sys: "/sys/class/block".into(),
            proc: "/proc".into(),
            is_pretended: false,
        }
    }
}

/// What is known of a device.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceFacts {
    /// Its name, such as `sdb`.
    pub name: String,
    /// Where it is.
    pub path: PathBuf,
    /// Its bytes.
    pub size: u64,
    /// Bytes of its blocks.
    pub block: u32,
    /// What it calls itself.
    pub model: String,
    pub(crate) is_pretended: bool,
}

/// Why a device is not erased.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DeviceRefusal {
    /// There is no such device.
    #[error("{} is no block device; name the whole stick, such as /dev/sdb", .0.display())]
    NoDevice(PathBuf),
    /// The system tells nothing about it.
    #[error("the system tells nothing about {0}, so that it cannot be known to be a stick")]
    Unknown(String),
    /// It is a part of a device.
    #[error("{0} is one partition; name the whole stick")]
    Partition(String),
    /// It is made of other devices.
    #[error("{0} is no stick: it stands for other devices or for a file")]
    Virtual(String),
    /// It cannot be written to.
    #[error("{0} is read-only; if the stick has a switch, move it")]
    ReadOnly(String),
    /// It is a built-in disk.
    #[error("{0} is not removable by what the system says; only removable sticks are erased")]
    NotRemovable(String),
    /// It has an unlikely size.
    #[error(
        "{name} has {size} bytes; sticks of {SMALLEST} to {LARGEST} bytes are erased. Too small is no stick, too large may be somebody's disk"
    )]
    Size {
        /// Its name.
        name: String,
        /// Its bytes.
        size: u64,
    },
    /// Its blocks have a size that no volume can have.
    #[error("{name} has blocks of {block} bytes; 512 to 4096 are read by units")]
    Block {
        /// Its name.
        name: String,
        /// Bytes of its blocks.
        block: u64,
    },
    /// It is in use.
    #[error("{name} is in use: {what}. Unmount it first, and see that it is the right one")]
    InUse {
        /// Its name.
        name: String,
        /// By what.
        what: String,
    },
    /// It was not asked for in words.
    #[error(
        "{name} ({model}) would be erased with all that is on it, and that was not asked for in words. If that is what you want, say exactly: --yes-erase \"{words}\""
    )]
    Words {
        /// Its name.
        name: String,
        /// What it calls itself.
        model: String,
        /// The words.
        words: String,
    },
    /// The image does not suit it.
    #[error("the image has {image} bytes, and {name} has {device}; make it for this stick")]
    OtherSize {
        /// Its name.
        name: String,
        /// Bytes of the image.
        image: u64,
        /// Bytes of the device.
        device: u64,
    },
    /// Writing or reading back failed.
    #[error("{name} could not be written: {why}. What was on it is lost, and what is on it now must not be used")]
    Failed {
        /// Its name.
        name: String,
        /// Why.
        why: String,
    },
    /// It could not be opened: nothing was changed.
    #[error("{name} cannot be opened for writing: {why}. Nothing was changed")]
    Closed {
        /// Its name.
        name: String,
        /// Why.
        why: String,
    },
    /// What was read back is not what was written.
    #[error("{name} reads back differently at byte {byte}: take another stick")]
    Differs {
        /// Its name.
        name: String,
        /// The first byte of the first block that differs.
        byte: u64,
    },
}

impl System {
    /// A system in a folder, for trying this out: `dev`, `sys` and `proc` below it, and ordinary files for devices.
    #[must_use]
    pub fn pretended(root: &Path) -> Self {
        Self {
            dev: root.join("dev"),
            sys: root.join("sys"),
            proc: root.join("proc"),
            is_pretended: true,
        }
    }

    /// What is known of a device, if it is one that may be erased at all.
    ///
    /// # Errors
    /// Every reason against it but the owner's own: that, only words can take away.
    pub fn stick(&self, path: &Path) -> Result<DeviceFacts, DeviceRefusal> {
        let no_device = || DeviceRefusal::NoDevice(path.to_owned());
        // Names such as those below /dev/disk lead to the one that the system's files use.
        let real = path.canonicalize().map_err(|_| no_device())?;
        let dev = self.dev.canonicalize().map_err(|_| no_device())?;
        let name = real
            .file_name()
            .and_then(OsStr::to_str)
            .ok_or_else(no_device)?
            .to_owned();
        if real.parent() != Some(&dev) || !self.is_device(&real) {
            return Err(no_device());
        }
        let about = self.sys.join(&name);
        if !about.is_dir() {
            return Err(DeviceRefusal::Unknown(name));
        }
        if about.join("partition").exists() {
            return Err(DeviceRefusal::Partition(name));
        }
        // What has no device below it is a loop, a mapping, an array, or memory.
        if !about.join("device").exists() {
            return Err(DeviceRefusal::Virtual(name));
        }
        if number(&about.join("ro")) != Some(0) {
            return Err(DeviceRefusal::ReadOnly(name));
        }
        if number(&about.join("removable")) != Some(1) {
            return Err(DeviceRefusal::NotRemovable(name));
        }
        // Sectors of 512 bytes, whatever the device's own.
        let size = number(&about.join("size")).unwrap_or(0).saturating_mul(512);
        if !(SMALLEST..=LARGEST).contains(&size) {
            return Err(DeviceRefusal::Size { name, size });
        }
        let block = number(&about.join("queue/logical_block_size")).unwrap_or(0);
        let Some(block) = u32::try_from(block)
            .ok()
            .filter(|size| matches!(size, 512 | 1024 | 2048 | 4096))
        else {
            return Err(DeviceRefusal::Block { name, block });
        };
        if let Some(what) = self.use_of(&name, &about) {
            return Err(DeviceRefusal::InUse { name, what });
        }
        let word = |file: &str| fs::read_to_string(about.join("device").join(file)).unwrap_or_default();
        let model = format!("{} {}", word("vendor").trim(), word("model").trim())
            .trim()
            .to_owned();
        let model = if model.is_empty() {
            "a stick without a name".to_owned()
        } else {
            model
        };
        Ok(DeviceFacts {
            path: real,
            size,
            block,
            model,
            is_pretended: self.is_pretended,
            name,
        })
    }

    #[cfg(unix)]
    fn is_device(&self, path: &Path) -> bool {
        use std::os::unix::fs::FileTypeExt;
        fs::metadata(path).is_ok_and(|metadata| self.is_pretended || metadata.file_type().is_block_device())
    }

    #[cfg(not(unix))]
    fn is_device(&self, path: &Path) -> bool {
        self.is_pretended && path.exists()
    }

    /// What a device, or a part of it, is used for.
    fn use_of(&self, name: &str, about: &Path) -> Option<String> {
        let mut parts = vec![(name.to_owned(), about.to_owned())];
        // An unreadable folder tells nothing: then nothing is known to be free.
        let Ok(entries) = fs::read_dir(about) else {
            return Some("its parts cannot be listed".to_owned());
        };
        for entry in entries.flatten() {
            if entry.path().join("partition").exists() {
                parts.push((entry.file_name().to_string_lossy().into_owned(), entry.path()));
            }
        }
        let Ok(mounts) = fs::read_to_string(self.proc.join("self/mountinfo")) else {
            return Some("what is mounted cannot be read".to_owned());
        };
        let swaps = fs::read_to_string(self.proc.join("swaps")).unwrap_or_default();
        for (part, about) in &parts {
            let number = fs::read_to_string(about.join("dev")).unwrap_or_default();
            let number = number.trim();
            if number.is_empty() {
                return Some(format!("the number of {part} is not known"));
            }
            // Fields: id, parent, major:minor, root, place; behind " - " the type and the source (proc(5)). Some file systems
            // have numbers of their own, so the source counts as well.
            let source = self.dev.join(part);
            for line in mounts.lines() {
                let mut fields = line.split(' ').skip(2);
                let (found, place) = (fields.next(), fields.nth(1).unwrap_or("?"));
                let from = line.split_once(" - ").and_then(|(_, rest)| rest.split(' ').nth(1));
                if found == Some(number) || from.is_some_and(|from| Path::new(from) == source) {
                    return Some(format!("{part} is mounted at {place}"));
                }
            }
            let is_swap = |line: &str| {
                line.split_whitespace()
                    .next()
                    .is_some_and(|from| Path::new(from) == source)
            };
            if swaps.lines().any(is_swap) {
                return Some(format!("{part} is used as memory"));
            }
            if let Some(Ok(holder)) = fs::read_dir(about.join("holders"))
                .ok()
                .and_then(|mut holders| holders.next())
            {
                return Some(format!("{part} belongs to {}", holder.file_name().to_string_lossy()));
            }
        }
        None
    }
}

fn number(path: &Path) -> Option<u64> {
    fs::read_to_string(path).ok()?.trim().parse().ok()
}
