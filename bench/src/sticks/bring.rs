//! A stick is brought to where it is needed: a file for its image, a folder, or a whole device. Whatever is made is read back.

use super::MakeError;
use crate::EXTENSION;
use packstaff_fat::{DeviceBlock, Kind};
use packstaff_stick::deliver::{Delivered, Permit, SameName, deliver, erase_and_write, other_updates};
use packstaff_stick::{StickFile, StickImage, StickSpec, build, listing_with_device_block, read_file};
use std::path::Path;

/// A stick that was made, as the unit's reader reads it back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// Bytes of all of it.
    pub bytes: u64,
    /// Its form of FAT.
    pub kind: Kind,
    /// Whether its volume stands in a partition.
    pub is_partitioned: bool,
    /// Clusters of its volume.
    pub clusters: u32,
    /// Bytes of a cluster.
    pub cluster_bytes: u32,
    /// Its label.
    pub label: Option<String>,
    /// Name and bytes of each file.
    pub files: Vec<(String, usize)>,
}

/// A folder that files were brought to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Filled {
    /// What was done.
    pub delivered: Delivered,
    /// Names of updates that were in the folder before; units show them too.
    pub other_updates: Vec<String>,
}

/// Makes the image of a stick, reads it back, and writes it to a file.
///
/// # Errors
/// The stick cannot be laid out, or something other than a file is in that place, or it cannot be written.
pub fn to_image(spec: &StickSpec, out: &Path) -> Result<Made, MakeError> {
    let image = build(spec).map_err(MakeError::Layout)?;
    if out.exists() && !out.is_file() {
        return Err(MakeError::NoOrdinaryFile(out.to_owned()));
    }
    let made = read_back(&image, &spec.files, spec.sector)?;
    image.write_to(out).map_err(MakeError::Write)?;
    Ok(made)
}

/// Erases a device and writes a stick onto it.
///
/// # Errors
/// The stick cannot be laid out: nothing has changed then. Or writing or reading back fails.
pub fn onto_device(spec: &StickSpec, permit: Permit) -> Result<Made, MakeError> {
    let image = build(spec).map_err(MakeError::Layout)?;
    erase_and_write(permit, &image)?;
    read_back(&image, &spec.files, spec.sector)
}

/// Copies files into the folder of a mounted stick, or any other.
///
/// # Errors
/// As [`deliver`]; or the folder cannot be listed.
pub fn into_folder(folder: &Path, files: &[StickFile], same_name: SameName) -> Result<Filled, MakeError> {
    let delivered = deliver(folder, files, same_name)?;
    let names: Vec<_> = files.iter().map(|file| file.name.as_str()).collect();
    let other_updates = other_updates(folder, &names, EXTENSION).map_err(|error| MakeError::Unlisted {
        path: folder.to_owned(),
        error,
    })?;
    Ok(Filled {
        delivered,
        other_updates,
    })
}

fn read_back(image: &StickImage, files: &[StickFile], block: DeviceBlock) -> Result<Made, MakeError> {
    let listing = listing_with_device_block(image, block)?;
    let volume = &listing.volume;
    for file in files {
        let listed = listing.find(&file.name)?;
        if read_file(image, volume, &listed.entry)? != file.contents {
            return Err(MakeError::Differs(file.name.clone()));
        }
    }
    Ok(Made {
        bytes: image.size(),
        kind: volume.kind(),
        is_partitioned: volume.slot().is_some(),
        clusters: volume.clusters(),
        cluster_bytes: volume.cluster_size(),
        label: listing.label,
        files: files
            .iter()
            .map(|file| (file.name.clone(), file.contents.len()))
            .collect(),
    })
}
