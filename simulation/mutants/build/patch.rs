//! A mutation as it is written down.

use std::error::Error;
use std::fs;
use std::path::Path;

/// One mutation.
pub(crate) struct Patch {
    /// The file's name, without its ending: words with hyphens.
    pub(crate) name: String,
    /// What the mistake is.
    pub(crate) what: String,
    /// What is changed.
    pub(crate) changes: Vec<Change>,
}

/// Lines of one file, and what stands in their place.
pub(crate) struct Change {
    /// The file, from the folder of the sources.
    pub(crate) file: String,
    found: String,
    put: String,
}

impl Patch {
    /// All mutations of a folder, in the order of their names.
    pub(crate) fn all(folder: &Path) -> Result<Vec<Self>, Box<dyn Error>> {
        let mut patches = Vec::new();
        for entry in fs::read_dir(folder)? {
            let path = entry?.path();
            let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
            let text = fs::read_to_string(&path)?;
            patches.push(Self::read(&name, &text).ok_or_else(|| format!("{} is no mutation", path.display()))?);
        }
        patches.sort_by(|one, other| one.name.cmp(&other.name));
        Ok(patches)
    }

    fn read(name: &str, text: &str) -> Option<Self> {
        let mut parts = text.split("\n@@ ");
        let what = parts.next()?.trim().to_owned();
        let changes: Vec<_> = parts.map(Change::read).collect::<Option<_>>()?;
        (!what.is_empty() && !changes.is_empty()).then(|| Self {
            name: name.to_owned(),
            what,
            changes,
        })
    }

    /// Its name as a module's.
    pub(crate) fn module(&self) -> String {
        self.name.replace('-', "_")
    }

    /// Its name as a variant's.
    pub(crate) fn variant(&self) -> String {
        let capital = |word: &str| word[..1].to_uppercase() + &word[1..];
        self.name.split('-').map(capital).collect()
    }
}

impl Change {
    fn read(text: &str) -> Option<Self> {
        let (file, lines) = text.split_once('\n')?;
        let (mut found, mut put) = (String::new(), String::new());
        for line in lines.lines().filter(|line| !line.is_empty()) {
            let (kind, line) = line.split_at_checked(1)?;
            let line = format!("{line}\n");
            match kind {
                " " => {
                    found += &line;
                    put += &line;
                }
                "-" => found += &line,
                "+" => put += &line,
                _ => return None,
            }
        }
        (!found.is_empty() && found != put).then(|| Self {
            file: file.trim().to_owned(),
            found,
            put,
        })
    }

    /// The file's text with the change in it.
    pub(crate) fn apply(&self, text: &str) -> Result<String, String> {
        match text.matches(&self.found).count() {
            1 => Ok(text.replacen(&self.found, &self.put, 1)),
            count => Err(format!(
                "these lines are {count} times in {}, and must be there once:\n{}",
                self.file, self.found
            )),
        }
    }
}
