//! Builds: ELF, Intel HEX, S-record.

use super::Description;
use packstaff_image::{Format, ReadOptions, recognise};

pub(super) fn look(file: &[u8]) -> Option<Description> {
    let format = recognise(file);
    if format == Format::Raw {
        return None;
    }
    Some(match packstaff_image::read(file, &ReadOptions::default()) {
        Ok(build) => Description::Build {
            first_words: build.segments().first().and_then(|segment| words(&segment.data)),
            build: Box::new(build),
        },
        Err(error) => Description::UnusableBuild { format, error },
    })
}

fn words(data: &[u8]) -> Option<[u32; 2]> {
    let (first, rest) = data.split_first_chunk::<4>()?;
    Some([u32::from_le_bytes(*first), u32::from_le_bytes(*rest.first_chunk()?)])
}
