//! What the maker says about a release: `notes/<version>.toml` in the product folder.

use super::ReleaseError;
use packstaff_document::{DocumentError, Problem};
use packstaff_product::ledger::ReleaseKind;
use serde::de::Error as _;
use serde::{Deserialize, Deserializer};
use std::path::Path;

/// The notes of one release; a product folder without them has a feature release without a word.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Notes {
    /// Why there is a release.
    #[serde(default = "feature", deserialize_with = "kind")]
    pub kind: ReleaseKind,
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

const KINDS: &[&str] = &["feature", "fix", "security"];

const fn feature() -> ReleaseKind {
    ReleaseKind::Feature
}

fn kind<'de, D: Deserializer<'de>>(deserializer: D) -> Result<ReleaseKind, D::Error> {
    let word = String::deserialize(deserializer)?;
    let known = ReleaseKind::WORDS.iter().find(|(known, _)| *known == word);
    known
        .map(|(_, kind)| *kind)
        .ok_or_else(|| D::Error::unknown_variant(&word, KINDS))
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

    /// Reads the notes of a version in a product folder.
    ///
    /// # Errors
    /// The file is there and cannot be read, or is no notes.
    pub fn read(folder: &Path, version: &str) -> Result<Self, ReleaseError> {
        let path = folder.join("notes").join(format!("{version}.toml"));
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => String::new(),
            Err(error) => return Err(ReleaseError::UnreadableNotes { path, error }),
        };
        let name = path.display().to_string();
        toml::from_str(&text).or_else(|error| Ok(unusable(&name, &text, &error)?))
    }
}

/// What is wrong, with its place.
fn unusable(name: &str, text: &str, error: &toml::de::Error) -> Result<Notes, DocumentError> {
    let problem = Problem::Unsuitable {
        subject: "the notes of a release".to_owned(),
        message: format!("the notes of this release cannot be used: {}", error.message()),
        advice: "Notes have `kind` (\"feature\", \"fix\" or \"security\") and lists of sentences: `changes`, `settings`, `calibration`."
            .to_owned(),
    };
    let found = packstaff_document::Notes::new(text);
    found.add(error.span().unwrap_or(0..0), problem);
    found.finish(name, None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_that_are_not_there_are_empty() {
        let folder = tempfile::tempdir().unwrap();
        let notes = Notes::read(folder.path(), "2.1").unwrap();
        assert!(notes.changes.is_empty());
        assert_eq!(notes.kind, ReleaseKind::Feature);
    }

    #[test]
    fn a_misspelt_key_and_an_unknown_kind_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("notes")).unwrap();
        for (text, complaint) in [
            ("kind = \"fix\"\nchange = []\n", "unknown field `change`"),
            (
                "kind = \"great\"\n",
                "unknown variant `great`, expected one of `feature`",
            ),
        ] {
            std::fs::write(folder.path().join("notes/2.1.toml"), text).unwrap();
            let error = Notes::read(folder.path(), "2.1").unwrap_err().to_string();
            assert!(error.contains(complaint), "{error}");
        }
    }

    #[test]
    fn every_kind_of_release_has_its_word() {
        let words: Vec<_> = ReleaseKind::WORDS.iter().map(|(word, _)| *word).collect();
        assert_eq!(words, KINDS);
        for (word, kind) in ReleaseKind::WORDS {
            let text = format!("kind = {word:?}\nchanges = [\"New.\"]");
            assert_eq!(Notes::in_text(&text).map(|notes| notes.kind), Some(*kind));
        }
    }
}
