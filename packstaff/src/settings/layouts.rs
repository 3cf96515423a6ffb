//! Where layouts come from: a released version's out of the ledger, which nobody changes any more; others out of the product
//! folder.

use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::Bench;
use packstaff_product::Version;
use packstaff_settings::carry::History;
use packstaff_settings::layout::Layout;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// The layouts of a product.
#[derive(Clone, Debug)]
pub struct Described {
    /// The layouts, the oldest version first.
    pub layouts: Vec<Layout>,
    /// Versions that have none, the oldest first.
    pub without: Vec<String>,
    /// Versions whose file in the product folder is no longer what was released.
    pub changed: Vec<String>,
}

/// The layout file of a version in a product folder.
pub fn layout_path(folder: &Path, version: &str) -> PathBuf {
    folder.join("settings").join(format!("{version}.toml"))
}

/// The layouts of these versions, and of no others.
///
/// # Errors
/// A layout file cannot be read or is wrong.
pub fn described(bench: &Bench, versions: &[&Version]) -> Result<Described> {
    let mut sorted = versions.to_vec();
    sorted.sort_by_key(|version| version.numbers());
    let mut found = Described {
        layouts: Vec::new(),
        without: Vec::new(),
        changed: Vec::new(),
    };
    for version in sorted {
        match of_version(bench, version.text())? {
            None => found.without.push(version.text().to_owned()),
            Some((layout, as_released)) => {
                if !as_released {
                    found.changed.push(version.text().to_owned());
                }
                found.layouts.push(layout);
            }
        }
    }
    Ok(found)
}

/// A version's layout, and whether the product folder still says the same as the ledger.
///
/// # Errors
/// The file cannot be read or is wrong.
pub fn of_version(bench: &Bench, version: &str) -> Result<Option<(Layout, bool)>> {
    let path = layout_path(bench.folder(), version);
    let in_folder = text_of(&path)?;
    let recorded = match bench.ledger.latest_issue_of(version) {
        None => None,
        Some(release) => release.settings_file().into_diagnostic()?,
    };
    let recorded = match recorded {
        None => None,
        Some(bytes) => Some(
            String::from_utf8(bytes)
                .map_err(|_| miette::miette!("the layout of {version} in the ledger is no text"))?,
        ),
    };
    let as_released = match (&recorded, &in_folder) {
        (Some(recorded), Some(in_folder)) => recorded == in_folder,
        _ => true,
    };
    let name = path.display().to_string();
    let Some(text) = recorded.or(in_folder) else {
        return Ok(None);
    };
    let layout = Layout::from_text(&name, &text).told()?;
    if layout.version != version {
        return Err(miette::miette!(
            help = "a layout file is named after its version: settings/VERSION.toml",
            "{name} describes version {}",
            layout.version
        ));
    }
    Ok(Some((layout, as_released)))
}

/// The bytes of a version's layout file, as the ledger has them or else the product folder.
///
/// # Errors
/// It cannot be read.
pub(crate) fn file(bench: &Bench, version: &str) -> Result<Option<Vec<u8>>> {
    if let Some(release) = bench.ledger.latest_issue_of(version)
        && let Some(recorded) = release.settings_file().into_diagnostic()?
    {
        return Ok(Some(recorded));
    }
    Ok(text_of(&layout_path(bench.folder(), version))?.map(String::into_bytes))
}

/// Far above any layout file.
const LONGEST: u64 = 1 << 20;

fn text_of(path: &Path) -> Result<Option<String>> {
    let failed = || format!("{} cannot be read", path.display());
    match std::fs::metadata(path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Ok(about) if about.len() > LONGEST => Err(miette::miette!(
            help = "a layout file is at most 1 MiB",
            "{} has {} bytes",
            path.display(),
            about.len()
        )),
        Ok(_) => std::fs::read_to_string(path)
            .into_diagnostic()
            .wrap_err_with(failed)
            .map(Some),
        Err(error) => Err(error).into_diagnostic().wrap_err_with(failed),
    }
}

/// All listed versions that have a layout.
///
/// # Errors
/// A layout file is wrong, or its rules are.
pub fn history(bench: &Bench) -> Result<History> {
    let versions: Vec<&Version> = bench.product.versions.list.iter().collect();
    let described = described(bench, &versions)?;
    if described.layouts.is_empty() {
        return Err(miette::miette!(
            help = "describe what a version keeps in settings/VERSION.toml; `packstaff settings import` makes one from a build",
            "{} has no layout file",
            bench.folder().join("settings").display()
        ));
    }
    put_together(described.layouts)
}

pub(crate) fn put_together(layouts: Vec<Layout>) -> Result<History> {
    History::new(layouts)
        .into_diagnostic()
        .wrap_err("the layouts do not go together")
}

/// The versions of the ledger.
pub(super) fn released(bench: &Bench) -> BTreeSet<String> {
    let records = bench.ledger.releases().iter();
    records.map(|release| release.record.version.clone()).collect()
}
