//! Opens a whole update file on the host, with the code that the unit runs.

use crate::cipher::PayloadCipher;
use crate::header::{Fed, HeaderReader};
use crate::keys::{Anchor, UnitKey};
use crate::manifest::Manifest;
use crate::refusal::Refusal;
use crate::sha256::{same_digest, sha256};
use alloc::vec::Vec;

/// An update file that was verified and decrypted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Opened {
    /// What the manifest says.
    pub manifest: Manifest,
    /// The image in the clear.
    pub image: Vec<u8>,
}

/// Does with a whole file what a unit does: verifies it, decrypts it, and checks both digests.
///
/// # Errors
/// The refusal that a unit with these keys would give.
pub fn open(file: &[u8], anchors: &[Anchor], key: &UnitKey) -> Result<Opened, Refusal> {
    let header = read_header(file)?;
    let manifest = header.verify(anchors)?;
    let payload = payload_of(file, manifest.payload_offset);
    if !same_digest(&sha256(payload), &manifest.payload_digest) {
        return Err(Refusal::PayloadDigest);
    }
    let content_key = header.content_key(key)?;
    let mut image = payload.to_vec();
    PayloadCipher::new(&content_key, &manifest.iv).apply(0, &mut image);
    if !same_digest(&sha256(&image), &manifest.image_digest) {
        return Err(Refusal::ImageDigest);
    }
    Ok(Opened { manifest, image })
}

/// Reads the header of a whole file.
pub(crate) fn read_header(file: &[u8]) -> Result<HeaderReader, Refusal> {
    let size = u32::try_from(file.len()).map_err(|_| Refusal::TooLarge)?;
    let mut header = HeaderReader::new(size);
    match header.feed(file)? {
        Fed::Complete => Ok(header),
        Fed::More => Err(Refusal::Truncated),
    }
}

pub(crate) fn payload_of(file: &[u8], offset: u32) -> &[u8] {
    usize::try_from(offset)
        .ok()
        .and_then(|offset| file.get(offset..))
        .unwrap_or_default()
}
