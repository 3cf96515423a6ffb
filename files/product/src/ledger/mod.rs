//! The ledger: the product's record of every release, and the archive of its update files.
//!
//! Plain files that version control can show: `ledger/2.1/release.toml` with the update files beside it. When a version
//! is issued again under another issue number, that release is in `ledger/2.1-issue-2/`, and the first one stays as it
//! is. A release appears as a whole folder or not at all.

mod record;

pub use record::{
    BoardRecord, LARGEST_FILE, RECORD_FILE, Record, RecordError, ReleaseKind, SettingsRecord, TreeSignature,
};

use crate::version::Scheme;
use crate::whole_file::{FileError, PASSING, WholeFolder, read_bounded};
use packstaff_document::DocumentError;
use packstaff_document::LONGEST;
use record::{Archived, sha256};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// The releases of a product, oldest version first; the same version's issues upward.
#[derive(Clone, Debug)]
pub struct Ledger {
    folder: PathBuf,
    releases: Vec<Release>,
}

/// A record and where it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Release {
    /// The record.
    pub record: Record,
    /// The folder that holds it and its update files.
    pub folder: PathBuf,
}

/// Why the ledger cannot be read or added to.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LedgerError {
    /// The system refuses.
    #[error(transparent)]
    File(#[from] FileError),
    /// A record is not UTF-8 text.
    #[error("{} is not a text file. Take it from your version control again", path.display())]
    NotText {
        /// The file.
        path: PathBuf,
    },
    /// A record cannot be read.
    #[error(transparent)]
    Document(Box<DocumentError>),
    /// A folder that holds another release than its name says.
    #[error("{} holds the release of {found}; such a record belongs in a folder named {expected:?}. Rename the folder, or take it from your version control again", folder.display())]
    WrongFolder {
        /// The folder.
        folder: PathBuf,
        /// What the record says.
        found: String,
        /// Where such a record belongs.
        expected: String,
    },
    /// Two folders hold the same release.
    #[error("{} and {} both hold version {version} of issue {issue}. Keep the one that went out", first.display(), second.display())]
    Twice {
        /// One folder.
        first: PathBuf,
        /// The other.
        second: PathBuf,
        /// The version.
        version: String,
        /// The issue.
        issue: u64,
    },
    /// Another release of the same version and issue is there already.
    #[error("version {version} of issue {issue} is in the ledger already, in {}, and differs in: {differs}. What went out is never changed: give the new release another version number", folder.display())]
    Different {
        /// The version.
        version: String,
        /// The issue.
        issue: u64,
        /// The folder of the release that is there.
        folder: PathBuf,
        /// What differs.
        differs: String,
    },
    /// The record is not fit to be written.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The update file handed over is not the one that the record describes.
    #[error("the update file {file} handed to the ledger is not the one that its record describes: {what}")]
    NotTheFile {
        /// The file's name.
        file: String,
        /// What differs.
        what: &'static str,
    },
    /// An archived file is not as it was.
    #[error("{0}. Take the file from your version control or a back-up again")]
    Changed(Difference),
}

/// Whether anything was added.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Appended {
    /// The release is new.
    Added,
    /// The very same release was there already.
    AlreadyThere,
}

/// One way in which the archive is not what the records say.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum Difference {
    /// A file is not there.
    #[error("{} is missing", .0.display())]
    Missing(PathBuf),
    /// A file cannot be read.
    #[error("{} cannot be read: {why}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: String,
    },
    /// A file has another size.
    #[error("{} has {found} bytes where its record says {recorded}", path.display())]
    Size {
        /// The file.
        path: PathBuf,
        /// Bytes found.
        found: u64,
        /// Bytes recorded.
        recorded: u64,
    },
    /// A file has another content.
    #[error("{} has the SHA-256 {found} where its record says {recorded}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// SHA-256 found.
        found: String,
        /// SHA-256 recorded.
        recorded: String,
    },
    /// A file that no record knows.
    #[error("{} is in no record", .0.display())]
    Surplus(PathBuf),
    /// A version whose integers are not those that the product's scheme gives.
    #[error("the release of {version} in {} has the integers {recorded} where the product's scheme gives {by_scheme}", folder.display())]
    Numbers {
        /// The release's folder.
        folder: PathBuf,
        /// The version.
        version: String,
        /// Integers recorded.
        recorded: String,
        /// What the scheme gives, or why it gives none.
        by_scheme: String,
    },
}

