//! What goes onto a stick, and how it is laid out.

use super::MakeError;
use crate::Bench;
use crate::stick_spec::{self, README};
use packstaff_fat::{DeviceBlock, Kind};
use packstaff_product::{Date, Version};
use packstaff_stick::deliver::DeviceFacts;
use packstaff_stick::{StickFile, StickSpec};

/// Smallest sticks that become FAT16 and FAT32, if nothing else is asked for. Where the forms of FAT meet, systems differ by a
/// little: each form is taken well within what is its own.
const LEAST_FAT16: u64 = 8 << 20;
const LEAST_FAT32: u64 = StickSpec::USUAL_SIZE;
/// Largest stick with the usual clusters.
const LARGEST_USUAL: u64 = 8 << 30;

/// Where the volume stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Division {
    /// In a partition.
    #[default]
    Partition,
    /// All over the stick, without a partition table.
    WholeStick,
}

/// How a stick is to be formatted; what is left out is chosen.
#[derive(Clone, Debug)]
pub struct Shape {
    /// Bytes of the whole stick.
    pub size: Option<u64>,
    /// The form of FAT.
    pub kind: Option<Kind>,
    /// Where the volume stands.
    pub division: Division,
    /// Bytes of a cluster.
    pub cluster: Option<u64>,
    /// Bytes of a sector: 512, 1024, 2048 or 4096.
    pub sector: u64,
    /// The label.
    pub label: Option<String>,
}

impl Default for Shape {
    fn default() -> Self {
        Self {
            size: None,
            kind: None,
            division: Division::default(),
            cluster: None,
            sector: 512,
            label: None,
        }
    }
}

impl Shape {
    /// The same, of the size and with the sectors of a device.
    #[must_use]
    pub fn of_device(self, device: &DeviceFacts) -> Self {
        let sector = u64::from(device.block);
        Self {
            size: Some(device.size / sector * sector),
            sector,
            ..self
        }
    }
}

/// A recorded version that goes onto a stick.
#[derive(Clone, Debug)]
pub struct StickVersion {
    /// The version.
    pub version: Version,
    /// When it was released.
    pub date: Date,
    /// Its files.
    pub files: Vec<UpdateFile>,
}

/// A recorded update file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UpdateFile {
    /// The board revision that it is for.
    pub board: String,
    /// Its name.
    pub name: String,
    /// All of it.
    pub contents: Vec<u8>,
}

/// Finds the recorded files of versions, of all boards if none is named: the newest version first, as it stands first in a
/// unit's list.
///
/// # Errors
/// A version was never released, or none of its files is for those boards.
pub fn recorded(bench: &Bench, versions: &[String], boards: &[String]) -> Result<Vec<StickVersion>, MakeError> {
    for board in boards {
        bench.board(board)?;
    }
    let mut all: Vec<StickVersion> = Vec::new();
    for text in versions {
        let version = bench.version(text)?;
        if all.iter().any(|earlier| earlier.version.text() == version.text()) {
            return Err(MakeError::NamedTwice(version.to_string()));
        }
        all.push(recorded_version(bench, version, boards)?);
    }
    all.sort_by(|one, other| other.version.numbers().as_slice().cmp(one.version.numbers().as_slice()));
    Ok(all)
}

fn recorded_version(bench: &Bench, version: Version, boards: &[String]) -> Result<StickVersion, MakeError> {
    let release = bench
        .ledger
        .latest_issue_of(version.text())
        .ok_or_else(|| MakeError::NotReleased(version.to_string()))?;
    let is_wanted = |revision: &String| boards.is_empty() || boards.contains(revision);
    let mut files = Vec::new();
    for board in release.record.boards.iter().filter(|board| is_wanted(&board.revision)) {
        files.push(UpdateFile {
            board: board.revision.clone(),
            name: board.file.clone(),
            contents: release.update_file(board)?,
        });
    }
    if files.is_empty() {
        return Err(MakeError::NotForBoards {
            version: version.to_string(),
            boards: boards.join(", "),
        });
    }
    Ok(StickVersion {
        version,
        date: release.record.date,
        files,
    })
}

/// The files for the stick, with a short text for owners, if there is one.
pub fn files(versions: &[StickVersion], readme: Option<String>) -> Vec<StickFile> {
    let updates = versions.iter().flat_map(|held| &held.files).map(|file| StickFile {
        name: file.name.clone(),
        contents: file.contents.clone(),
    });
    let readme = readme.map(|text| StickFile {
        name: README.to_owned(),
        contents: text.into_bytes(),
    });
    updates.chain(readme).collect()
}

/// How the stick is laid out: by what was asked for, and else by what most units and computers read. `short` is the product's
/// short name, for the label.
///
/// # Errors
/// A sector or cluster size cannot be, or there is no version.
pub fn spec(
    short: &str,
    versions: &[StickVersion],
    shape: &Shape,
    files: Vec<StickFile>,
) -> Result<StickSpec, MakeError> {
    let numbers: Vec<u32> = versions
        .iter()
        .flat_map(|held| held.version.numbers().as_slice().to_vec())
        .collect();
    let date = versions.iter().map(|held| held.date).max();
    let usual = stick_spec::for_release(short, &numbers, date.ok_or(MakeError::NoVersion)?);
    let sector = u32::try_from(shape.sector).ok().and_then(DeviceBlock::from_bytes);
    let sector = sector.ok_or(MakeError::Sector(shape.sector))?;
    let size = shape.size.unwrap_or(match shape.kind {
        Some(Kind::Fat12) => 4 << 20,
        Some(Kind::Fat16) => 64 << 20,
        Some(Kind::Fat32) | None => StickSpec::USUAL_SIZE,
    });
    let kind = shape.kind.unwrap_or(match size {
        0..LEAST_FAT16 => Kind::Fat12,
        LEAST_FAT16..LEAST_FAT32 => Kind::Fat16,
        LEAST_FAT32.. => Kind::Fat32,
    });
    let is_usual = kind == Kind::Fat32 && size <= LARGEST_USUAL && sector == DeviceBlock::B512 && shape.kind.is_none();
    let cluster = match shape.cluster {
        Some(bytes) => Some(u32::try_from(bytes).map_err(|_| MakeError::Cluster(bytes))?),
        None if is_usual => usual.cluster,
        None => None,
    };
    Ok(StickSpec {
        kind,
        size,
        partitioned: shape.division == Division::Partition,
        sector,
        cluster,
        label: shape.label.clone().or(usual.label.clone()),
        files,
        ..usual
    })
}
