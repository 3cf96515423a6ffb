//! What the maker says about a release: `notes/<version>.toml` in the product folder.

use miette::{Diagnostic, NamedSource, Result, SourceSpan};
use packstaff_product::ledger::ReleaseKind;
use serde::Deserialize;
use std::path::Path;
use thiserror::Error;

/// The notes of one release; a product folder without them has a feature release without a word.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Notes {
    #[serde(default)]
    kind: Kind,
    /// What is new for owners, one sentence each.
    #[serde(default)]
    pub(crate) changes: Vec<String>,
    /// What becomes of settings, beyond what is proved.
    #[serde(default)]
    pub(super) settings: Vec<String>,
    /// What becomes of calibration, beyond what is proved.
    #[serde(default)]
    pub(super) calibration: Vec<String>,
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
    pub(crate) fn in_text(text: &str) -> Option<Self> {
        let has_any = |notes: &Self| {
            [&notes.changes, &notes.settings, &notes.calibration]
                .iter()
                .any(|sentences| !sentences.is_empty())
        };
        toml::from_str(text).ok().filter(has_any)
    }

    pub(crate) fn kind(&self) -> ReleaseKind {
        match self.kind {
            Kind::Feature => ReleaseKind::Feature,
            Kind::Fix => ReleaseKind::Fix,
            Kind::Security => ReleaseKind::Security,
        }
    }
}

#[derive(Debug, Error, Diagnostic)]
#[error("the notes of this release cannot be used: {message}")]
#[diagnostic(help(
    "notes have `kind` (\"feature\", \"fix\" or \"security\") and lists of sentences: `changes`, `settings`, `calibration`"
))]
struct NotesError {
    message: String,
    #[source_code]
    source_code: NamedSource<String>,
    #[label("here")]
    at: Option<SourceSpan>,
}

pub(super) fn read(folder: &Path, version: &str) -> Result<Notes> {
    let path = folder.join("notes").join(format!("{version}.toml"));
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => String::new(),
        Err(error) => return Err(miette::miette!("{} cannot be read: {error}", path.display())),
    };
    toml::from_str(&text).map_err(|error| {
        let at = error.span().map(SourceSpan::from);
        let message = error.message().to_owned();
        NotesError {
            message,
            source_code: NamedSource::new(path.display().to_string(), text),
            at,
        }
        .into()
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
