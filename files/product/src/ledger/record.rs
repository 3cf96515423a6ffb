//! One release, as the ledger keeps it.

use crate::identity::Uuid;
use crate::product_file::{FORMAT, generation_id};
use crate::version::{MAX_PLACES, Numbers, Scheme};
use packstaff_document::Date;
use packstaff_document::{DocumentError, Problem};
use packstaff_document::{Entry, Notes, Section, parse};
use sha2::{Digest, Sha256};
use std::fmt::Write;
use thiserror::Error;

/// Largest update file that is read back, in bytes.
pub const LARGEST_FILE: usize = 64 << 20;

/// The most permissive of the decimal schemes: a record does not say which one its product has.
const DECIMAL: Scheme = Scheme::Decimal { places: MAX_PLACES };

const ROOT_KEYS: &[&str] = &[
    "format", "version", "numbers", "issue", "date", "kind", "notes", "settings", "board",
];
const SETTINGS_KEYS: &[&str] = &["file", "file_size", "file_sha256"];
const BOARD_KEYS: &[&str] = &[
    "revision",
    "class",
    "file",
    "file_size",
    "file_sha256",
    "image_size",
    "image_sha256",
    "manifest_sha256",
    "signer",
    "tree_signer",
    "one_time_key",
    "generations",
];

/// One release: one version under one issue, for one or more board revisions.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    /// The version's text.
    pub version: String,
    /// The version's integers.
    pub numbers: Numbers,
    /// Sequence number of its files.
    pub issue: u64,
    /// The day of the release.
    pub date: Date,
    /// What owners get it for.
    pub kind: ReleaseKind,
    /// What the maker has to say about it, line by line.
    pub notes: Vec<String>,
    /// What the version keeps in its settings memory, if the product folder describes it.
    pub settings: Option<SettingsRecord>,
    /// The update file of each board revision, sorted by revision.
    pub boards: Vec<BoardRecord>,
}

/// The layout file of a release: kept with it, because what units in the field hold does not change any more.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingsRecord {
    /// Name of the layout file.
    pub file: String,
    /// Bytes of the layout file.
    pub file_size: u64,
    /// SHA-256 of the layout file.
    pub file_sha256: [u8; 32],
}

/// What a release is for. Security releases are kept apart from feature releases where that is possible
/// (Regulation (EU) 2024/2847, Annex I, part II (2)).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ReleaseKind {
    /// Something new.
    Feature,
    /// Something repaired.
    Fix,
    /// A hole closed.
    Security,
}

impl ReleaseKind {
    /// The words of a record.
    pub const WORDS: &[(&str, Self)] = &[
        ("feature", Self::Feature),
        ("fix", Self::Fix),
        ("security", Self::Security),
    ];

    /// The word of a record.
    pub fn word(self) -> &'static str {
        Self::WORDS
            .iter()
            .find(|(_, kind)| *kind == self)
            .map_or("", |(word, _)| word)
    }
}

/// The update file of one board revision.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BoardRecord {
    /// The board revision.
    pub revision: String,
    /// Its class identifier.
    pub class: Uuid,
    /// Name of the update file.
    pub file: String,
    /// Bytes of the update file.
    pub file_size: u64,
    /// SHA-256 of the update file.
    pub file_sha256: [u8; 32],
    /// Bytes of the image inside.
    pub image_size: u64,
    /// SHA-256 of the image inside.
    pub image_sha256: [u8; 32],
    /// Digest of the signed manifest.
    pub manifest_sha256: [u8; 32],
    /// Fingerprint of the signing key: Ed25519 if that signed, otherwise HSS-LMS.
    pub signer: String,
    /// The HSS-LMS key, if it signed.
    pub tree: Option<TreeSignature>,
    /// Generations of unit keys that can read it, sorted.
    pub generations: Vec<String>,
}

/// Which HSS-LMS key signed, and with which of its one-time keys.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TreeSignature {
    /// The key's fingerprint.
    pub signer: String,
    /// Number of the one-time key.
    pub one_time_key: u32,
}

/// A file in a release's folder, as the record knows it.
#[derive(Clone, Copy)]
pub(crate) struct Archived<'r> {
    pub(crate) name: &'r str,
    pub(crate) size: u64,
    pub(crate) sha256: [u8; 32],
}

