//! Copies of the demo product, the program run in them, and general tools.

use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// Done, and every check holds.
pub(crate) const HOLDS: i32 = 0;
/// A check does not hold.
pub(crate) const REFUSED: i32 = 1;
/// The work could not be done.
pub(crate) const FAILED: i32 = 2;

/// What stands for the machine's own memory, inside of a test's folder.
pub(crate) const MACHINE: &str = ".machine";

/// A product folder of its own for one test.
pub(crate) struct Folder {
    temp: TempDir,
}

/// What one run gave.
pub(crate) struct Run {
    pub(crate) code: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Folder {
    /// The demo product as it is committed: two boards, and releases 1.8 and 2.0 in its ledger.
    pub(crate) fn demo() -> Self {
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/kc4");
        let temp = tempfile::tempdir().unwrap();
        for part in [
            "product.toml",
            "notes",
            "keys",
            "settings",
            "firmware/built",
            "ledger/1.8",
            "ledger/2.0",
        ] {
            copy(&source.join(part), &temp.path().join(part));
        }
        Self { temp }
    }

    /// The demo product with board C alone and nothing in its ledger: few installs to rehearse, so it is quick.
    pub(crate) fn small() -> Self {
        let folder = Self::demo();
        let text = folder.text("product.toml");
        let board_d = text.find("[[board]]\nrevision = \"D\"").unwrap();
        let behind = text.find("[versions]").unwrap();
        let budget_d = text.find("\n[[budget.board]]\nrevision = \"D\"").unwrap();
        folder.write("product.toml", [&text[..board_d], &text[behind..budget_d]].concat());
        fs::remove_dir_all(folder.path("ledger")).unwrap();
        folder
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.temp.path().join(name)
    }

    pub(crate) fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    pub(crate) fn bytes(&self, name: &str) -> Vec<u8> {
        fs::read(self.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    pub(crate) fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        fs::write(self.path(name), content).unwrap();
    }

    /// Puts another text in the place of one that stands there exactly once.
    pub(crate) fn edit(&self, name: &str, old: &str, new: &str) {
        let text = self.text(name);
        assert_eq!(text.matches(old).count(), 1, "{old:?} in {name}");
        self.write(name, text.replace(old, new));
    }

    /// The program, about to be run in this folder.
    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("packstaff"));
        command.current_dir(self.temp.path()).args(arguments);
        command.env_remove("SOURCE_DATE_EPOCH").env_remove("NO_COLOR");
        // What a machine remembers is remembered for this test alone.
        command.env("XDG_STATE_HOME", self.path(MACHINE));
        command
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Run {
        finish(self.command(arguments).output().unwrap())
    }

    /// Runs a verb that needs the keyring, with the demo's identity.
    pub(crate) fn open(&self, arguments: &[&str]) -> Run {
        self.run(&[arguments, &["--identity", "keys/demo-identity.txt"]].concat())
    }

    pub(crate) fn release(&self, version: &str, more: &[&str]) -> Run {
        self.open(&[&["release", ".", "--version", version], more].concat())
    }

    /// Every file below, with its mode and digest.
    pub(crate) fn tree(&self) -> BTreeMap<PathBuf, (u32, String)> {
        let mut tree = BTreeMap::new();
        collect(self.temp.path(), &mut tree);
        tree
    }
}

impl Run {
    /// Demands an exit code, and shows what was said if it is another.
    #[track_caller]
    pub(crate) fn ended(self, code: i32) -> Self {
        assert_eq!(self.code, code, "stdout:\n{}\nstderr:\n{}", self.stdout, self.stderr);
        assert!(!self.stderr.contains("panicked"), "{}", self.stderr);
        self
    }

    /// Demands that standard error, with its line breaks taken out, says this.
    #[track_caller]
    pub(crate) fn complains(&self, what: &str) -> &Self {
        let said = flat(&self.stderr);
        assert!(said.contains(what), "{what:?} is not in:\n{said}");
        self
    }

    /// Standard output as JSON.
    #[track_caller]
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|error| panic!("{error}:\n{}", self.stdout))
    }
}

pub(crate) fn finish(output: Output) -> Run {
    Run {
        code: output.status.code().expect("no signal ended it"),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// A text without the frame and the line breaks that a complaint is laid out with.
fn flat(text: &str) -> String {
    let frame = |c: char| "│╰─▶├╭·×".contains(c);
    text.split(|c: char| c.is_whitespace() || frame(c))
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

/// The verdicts of a report's check, board by board.
pub(crate) fn verdicts(report: &Value, section: &str, id: &str) -> Vec<String> {
    let cells = row(report, section, id).unwrap_or_else(|| panic!("no check {id} in {section}"));
    let cells = cells.iter().filter(|cell| !cell.is_null());
    cells.map(|cell| cell["verdict"].as_str().unwrap().to_owned()).collect()
}

/// The cells of a report's check, if it has that check.
pub(crate) fn row<'a>(report: &'a Value, section: &str, id: &str) -> Option<&'a Vec<Value>> {
    let sections = report["sections"].as_array().unwrap();
    let rows = sections.iter().filter(|it| it["title"] == section);
    rows.flat_map(|it| it["rows"].as_array().unwrap())
        .find(|row| row["id"] == id)
        .map(|row| row["cells"].as_array().unwrap())
}

/// Runs a general tool; fails with the name of its Debian package if it is not there, and if it does not end well.
pub(crate) fn tool(package: &str, name: &str, set_up: impl FnOnce(&mut Command) -> &mut Command) -> String {
    // Debian keeps some of them where only root looks.
    let path = format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default());
    let found = path
        .split(':')
        .map(|folder| Path::new(folder).join(name))
        .find(|file| file.is_file());
    let file = found.unwrap_or_else(|| panic!("this test needs `{name}`: install the Debian package `{package}`"));
    let output = set_up(Command::new(file).env("LC_ALL", "C")).output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        output.status.success(),
        "{name}: {}\n{said}{}",
        output.status,
        String::from_utf8_lossy(&output.stderr)
    );
    said
}

fn copy(from: &Path, to: &Path) {
    if from.is_dir() {
        fs::create_dir_all(to).unwrap();
        for entry in fs::read_dir(from).unwrap() {
            let entry = entry.unwrap();
            copy(&entry.path(), &to.join(entry.file_name()));
        }
    } else {
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::copy(from, to).unwrap();
    }
}

fn collect(folder: &Path, tree: &mut BTreeMap<PathBuf, (u32, String)>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let mode = path.symlink_metadata().unwrap().permissions().mode();
        if path.is_dir() {
            tree.insert(path.clone(), (mode, String::new()));
            collect(&path, tree);
        } else {
            tree.insert(path.clone(), (mode, digest(&path)));
        }
    }
}

/// A file's SHA-256. Stick images are mostly holes, and long, so they are read piece by piece.
pub(crate) fn digest(path: &Path) -> String {
    let mut file = fs::File::open(path).unwrap();
    let mut sum = packstaff_envelope::Sha256::new();
    let mut piece = vec![0; 1 << 20];
    loop {
        match file.read(&mut piece).unwrap() {
            0 => return hex::encode(sum.finish()),
            length => sum.update(&piece[..length]),
        }
    }
}
