//! The update files that a rehearsal knows.

use super::error::RehearseError;
use crate::open::Bench;
use packstaff_product::Board;
use packstaff_product::ledger::{BoardRecord, Release};
use packstaff_rehearsal::claims::ReleasedImage as Image;

/// An update file and the image in it, as far as a rehearsal needs them.
#[derive(Clone, Debug)]
pub struct UpdateFile {
    /// The version's text.
    pub version: String,
    /// Its integers.
    pub numbers: Vec<u32>,
    /// The issue.
    pub issue: u64,
    /// The file's name.
    pub name: String,
    /// The file.
    pub bytes: Vec<u8>,
    /// Digest of the manifest.
    pub manifest: [u8; 32],
    /// The image in it.
    pub image: Image,
}

/// The ledger's files for a board: each version once, under its highest issue, older versions first.
///
/// # Errors
/// An archived file is not as it was recorded.
pub fn recorded_files(bench: &Bench, board: &Board) -> Result<Vec<UpdateFile>, RehearseError> {
    let mut files = Vec::<UpdateFile>::new();
    for release in bench.ledger.releases() {
        let Some(record) = release.record.board(&board.revision) else {
            continue;
        };
        // The ledger gives the issues of a version upward: the later takes the place of the earlier.
        files.retain(|file| file.version != release.record.version);
        files.push(recorded(release, record)?);
    }
    files.sort_by(|a, b| a.numbers.cmp(&b.numbers));
    Ok(files)
}

fn recorded(release: &Release, record: &BoardRecord) -> Result<UpdateFile, RehearseError> {
    let bytes = release.update_file(record).map_err(RehearseError::Archive)?;
    let image_size = u32::try_from(record.image_size).map_err(|_| RehearseError::ImageTooLong {
        file: record.file.clone(),
        bytes: record.image_size,
    })?;
    Ok(UpdateFile {
        version: release.record.version.clone(),
        numbers: release.record.numbers.as_slice().to_vec(),
        issue: release.record.issue,
        name: record.file.clone(),
        bytes,
        manifest: record.manifest_sha256,
        image: Image {
            image_size,
            image_digest: record.image_sha256,
        },
    })
}

/// The version that stands highest: of the highest issue, the newest.
pub(super) fn highest(files: &[UpdateFile]) -> Option<&UpdateFile> {
    files.iter().max_by_key(|file| (file.issue, &file.numbers))
}
