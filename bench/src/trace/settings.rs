//! A dump of the settings memory: as which version's layout it reads, and whether it is whole.

use super::TraceError;
use crate::Bench;
use crate::settings::of_version;
use packstaff_settings::dump::{Flaw, LARGEST_IMAGE, copies};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// What a dump of the settings memory says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingsSeen {
    /// Versions whose records are in it, the oldest first; none: it holds no record of any version.
    pub versions: Vec<KeptAs>,
    /// Versions without a layout: nothing can be said of them.
    pub without_layout: Vec<String>,
}

/// Records of one version.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptAs {
    /// The version.
    pub version: String,
    /// Records at the places where this version keeps them.
    pub records: Vec<RecordKept>,
}

/// One record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordKept {
    /// Where it begins.
    pub address: Option<u32>,
    /// What does not hold of it; nothing, if it is whole.
    pub flaws: Vec<Flaw>,
}

impl RecordKept {
    /// Whether all of it holds.
    pub const fn is_whole(&self) -> bool {
        self.flaws.is_empty()
    }
}

impl SettingsSeen {
    /// Versions of which at least one record is whole.
    pub fn whole(&self) -> impl Iterator<Item = &str> {
        let whole = self
            .versions
            .iter()
            .filter(|kept| kept.records.iter().any(RecordKept::is_whole));
        whole.map(|kept| kept.version.as_str())
    }
}

/// Looks at a dump.
///
/// # Errors
/// It cannot be read, or a version's layout is wrong.
pub(super) fn seen(bench: &Bench, path: &Path) -> Result<SettingsSeen, TraceError> {
    let dump = read(path)?;
    let mut seen = SettingsSeen {
        versions: Vec::new(),
        without_layout: Vec::new(),
    };
    for version in &bench.product.versions.list {
        let Some(described) = of_version(bench, version.text())? else {
            seen.without_layout.push(version.text().to_owned());
            continue;
        };
        let found = copies(&described.layout, &dump);
        // A record that is another layout's, or blank, says nothing of this one.
        if found.iter().any(|copy| !copy.is_foreign()) {
            let records = found.into_iter().map(|copy| RecordKept {
                address: copy.address,
                flaws: copy.flaws,
            });
            seen.versions.push(KeptAs {
                version: version.text().to_owned(),
                records: records.collect(),
            });
        }
    }
    Ok(seen)
}

fn read(path: &Path) -> Result<Vec<u8>, TraceError> {
    let failed = |error| TraceError::Settings {
        path: path.to_owned(),
        error,
    };
    let file = File::open(path).map_err(failed)?;
    let mut dump = Vec::new();
    file.take(LARGEST_IMAGE + 1).read_to_end(&mut dump).map_err(failed)?;
    match dump.len() as u64 > LARGEST_IMAGE {
        true => Err(TraceError::SettingsTooLong(path.to_owned())),
        false => Ok(dump),
    }
}
