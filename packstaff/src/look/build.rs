//! Builds: ELF, Intel HEX, S-record.

use super::Description;
use packstaff_image::{Format, ReadOptions, recognise};
use packstaff_words::text::{bytes, hex};

pub(super) fn look(file: &[u8]) -> Option<Description> {
    let format = recognise(file);
    if format == Format::Raw {
        return None;
    }
    let build = match packstaff_image::read(file, &ReadOptions::default()) {
        Ok(build) => build,
        Err(error) => {
            let mut description = Description::new(format!("A build ({format}) that cannot be used"));
            description.line("refused", error);
            return Some(description);
        }
    };
    let mut description = Description::new(format!("A build ({format})"));
    for segment in build.segments() {
        let end = segment.end();
        description.line(
            "bytes",
            format!(
                "{:#010x} to {:#010x}, {}",
                segment.address,
                end,
                bytes(segment.data.len() as u64)
            ),
        );
    }
    if let Some(entry) = build.entry() {
        description.line("entry", format!("{entry:#010x}"));
    }
    if let Some(machine) = build.machine() {
        description.line("machine", machine);
    }
    if let Some([stack, reset]) = build.segments().first().and_then(|segment| words(&segment.data)) {
        description.line(
            "first word",
            format!("{stack:#010x}: for a Cortex-M, the stack's start"),
        );
        description.line(
            "second word",
            format!("{reset:#010x}: for a Cortex-M, the reset vector"),
        );
    }
    description.line("SHA-256 of the bytes", hex(&build.digest()));
    for note in build.notes() {
        description.remark(note.to_string());
    }
    Some(description)
}

fn words(data: &[u8]) -> Option<[u32; 2]> {
    let (first, rest) = data.split_first_chunk::<4>()?;
    Some([u32::from_le_bytes(*first), u32::from_le_bytes(*rest.first_chunk()?)])
}