impl Ledger {
    /// Reads every record in a ledger's folder; a folder that is not there is an empty ledger. Names that begin with a
    /// point are skipped: they are leftovers of a cut, or version control's own.
    ///
    /// # Errors
    /// The first record that cannot be used.
    pub fn open(folder: &Path) -> Result<Self, LedgerError> {
        let mut ledger = Self {
            folder: folder.to_owned(),
            releases: Vec::new(),
        };
        for path in folders_in(folder)? {
            let record = read_record(&path.join(RECORD_FILE))?;
            ledger.take(Release { record, folder: path })?;
        }
        ledger.sort();
        ledger.check_folder_names()?;
        Ok(ledger)
    }

    fn take(&mut self, release: Release) -> Result<(), LedgerError> {
        let Record { version, issue, .. } = &release.record;
        if let Some(other) = self.find(version, *issue) {
            return Err(LedgerError::Twice {
                first: other.folder.clone(),
                second: release.folder.clone(),
                version: version.clone(),
                issue: *issue,
            });
        }
        self.releases.push(release);
        Ok(())
    }

    fn sort(&mut self) {
        let key = |release: &Release| {
            (
                release.record.numbers,
                release.record.issue,
                release.record.version.clone(),
            )
        };
        self.releases.sort_by_key(key);
    }

    fn check_folder_names(&self) -> Result<(), LedgerError> {
        for Release { record, folder } in &self.releases {
            let plain = record.version.clone();
            let numbered = issue_folder(&record.version, record.issue);
            let name = folder.file_name().unwrap_or_default();
            if name != plain.as_str() && name != numbered.as_str() {
                return Err(LedgerError::WrongFolder {
                    folder: folder.clone(),
                    found: format!("version {} of issue {}", record.version, record.issue),
                    expected: plain,
                });
            }
        }
        Ok(())
    }

    /// The releases, oldest version first; the same version's issues upward.
    pub fn releases(&self) -> &[Release] {
        &self.releases
    }

    /// The release of a version under an issue.
    pub fn find(&self, version: &str, issue: u64) -> Option<&Release> {
        self.releases
            .iter()
            .find(|release| release.record.version == version && release.record.issue == issue)
    }

    /// The release of a version under its highest issue: the one whose files are sent now.
    pub fn latest_issue_of(&self, version: &str) -> Option<&Release> {
        self.releases
            .iter()
            .filter(|release| release.record.version == version)
            .max_by_key(|release| release.record.issue)
    }

    /// The highest issue number ever used; `None` in an empty ledger.
    pub fn highest_issue(&self) -> Option<u64> {
        self.releases.iter().map(|release| release.record.issue).max()
    }

    /// The highest one-time key of the HSS-LMS key with this fingerprint that signed a recorded file.
    pub fn highest_one_time_key(&self, fingerprint: &str) -> Option<u32> {
        let boards = self.releases.iter().flat_map(|release| &release.record.boards);
        let signatures = boards.filter_map(|board| board.tree.as_ref());
        let own = signatures.filter(|signature| signature.signer == fingerprint);
        own.map(|signature| signature.one_time_key).max()
    }