impl BoardRecord {
    pub(crate) fn archived(&self) -> Archived<'_> {
        Archived {
            name: &self.file,
            size: self.file_size,
            sha256: self.file_sha256,
        }
    }
}

impl SettingsRecord {
    pub(crate) fn archived(&self) -> Archived<'_> {
        Archived {
            name: &self.file,
            size: self.file_size,
            sha256: self.file_sha256,
        }
    }
}

/// Why a record may not be written.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum RecordError {
    /// A version text that no scheme gives. It names the release's folder, so it must be harmless as a name.
    #[error("{0:?} is not a version: a version has digits and points only")]
    Version(String),
    /// It lists no board.
    #[error("the release of {version} has no update file for any board")]
    NoBoards {
        /// The version.
        version: String,
    },
    /// Two boards of the same revision, or two files of the same name.
    #[error("the release of {version} has {what} {value:?} twice")]
    Twice {
        /// The version.
        version: String,
        /// What must be unique.
        what: &'static str,
        /// The value.
        value: String,
    },
    /// A name that not every stick, unit and file system can hold.
    #[error(
        "{name:?} cannot be the name of an update file: use 1 to 64 letters, digits, points, hyphens or underscores, not beginning with a point"
    )]
    FileName {
        /// The name.
        name: String,
    },
    /// A text that does not read back as it was written.
    #[error("the record would not read back: {0}")]
    Unreadable(String),
}

impl Record {
    /// The text of the record's file: sorted, one value a line, the same for the same release.
    ///
    /// # Errors
    /// The record is not one that could be read back.
    pub fn to_text(&self) -> Result<String, RecordError> {
        let sorted = self.sorted();
        sorted.check()?;
        let text = sorted.render();
        match Self::from_text("the new record", &text) {
            Ok(again) if again == sorted => Ok(text),
            Ok(_) => Err(RecordError::Unreadable("a value changes on the way".to_owned())),
            Err(error) => Err(RecordError::Unreadable(error.to_string())),
        }
    }

    /// Reads the text of a record's file. `name` is what complaints call it.
    ///
    /// # Errors
    /// Everything that is wrong with it, each with its place.
    pub fn from_text(name: &str, text: &str) -> Result<Self, DocumentError> {
        let notes = Notes::new(text);
        let record = parse(&notes).and_then(|root| read(&Section::root(&notes, &root, ROOT_KEYS)));
        notes.finish(name, record)
    }

    /// The record of this board revision.
    pub fn board(&self, revision: &str) -> Option<&BoardRecord> {
        self.boards.iter().find(|board| board.revision == revision)
    }

