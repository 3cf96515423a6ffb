//! A dump of the settings memory: as which version's layout it reads, and whether it is whole.

use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::Bench;
use packstaff_bench::settings::{Found, of_version};
use packstaff_settings::dump::{LARGEST_IMAGE, copies};
use serde::Serialize;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// What a dump of the settings memory says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SettingsSeen {
    /// Versions whose records are in it, the oldest first; none: it holds no record of any version.
    pub versions: Vec<KeptAs>,
    /// Versions without a layout: nothing can be said of them.
    pub without_layout: Vec<String>,
}

/// Records of one version.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct KeptAs {
    /// The version.
    pub version: String,
    /// Records at the places where this version keeps them.
    pub records: Vec<RecordKept>,
}

/// One record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RecordKept {
    /// Where it begins.
    pub address: Option<u32>,
    /// What does not hold of it; nothing, if it is whole.
    pub flaws: Vec<String>,
}

impl KeptAs {
    /// Whether at least one record is whole.
    pub fn is_whole(&self) -> bool {
        self.records.iter().any(|record| record.flaws.is_empty())
    }
}

impl SettingsSeen {
    /// Versions of which a record is whole.
    pub fn whole(&self) -> impl Iterator<Item = &str> {
        let whole = self.versions.iter().filter(|kept| kept.is_whole());
        whole.map(|kept| kept.version.as_str())
    }
}

/// Looks at a dump.
///
/// # Errors
/// It cannot be read, or a version's layout is wrong.
pub(super) fn kept(bench: &Bench, path: &Path) -> Result<SettingsSeen> {
    let failed = || format!("the settings dump {} cannot be read", path.display());
    let file = File::open(path).into_diagnostic().wrap_err_with(failed)?;
    let mut dump = Vec::new();
    file.take(LARGEST_IMAGE + 1)
        .read_to_end(&mut dump)
        .into_diagnostic()
        .wrap_err_with(failed)?;
    if dump.len() as u64 > LARGEST_IMAGE {
        return Err(miette::miette!(
            help = "a dump begins at address 0 of the settings memory and ends where that ends",
            "{} has more bytes than any settings memory",
            path.display()
        ));
    }
    let mut seen = SettingsSeen {
        versions: Vec::new(),
        without_layout: Vec::new(),
    };
    for version in &bench.product.versions.list {
        let Some(Found { layout, .. }) = of_version(bench, version.text()).told()? else {
            seen.without_layout.push(version.text().to_owned());
            continue;
        };
        let found = copies(&layout, &dump);
        // A record that is another layout's, or blank, says nothing of this one.
        if found.iter().any(|copy| !copy.is_foreign()) {
            let records = found.iter().map(|copy| RecordKept {
                address: copy.address,
                flaws: copy.flaws.iter().map(ToString::to_string).collect(),
            });
            seen.versions.push(KeptAs {
                version: version.text().to_owned(),
                records: records.collect(),
            });
        }
    }
    Ok(seen)
}