    /// Adds a release and its update files. `files` gives each file's name and content, as the record lists them.
    ///
    /// # Errors
    /// The record or a file is not sound, another release of that version and issue is there, or the system refuses.
    /// The ledger is then unchanged.
    pub fn append(&mut self, record: &Record, files: &[(&str, &[u8])]) -> Result<Appended, LedgerError> {
        let text = record.to_text()?;
        let record = record.sorted();
        check_handed_over(&record, files)?;
        if let Some(there) = self.find(&record.version, record.issue) {
            return same_or_error(&record, there);
        }
        fs::create_dir_all(&self.folder).map_err(FileError::wrap("create", &self.folder))?;
        let name = match self.folder_of_first(&record.version) {
            None => record.version.clone(),
            Some(_) => issue_folder(&record.version, record.issue),
        };
        let path = self.folder.join(name);
        let folder = WholeFolder::begin(&self.folder)?;
        for (name, content) in files {
            folder.add(name, content)?;
        }
        folder.add(RECORD_FILE, text.as_bytes())?;
        if let Err(refused) = folder.finish(&path) {
            // Somebody else may have added a release of that name since the ledger was read.
            return match read_record(&path.join(RECORD_FILE)) {
                Ok(there) => same_or_error(
                    &record,
                    &Release {
                        record: there,
                        folder: path,
                    },
                ),
                Err(_) => Err(refused.into()),
            };
        }
        self.releases.push(Release { record, folder: path });
        self.sort();
        Ok(Appended::Added)
    }

    fn folder_of_first(&self, version: &str) -> Option<&Path> {
        let named = |release: &&Release| release.folder.file_name().is_some_and(|name| name == version);
        self.releases.iter().find(named).map(|release| release.folder.as_path())
    }

    /// Compares the archive with the records, file by file, and the records with the product's scheme.
    ///
    /// # Errors
    /// A folder cannot be listed.
    pub fn differences(&self, scheme: Scheme) -> Result<Vec<Difference>, LedgerError> {
        let mut differences = Vec::new();
        for release in &self.releases {
            let Release { record, folder } = release;
            differences.extend(record.archived().filter_map(|file| read_file(folder, file).err()));
            for path in files_in(folder)? {
                let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
                if name != RECORD_FILE && !record.archived().any(|file| file.name == name) {
                    differences.push(Difference::Surplus(path));
                }
            }
            let by_scheme = scheme.read(&record.version);
            if by_scheme.as_ref().map(|version| version.numbers()) != Ok(record.numbers) {
                differences.push(Difference::Numbers {
                    folder: folder.clone(),
                    version: record.version.clone(),
                    recorded: record.numbers.to_string(),
                    by_scheme: by_scheme.map_or_else(|error| format!("none ({error})"), |it| it.numbers().to_string()),
                });
            }
        }
        Ok(differences)
    }
}

impl Release {
    /// Path of a board revision's update file.
    pub fn file_path(&self, board: &BoardRecord) -> PathBuf {
        self.folder.join(&board.file)
    }

    /// The update file of a board revision, checked against its record.
    ///
    /// # Errors
    /// The file is not there or not as it was.
    pub fn update_file(&self, board: &BoardRecord) -> Result<Vec<u8>, LedgerError> {
        read_file(&self.folder, board.archived()).map_err(LedgerError::Changed)
    }

    /// The layout file, checked against its record; `None` if the release has none.
    ///
    /// # Errors
    /// The file is not there or not as it was.
    pub fn settings_file(&self) -> Result<Option<Vec<u8>>, LedgerError> {
        match &self.record.settings {
            None => Ok(None),
            Some(settings) => read_file(&self.folder, settings.archived())
                .map(Some)
                .map_err(LedgerError::Changed),
        }
    }
}

fn issue_folder(version: &str, issue: u64) -> String {
    format!("{version}-issue-{issue}")
}

fn read_record(path: &Path) -> Result<Record, LedgerError> {
    let bytes = read_bounded(path, LONGEST)?;
    let text = String::from_utf8(bytes).map_err(|_| LedgerError::NotText { path: path.to_owned() })?;
    Record::from_text(&path.to_string_lossy(), &text).map_err(|error| LedgerError::Document(Box::new(error)))
}