    /// Every file that is archived with the record.
    pub(crate) fn archived(&self) -> impl Iterator<Item = Archived<'_>> {
        let settings = self.settings.iter().map(SettingsRecord::archived);
        self.boards.iter().map(BoardRecord::archived).chain(settings)
    }

    pub(crate) fn sorted(&self) -> Self {
        let mut sorted = self.clone();
        sorted.boards.sort_by(|one, other| one.revision.cmp(&other.revision));
        for board in &mut sorted.boards {
            board.generations.sort();
        }
        sorted
    }

    fn check(&self) -> Result<(), RecordError> {
        if !(Scheme::Dotted.read(&self.version).is_ok() || DECIMAL.read(&self.version).is_ok()) {
            return Err(RecordError::Version(self.version.clone()));
        }
        let version = || self.version.clone();
        if self.boards.is_empty() {
            return Err(RecordError::NoBoards { version: version() });
        }
        if let Some(settings) = &self.settings {
            if !is_file_name(&settings.file) {
                return Err(RecordError::FileName {
                    name: settings.file.clone(),
                });
            }
            if self
                .boards
                .iter()
                .any(|board| board.file.eq_ignore_ascii_case(&settings.file))
            {
                let value = settings.file.clone();
                return Err(RecordError::Twice {
                    version: version(),
                    what: "the file name",
                    value,
                });
            }
        }
        for (index, board) in self.boards.iter().enumerate() {
            if !is_file_name(&board.file) {
                return Err(RecordError::FileName {
                    name: board.file.clone(),
                });
            }
            let others = || self.boards.iter().take(index);
            if others().any(|other| other.revision == board.revision) {
                let value = board.revision.clone();
                return Err(RecordError::Twice {
                    version: version(),
                    what: "the board",
                    value,
                });
            }
            // Sticks do not tell letters' case apart.
            if others().any(|other| other.file.eq_ignore_ascii_case(&board.file)) {
                let value = board.file.clone();
                return Err(RecordError::Twice {
                    version: version(),
                    what: "the file name",
                    value,
                });
            }
        }
        Ok(())
    }

    fn render(&self) -> String {
        let mut out = String::from("# A release, as it went out. Written by packstaff; do not change it.\n");
        // Writing to a String cannot fail.
        let mut line = |key: &str, value: String| {
            let _ = writeln!(out, "{key} = {value}");
        };
        line("format", FORMAT.to_string());
        line("version", quoted(&self.version));
        line("numbers", self.numbers.to_string());
        line("issue", self.issue.to_string());
        line("date", self.date.to_string());
        line("kind", quoted(self.kind.word()));
        line("notes", list(self.notes.iter(), "\n    ", ",\n"));
        if let Some(settings) = &self.settings {
            let _ = writeln!(out, "\n[settings]");
            let _ = writeln!(out, "file = {}", quoted(&settings.file));
            let _ = writeln!(out, "file_size = {}", settings.file_size);
            let _ = writeln!(out, "file_sha256 = {}", quoted(&hex::encode(settings.file_sha256)));
        }
        for board in &self.boards {
            let _ = writeln!(out, "\n[[board]]");
            let mut line = |key: &str, value: String| {
                let _ = writeln!(out, "{key} = {value}");
            };
            line("revision", quoted(&board.revision));
            line("class", quoted(&board.class.to_string()));
            line("file", quoted(&board.file));
            line("file_size", board.file_size.to_string());
            line("file_sha256", quoted(&hex::encode(board.file_sha256)));
            line("image_size", board.image_size.to_string());
            line("image_sha256", quoted(&hex::encode(board.image_sha256)));
            line("manifest_sha256", quoted(&hex::encode(board.manifest_sha256)));
            line("signer", quoted(&board.signer));
            if let Some(tree) = &board.tree {
                line("tree_signer", quoted(&tree.signer));
                line("one_time_key", tree.one_time_key.to_string());
            }
            line("generations", list(board.generations.iter(), "", ""));
        }
        out
    }
}

/// A list on one line, or with each member on its own line so that a change of one shows as a change of one.
fn list<'t>(members: impl Iterator<Item = &'t String>, before: &str, end: &str) -> String {
    let members: Vec<String> = members.map(|member| format!("{before}{}", quoted(member))).collect();
    if members.is_empty() {
        return "[]".to_owned();
    }
    let between = if before.is_empty() { ", " } else { "," };
    format!("[{}{end}]", members.join(between))
}

/// A basic string of TOML 1.0 on one line, whatever the text holds.
fn quoted(text: &str) -> String {
    let mut out = String::from('"');
    for character in text.chars() {
        match character {
            '"' | '\\' => out.extend(['\\', character]),
            '\t' => out.push_str("\\t"),
            control if control.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(control));
            }
            other => out.push(other),
        }
    }
    out.push('"');
    out
}

/// Whether a text can name an update file on every stick, unit and file system.
pub(crate) fn is_file_name(name: &str) -> bool {
    let fits = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'-' | b'_');
    (1..=64).contains(&name.len()) && !name.starts_with('.') && name.bytes().all(fits) && name != RECORD_FILE
}

/// Name of a record's file inside its folder.
pub const RECORD_FILE: &str = "release.toml";

