//! The update files and sticks of a session.

use super::Options;
use crate::finding::Finding;
use crate::identity::{Update, anchor};
use packstaff_envelope::HeaderReader;
use packstaff_rehearsal::sticks::insert;
use packstaff_stick::StickSpec;
use packstaff_unit::stick::Stick;

pub(super) const FIRST: [u32; 2] = [2, 0];
pub(super) const LATER: [u32; 2] = [2, 1];
pub(super) const OLDER: [u32; 2] = [1, 8];

/// The update files and sticks of a session.
pub(super) struct Files {
    pub(super) options: Options,
    pub(super) len: u32,
}

impl Files {
    pub(super) fn of(&self, version: [u32; 2], issue: u64) -> Update {
        Update::new(version, issue, self.len)
    }
}

pub(super) fn file(update: &Update) -> Result<Vec<u8>, Finding> {
    update.file().map_err(|error| Finding::Judge(error.to_string()))
}

pub(super) fn stick_with(files: &[(&str, &[u8])]) -> Result<Stick, Finding> {
    let stamp = packstaff_fat::Calendar {
        year: 2026,
        month: 1,
        day: 2,
        hour: 3,
        minute: 4,
        second: 6,
    };
    let spec = StickSpec {
        kind: packstaff_fat::Kind::Fat16,
        size: 16 << 20,
        cluster: None,
        ..StickSpec::usual(0x5eed_0001, stamp)
    };
    let spec = files
        .iter()
        .fold(spec, |spec, (name, contents)| spec.with_file(*name, *contents));
    let image = packstaff_stick::build(&spec).map_err(|error| Finding::Judge(error.to_string()))?;
    Ok(insert(image))
}

pub(super) fn manifest(file: &[u8]) -> Result<[u8; 32], Finding> {
    let mut header = HeaderReader::new(file.len() as u32);
    let read = header.feed(file).and_then(|_| header.verify(&[anchor()]));
    read.map(|manifest| manifest.digest)
        .map_err(|refusal| Finding::Judge(refusal.to_string()))
}

/// A stick on which a block of the file does not read.
pub(super) struct Scratched(pub(super) Stick, pub(super) u64);

impl packstaff_unit::stick::Blocks for Scratched {
    fn blocks(&self) -> u64 {
        self.0.blocks()
    }

    fn block(&self, number: u64) -> Option<packstaff_fat::Block> {
        self.0.block(number).filter(|_| number != self.1)
    }
}