fn read_file(folder: &Path, archived: Archived<'_>) -> Result<Vec<u8>, Difference> {
    let path = folder.join(archived.name);
    let content = match read_bounded(&path, LARGEST_FILE) {
        Ok(content) => content,
        Err(refused) if refused.error.kind() == io::ErrorKind::NotFound => {
            return Err(Difference::Missing(path));
        }
        Err(refused) => {
            return Err(Difference::Unreadable {
                path,
                why: refused.error.to_string(),
            });
        }
    };
    if content.len() as u64 != archived.size {
        return Err(Difference::Size {
            path,
            found: content.len() as u64,
            recorded: archived.size,
        });
    }
    let found = sha256(&content);
    if found != archived.sha256 {
        return Err(Difference::Content {
            path,
            found: hex::encode(found),
            recorded: hex::encode(archived.sha256),
        });
    }
    Ok(content)
}

/// Each file once, as recorded: what is archived is what the record describes, from the first moment on.
fn check_handed_over(record: &Record, files: &[(&str, &[u8])]) -> Result<(), LedgerError> {
    let not_the_file = |file: &str, what| LedgerError::NotTheFile {
        file: file.to_owned(),
        what,
    };
    for archived in record.archived() {
        let mut matching = files.iter().filter(|(name, _)| *name == archived.name);
        let (Some((_, content)), None) = (matching.next(), matching.next()) else {
            return Err(not_the_file(archived.name, "it must be handed over exactly once"));
        };
        if content.len() as u64 != archived.size {
            return Err(not_the_file(archived.name, "the size differs"));
        }
        if sha256(content) != archived.sha256 {
            return Err(not_the_file(archived.name, "the SHA-256 differs"));
        }
    }
    match files
        .iter()
        .find(|(name, _)| !record.archived().any(|archived| archived.name == *name))
    {
        Some((name, _)) => Err(not_the_file(name, "the record does not list it")),
        None => Ok(()),
    }
}

fn same_or_error(record: &Record, there: &Release) -> Result<Appended, LedgerError> {
    // Releases from before layouts were kept have none; what they are is not changed by describing them later.
    let known = Record {
        settings: record.settings.clone().filter(|_| there.record.settings.is_some()),
        ..record.clone()
    };
    if known == there.record {
        return Ok(Appended::AlreadyThere);
    }
    Err(LedgerError::Different {
        version: record.version.clone(),
        issue: record.issue,
        folder: there.folder.clone(),
        differs: differing_parts(record, &there.record).join(", "),
    })
}

fn differing_parts(one: &Record, other: &Record) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    let mut note = |differs: bool, what: &str| {
        if differs {
            parts.push(what.to_owned());
        }
    };
    note(one.numbers != other.numbers, "the version's integers");
    note(one.date != other.date, "the date");
    note(one.kind != other.kind, "the kind");
    note(one.notes != other.notes, "the notes");
    note(one.settings != other.settings, "the settings' layout");
    for board in &one.boards {
        match other.board(&board.revision) {
            None => note(true, &format!("board {} (only in the new one)", board.revision)),
            Some(same) => note(board != same, &format!("board {}", board.revision)),
        }
    }
    for board in &other.boards {
        note(
            one.board(&board.revision).is_none(),
            &format!("board {} (only in the old one)", board.revision),
        );
    }
    parts
}

fn folders_in(folder: &Path) -> Result<Vec<PathBuf>, FileError> {
    Ok(entries_of(folder)?.into_iter().filter(|path| path.is_dir()).collect())
}

fn files_in(folder: &Path) -> Result<Vec<PathBuf>, FileError> {
    Ok(entries_of(folder)?.into_iter().filter(|path| !path.is_dir()).collect())
}

/// What a folder holds, sorted, without names that begin with a point.
fn entries_of(folder: &Path) -> Result<Vec<PathBuf>, FileError> {
    debug_assert!(
        PASSING.starts_with('.'),
        "unfinished folders must be among the names skipped here"
    );
    let listing = match fs::read_dir(folder) {
        Ok(listing) => listing,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(FileError::wrap("list", folder)(error)),
    };
    let mut paths = Vec::new();
    for entry in listing {
        let entry = entry.map_err(FileError::wrap("list", folder))?;
        if !entry.file_name().to_string_lossy().starts_with('.') {
            paths.push(entry.path());
        }
    }
    paths.sort();
    Ok(paths)
}