fn read(root: &Section<'_, '_>) -> Option<Record> {
    let format = root.value("format").and_then(|entry| entry.format(FORMAT));
    let version = root.value("version").and_then(|entry| entry.text());
    let numbers = root.value("numbers").and_then(|entry| {
        let members = entry.list()?;
        let values: Vec<_> = members.iter().map(|member| member.integer_u32(0..=u32::MAX)).collect();
        let values: Vec<u32> = values.into_iter().collect::<Option<_>>()?;
        match Numbers::new(&values) {
            Some(numbers) => Some(numbers),
            None => entry.refuse(
                "a list of one to three numbers",
                "Take the record from your version control again.",
            ),
        }
    });
    let issue = root
        .value("issue")
        .and_then(|entry| entry.integer(1..=u64::from(u32::MAX)));
    let date = root.value("date").and_then(|entry| entry.date());
    let kind = root.value("kind").and_then(|entry| entry.word(ReleaseKind::WORDS));
    let notes = root.value("notes").and_then(|entry| {
        let lines: Vec<_> = entry
            .list()?
            .iter()
            .map(|line| line.raw_text().map(str::to_owned))
            .collect();
        lines.into_iter().collect::<Option<Vec<_>>>()
    });
    let settings = match root.find("settings") {
        None => Some(None),
        Some(entry) => entry
            .section("[settings]", SETTINGS_KEYS)
            .and_then(|section| read_settings(&section))
            .map(Some),
    };
    let boards = root.some_sections("board", "[[board]]", BOARD_KEYS)?;
    let boards: Vec<_> = boards.iter().map(read_board).collect();
    let boards = boards.into_iter().collect::<Option<Vec<_>>>();
    let record = Record {
        version: version?,
        numbers: numbers?,
        issue: issue?,
        date: date?,
        kind: kind?,
        notes: notes?,
        settings: settings?,
        boards: boards?,
    };
    format?;
    if let Err(error) = record.check() {
        let problem = Problem::BadValue {
            key: "board",
            found: "this".to_owned(),
            expected: format!("a sound record: {error}"),
            advice: "Take the record from your version control again.".to_owned(),
        };
        root.notes().add(root.span(), problem);
        return None;
    }
    Some(record.sorted())
}

fn read_settings(section: &Section<'_, '_>) -> Option<SettingsRecord> {
    let file = section.value("file").and_then(|entry| entry.text());
    let size = section
        .value("file_size")
        .and_then(|entry| entry.integer(1..=LARGEST_FILE as u64));
    let sha256 = section.value("file_sha256").and_then(|entry| digest(&entry));
    Some(SettingsRecord {
        file: file?,
        file_size: size?,
        file_sha256: sha256?,
    })
}

fn read_board(section: &Section<'_, '_>) -> Option<BoardRecord> {
    let revision = section.value("revision").and_then(|entry| entry.text());
    let class = section.value("class").and_then(|entry| {
        let text = entry.raw_text()?;
        match Uuid::try_parse(text).ok().filter(|uuid| uuid.to_string() == text) {
            Some(uuid) => Some(uuid),
            None => entry.refuse("a UUID", "Take the record from your version control again."),
        }
    });
    let file = section.value("file").and_then(|entry| entry.text());
    let size = |key| {
        section
            .value(key)
            .and_then(|entry| entry.integer(1..=LARGEST_FILE as u64))
    };
    let (file_size, image_size) = (size("file_size"), size("image_size"));
    let digest = |key| section.value(key).and_then(|entry| digest(&entry));
    let (file_sha256, image_sha256) = (digest("file_sha256"), digest("image_sha256"));
    let manifest_sha256 = digest("manifest_sha256");
    let signer = section.value("signer").and_then(|entry| entry.text());
    let tree = match (section.find("tree_signer"), section.find("one_time_key")) {
        (None, None) => None,
        _ => Some(TreeSignature {
            signer: section.value("tree_signer")?.text()?,
            one_time_key: section.value("one_time_key")?.integer_u32(0..=u32::MAX)?,
        }),
    };
    let generations = section.value("generations").and_then(|entry| {
        let ids: Vec<_> = entry.list()?.iter().map(generation_id).collect();
        ids.into_iter().collect::<Option<Vec<_>>>()
    });
    Some(BoardRecord {
        revision: revision?,
        class: class?,
        file: file?,
        file_size: file_size?,
        file_sha256: file_sha256?,
        image_size: image_size?,
        image_sha256: image_sha256?,
        manifest_sha256: manifest_sha256?,
        signer: signer?,
        tree,
        generations: generations?,
    })
}

fn digest(entry: &Entry<'_, '_>) -> Option<[u8; 32]> {
    let mut digest = [0; 32];
    match hex::decode_to_slice(entry.raw_text()?, &mut digest) {
        Ok(()) => Some(digest),
        Err(_) => entry.refuse(
            "a SHA-256 in 64 hexadecimal digits",
            "Take the record from your version control again.",
        ),
    }
}

/// SHA-256 of bytes.
pub(crate) fn sha256(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}
