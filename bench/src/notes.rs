//! What the maker says about a release: `notes/<version>.toml` in the product folder.

use packstaff_product::ledger::ReleaseKind;
use serde::Deserialize;
use std::io;
use std::ops::Range;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// The notes of one release; a product folder without them has a feature release without a word.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Notes {
    #[serde(default)]
    kind: Kind,
    /// What is new for owners, one sentence each.
    #[serde(default)]
    pub changes: Vec<String>,
    /// What becomes of settings, beyond what is proved.
    #[serde(default)]
    pub settings: Vec<String>,
    /// What becomes of calibration, beyond what is proved.
    #[serde(default)]
    pub calibration: Vec<String>,
}

#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Kind {
    #[default]
    Feature,
    Fix,
    Security,
}

impl Notes {
    /// The notes in a text that holds nothing else; `None` if it is something else, or empty.
    pub fn in_text(text: &str) -> Option<Self> {
        let has_any = |notes: &Self| {
            [&notes.changes, &notes.settings, &notes.calibration]
                .iter()
                .any(|sentences| !sentences.is_empty())
        };
        toml::from_str(text).ok().filter(has_any)
    }

    /// What owners get the release for.
    pub fn kind(&self) -> ReleaseKind {
        match self.kind {
            Kind::Feature => ReleaseKind::Feature,
            Kind::Fix => ReleaseKind::Fix,
            Kind::Security => ReleaseKind::Security,
        }
    }
}

/// Why there are no notes.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum NotesError {
    /// The file cannot be read.
    #[error("{} cannot be read: {error}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        #[source]
        error: io::Error,
    },
    /// It holds something that notes do not have.
    #[error("the notes of this release cannot be used: {message}")]
    Unusable {
        /// The file.
        path: PathBuf,
        /// All of it.
        text: String,
        /// The bytes that are wrong, where the reader can tell.
        at: Option<Range<usize>>,
        /// What the reader of TOML says.
        message: String,
    },
}

/// The notes of a version in a product folder; empty if there are none.
///
/// # Errors
/// The file cannot be read, or holds something else.
pub fn read(folder: &Path, version: &str) -> Result<Notes, NotesError> {
    let path = folder.join("notes").join(format!("{version}.toml"));
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => String::new(),
        Err(error) => return Err(NotesError::Unreadable { path, error }),
    };
    toml::from_str(&text).map_err(|error: toml::de::Error| NotesError::Unusable {
        at: error.span(),
        message: error.message().to_owned(),
        path,
        text,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_that_are_not_there_are_empty() {
        let folder = tempfile::tempdir().unwrap();
        let notes = read(folder.path(), "2.1").unwrap();
        assert!(notes.changes.is_empty());
        assert_eq!(notes.kind(), ReleaseKind::Feature);
    }

    #[test]
    fn a_misspelt_key_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("notes")).unwrap();
        std::fs::write(folder.path().join("notes/2.1.toml"), "kind = \"fix\"\nchange = []\n").unwrap();
        let error = read(folder.path(), "2.1").unwrap_err().to_string();
        assert!(error.contains("unknown field `change`"), "{error}");
    }
}
