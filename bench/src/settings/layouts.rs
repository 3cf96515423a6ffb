//! Where layouts come from: a released version's out of the ledger, which nobody changes any more; others out of the product
//! folder.

use super::error::SettingsError;
use crate::open::Bench;
use packstaff_product::Version;
use packstaff_settings::carry::History;
use packstaff_settings::layout::Layout;
use std::collections::BTreeSet;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// Far above any layout file, in bytes.
const LONGEST: u64 = 1 << 20;

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

/// A version's layout, and how the product folder's file stands to the ledger's.
#[derive(Clone, Debug)]
pub struct Found {
    /// The layout: of the ledger, if the version is recorded there with one.
    pub layout: Layout,
    /// Whether the product folder has another.
    pub standing: Standing,
}

/// How the layout file in a product folder stands to what was released.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It is the same, or there is only one of the two.
    AsReleased,
    /// It is no longer what was released.
    Changed,
}

/// The layout file of a version in a product folder.
pub fn layout_path(folder: &Path, version: &str) -> PathBuf {
    folder.join("settings").join(format!("{version}.toml"))
}

/// The layouts of all versions that the product file lists.
///
/// # Errors
/// A layout file cannot be read or is wrong.
pub fn described(bench: &Bench) -> Result<Described, SettingsError> {
    let mut sorted: Vec<&Version> = bench.product.versions.list.iter().collect();
    sorted.sort_by_key(|version| version.numbers());
    let mut described = Described {
        layouts: Vec::new(),
        without: Vec::new(),
        changed: Vec::new(),
    };
    for version in sorted {
        let version = version.text();
        let Some(found) = of_version(bench, version)? else {
            described.without.push(version.to_owned());
            continue;
        };
        if found.standing == Standing::Changed {
            described.changed.push(version.to_owned());
        }
        described.layouts.push(found.layout);
    }
    Ok(described)
}

/// A version's layout; `None` if it has none.
///
/// # Errors
/// The file cannot be read or is wrong.
pub fn of_version(bench: &Bench, version: &str) -> Result<Option<Found>, SettingsError> {
    let path = layout_path(bench.folder(), version);
    let in_folder = text_of(&path)?;
    let recorded = recorded(bench, version)?.map(String::from_utf8).transpose();
    let recorded = recorded.map_err(|_| SettingsError::NoText(version.to_owned()))?;
    let standing = match (&recorded, &in_folder) {
        (Some(recorded), Some(in_folder)) if recorded != in_folder => Standing::Changed,
        _ => Standing::AsReleased,
    };
    let Some(text) = recorded.or(in_folder) else {
        return Ok(None);
    };
    let layout = Layout::from_text(&path.display().to_string(), &text)?;
    match layout.version == version {
        true => Ok(Some(Found { layout, standing })),
        false => Err(SettingsError::OtherVersion {
            path,
            found: layout.version,
        }),
    }
}

/// The bytes of a version's layout file, as the ledger has them or else the product folder; `None` if neither has one.
///
/// # Errors
/// It cannot be read.
pub fn file(bench: &Bench, version: &str) -> Result<Option<Vec<u8>>, SettingsError> {
    match recorded(bench, version)? {
        Some(recorded) => Ok(Some(recorded)),
        None => Ok(text_of(&layout_path(bench.folder(), version))?.map(String::into_bytes)),
    }
}

fn recorded(bench: &Bench, version: &str) -> Result<Option<Vec<u8>>, SettingsError> {
    match bench.ledger.latest_issue_of(version) {
        None => Ok(None),
        Some(release) => Ok(release.settings_file()?),
    }
}

fn text_of(path: &Path) -> Result<Option<String>, SettingsError> {
    let unreadable = |error| SettingsError::Unreadable {
        path: path.to_owned(),
        error,
    };
    match std::fs::metadata(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Ok(about) if about.len() > LONGEST => Err(SettingsError::TooLong {
            path: path.to_owned(),
            bytes: about.len(),
        }),
        Ok(_) => std::fs::read_to_string(path).map_err(unreadable).map(Some),
        Err(error) => Err(unreadable(error)),
    }
}

/// All listed versions that have a layout.
///
/// # Errors
/// There is none, a layout file is wrong, or its rules are.
pub fn history(bench: &Bench) -> Result<History, SettingsError> {
    let described = described(bench)?;
    if described.layouts.is_empty() {
        return Err(SettingsError::NoLayouts(bench.folder().join("settings")));
    }
    put_together(described.layouts)
}

/// Layouts as a history.
///
/// # Errors
/// They contradict each other.
pub fn put_together(layouts: Vec<Layout>) -> Result<History, SettingsError> {
    History::new(layouts).map_err(SettingsError::History)
}

/// The versions of the ledger.
pub(super) fn released(bench: &Bench) -> BTreeSet<String> {
    let records = bench.ledger.releases().iter();
    records.map(|release| release.record.version.clone()).collect()
}
