//! Dumps of settings memories: read, carried over, and made.

use super::error::SettingsError;
use packstaff_settings::carry::{Carried, History, Plan, carry_record};
use packstaff_settings::dump::{Copy, LARGEST_IMAGE, Reading, copies, from_text, read, read_record, seal};
use packstaff_settings::layout::Layout;
use std::path::Path;

/// Settings of one version, as another would have them.
#[derive(Clone, Debug)]
pub struct Carrying<'h> {
    /// What becomes of each field.
    pub plan: Plan,
    /// What the dump says.
    pub before: Reading,
    /// The layout gone to.
    pub to: &'h Layout,
    /// The record that was made, by the code that units run.
    pub made: Carried,
}

/// The layout of a version.
///
/// # Errors
/// It has none.
pub fn layout_of<'h>(history: &'h History, version: &str) -> Result<&'h Layout, SettingsError> {
    history.layout(version).ok_or_else(|| SettingsError::NoLayout {
        version: version.to_owned(),
        known: history.layouts().iter().map(|layout| layout.version.clone()).collect(),
    })
}

/// Reads a dump that a unit of this layout's version wrote.
///
/// # Errors
/// The file cannot be read, or is no such dump.
pub fn read_dump(history: &History, layout: &Layout, path: &Path) -> Result<Reading, SettingsError> {
    let unreadable = |error| SettingsError::Unreadable {
        path: path.to_owned(),
        error,
    };
    let bytes = std::fs::metadata(path).map_err(unreadable)?.len();
    if bytes > LARGEST_IMAGE {
        return Err(SettingsError::DumpTooLong {
            path: path.to_owned(),
            bytes,
        });
    }
    let dump = std::fs::read(path).map_err(unreadable)?;
    read(layout, &dump).map_err(|error| {
        let whole = |other: &&Layout| copies(other, &dump).iter().any(Copy::is_whole);
        SettingsError::NoDump {
            path: path.to_owned(),
            version: layout.version.clone(),
            error,
            instead: history.layouts().iter().find(whole).map(|other| other.version.clone()),
        }
    })
}

/// Carries the settings of a dump over from one version to another.
///
/// # Errors
/// A version has no layout, the dump cannot be read, or the record cannot be carried over.
pub fn carry<'h>(history: &'h History, from: &str, to: &str, dump: &Path) -> Result<Carrying<'h>, SettingsError> {
    let plan = history.plan(from, to).map_err(SettingsError::Plan)?;
    let old = layout_of(history, from)?;
    let new = layout_of(history, to)?;
    let before = read_dump(history, old, dump)?;
    let made = carry_record(&plan, &before.record).map_err(|fault| SettingsError::NotCarried {
        from: from.to_owned(),
        to: to.to_owned(),
        fault,
    })?;
    Ok(Carrying {
        plan,
        before,
        to: new,
        made,
    })
}

impl Carrying<'_> {
    /// The new settings as the newer version would read them.
    ///
    /// # Errors
    /// The record that was made is not one of the layout gone to, which would be a mistake of this library.
    pub fn after(&self) -> Result<Reading, SettingsError> {
        let mut record = self.made.record.clone();
        seal(self.to, &mut record, 1);
        Ok(read_record(self.to, &record)?)
    }
}

/// A record with the values of a file; where it says nothing, with those of a dump, or else as in a new unit.
///
/// # Errors
/// A file cannot be read or is wrong.
pub fn record_of(
    history: &History,
    layout: &Layout,
    values: &Path,
    base: Option<&Path>,
) -> Result<Vec<u8>, SettingsError> {
    let base = base.map(|dump| read_dump(history, layout, dump)).transpose()?;
    let base = base.as_ref().map(|reading| reading.record.as_slice());
    let text = std::fs::read_to_string(values).map_err(|error| SettingsError::Unreadable {
        path: values.to_owned(),
        error,
    })?;
    Ok(from_text(layout, &values.display().to_string(), &text, base)?)
}
