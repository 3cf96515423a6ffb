//! The last step: a release is recorded, and its folder written.

use super::error::{PublishError, ReportError};
use super::folder::{self, REPORT, SHEET, STICK};
use super::record::LAYOUT;
use super::{Finished, Packed};
use crate::open::Bench;
use packstaff_product::ledger::Appended;
use std::path::{Path, PathBuf};

/// A release that is recorded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Published {
    /// Whether the ledger had it already.
    pub recorded: Appended,
    /// The files of its folder.
    pub files: Vec<PathBuf>,
}

impl Finished {
    /// Records the release in the ledger, and writes its folder: update files, sheet, report and stick image. The folder appears
    /// whole or not at all; an earlier release in its place is replaced.
    ///
    /// `report` makes the folder's report once it is known what was recorded and which files there will be.
    ///
    /// # Errors
    /// A check does not hold, or the ledger has another release of this version and issue, or something else stands in the
    /// folder's place: nothing is then recorded or written. Or the report cannot be made, or the folder cannot be written: the release is then recorded, and
    /// releasing it again writes the folder.
    pub fn publish(
        &self,
        bench: &mut Bench,
        folder: &Path,
        report: impl FnOnce(&Published) -> Result<String, ReportError>,
    ) -> Result<Published, PublishError> {
        let version = self.made.examined.edition.version.text();
        if !self.holds() {
            return Err(PublishError::Refused {
                version: version.to_owned(),
            });
        }
        folder::may_replace(folder)?;
        let updates = || self.made.packed().map(named);
        let layout = self.made.layout.as_deref().map(|content| (LAYOUT, content));
        let archived: Vec<_> = updates().chain(layout).collect();
        let recorded = bench.ledger.append(&self.made.record, &archived)?;

        let names = updates().map(|(name, _)| name).chain([SHEET, REPORT, STICK]);
        let published = Published {
            recorded,
            files: names.map(|name| folder.join(name)).collect(),
        };
        let report = report(&published).map_err(PublishError::Report)?;
        let texts = [(SHEET, self.texts.sheet.as_bytes()), (REPORT, report.as_bytes())];
        let files: Vec<_> = updates().chain(texts).collect();
        folder::write(folder, &files, &self.stick)?;
        Ok(published)
    }
}

fn named(packed: &Packed) -> (&str, &[u8]) {
    (&packed.name, &packed.file)
}
