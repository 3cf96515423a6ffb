//! Where records lie in the memory.

use super::DumpError;
use super::record::{Copy, seal};
use crate::layout::{Keeping, Layout};

/// Bytes of an image at most.
pub const LARGEST_IMAGE: u64 = 16 << 20;

/// Records that `keeper` keeps.
pub(super) fn records(_layout: &Layout, _dump: &[u8]) -> Vec<Copy> {
    Vec::new()
}

/// An image of the settings memory with this record in it, sealed. What is not written is 0xFF, as in a new part. With two
/// copies or more, each is there, the last with the highest generation. `size` is the memory's, in bytes; without one, the image
/// ends where the last copy does.
///
/// # Errors
/// The record has another size, or the image does not fit.
pub fn image(layout: &Layout, record: &[u8], generation: u64, size: Option<u64>) -> Result<Vec<u8>, DumpError> {
    if record.len() != layout.record.size as usize {
        return Err(DumpError::RecordSize {
            found: record.len(),
            expected: layout.record.size,
        });
    }
    let starts = match &layout.memory.keeping {
        Keeping::Copies(starts) => starts.clone(),
        Keeping::Keeper(regions) => regions.iter().map(|region| region.start()).collect(),
    };
    let ends = starts
        .iter()
        .map(|start| u64::from(*start) + u64::from(layout.record.size));
    let needed = ends.max().unwrap_or(0);
    let size = size.unwrap_or(needed);
    if needed > size || size > LARGEST_IMAGE {
        return Err(DumpError::ImageSize {
            needed,
            size: size.min(LARGEST_IMAGE),
        });
    }
    let mut image = vec![0xff; usize::try_from(size).unwrap_or(0)];
    for (number, start) in (generation..).zip(starts) {
        let mut copy = record.to_vec();
        seal(layout, &mut copy, number);
        if let Some(room) = image
            .get_mut(start as usize..)
            .and_then(|rest| rest.get_mut(..copy.len()))
        {
            room.copy_from_slice(&copy);
        }
    }
    Ok(image)
}
