//! What is listed, in the eyes of mtools and of the crate `fatfs`: every readable case of the scripts, and random trees of folders that
//! one of the two has written.

mod common;
#[path = "common/updates.rs"]
mod updates;

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{Cursor, Read, Seek, SeekFrom, Write};
use std::path::Path;
use std::process::Command;

use common::{noise, require, spec, tool};
use packstaff_stick::examine::everything;
use packstaff_stick::{Kind, SeekSource, StickImage, StickSpec, build, listing, read_file};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

/// Trees in each of the four tests of random trees: 500 in all.
const TREES: u32 = 125;

type Names = Vec<String>;

/// Paths that mtools lists, folders with a slash behind.
fn by_mtools(drive: &str, is_deep: bool) -> Result<Names, String> {
    let output = tool("mtools", "mdir", |mdir| {
        let deep: &[&str] = if is_deep { &["-/"] } else { &[] };
        // Names are shown in the characters of this locale, which Debian always has.
        mdir.env("LC_ALL", "C.UTF-8")
            .args(deep)
            .args(["-a", "-b", "-i", drive, "::"])
    });
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    let said = String::from_utf8(output.stdout).unwrap();
    let names = said
        .lines()
        .filter_map(|line| line.strip_prefix("::/"))
        .map(str::to_owned);
    let mut names: Names = names.filter(|name| !name.is_empty() && !is_dot(name)).collect();
    names.sort();
    Ok(names)
}

fn is_dot(path: &str) -> bool {
    let last = path.trim_end_matches('/').rsplit('/').next().unwrap_or(path);
    last == "." || last == ".."
}

/// Paths that fatfs lists, with the sizes of files.
fn by_fatfs(volume: impl Read + Write + Seek, is_deep: bool) -> Result<BTreeMap<String, u64>, String> {
    let fs = fatfs::FileSystem::new(volume, fatfs::FsOptions::new()).map_err(|error| error.to_string())?;
    let mut found = BTreeMap::new();
    let mut waiting = vec![(String::new(), fs.root_dir())];
    while let Some((path, folder)) = waiting.pop() {
        for entry in folder.iter() {
            let entry = entry.map_err(|error| error.to_string())?;
            let name = entry.file_name();
            if is_dot(&name) {
                continue;
            }
            if entry.is_dir() {
                let below = format!("{path}{name}/");
                found.insert(below.clone(), 0);
                if is_deep {
                    waiting.push((below, entry.to_dir()));
                }
            } else {
                found.insert(format!("{path}{name}"), entry.len());
            }
        }
    }
    Ok(found)
}

/// A part of a file, as `fatfs` takes a volume.
struct Part {
    file: File,
    start: u64,
}

impl Read for Part {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.file.read(buffer)
    }
}

impl Write for Part {
    fn write(&mut self, buffer: &[u8]) -> std::io::Result<usize> {
        self.file.write(buffer)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Seek for Part {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        let to = match to {
            SeekFrom::Start(at) => SeekFrom::Start(self.start + at),
            other => other,
        };
        Ok(self.file.seek(to)? - self.start)
    }
}

/// What mtools or fatfs see otherwise, and why. All of these are as the notes in `fat`'s documentation have it, or are limits of the
/// witness.
const OTHERWISE: &[(&str, &str, &str)] = &[
    (
        "both-totals",
        "fatfs",
        "refuses a volume whose total stands in both fields",
    ),
    (
        "few-clusters",
        "mtools",
        "takes FAT32 with so few clusters for FAT12, and finds no root",
    ),
    ("few-clusters", "fatfs", "the same"),
    (
        "no-info",
        "fatfs",
        "refuses a volume whose hints about free space are damaged",
    ),
    ("root-loop", "fatfs", "never comes to an end"),
    ("root-loop", "mtools", "lists the root again and again, or stops"),
];

fn is_otherwise(case: &str, witness: &str) -> bool {
    OTHERWISE.iter().any(|(name, who, _)| *name == case && *who == witness)
}

fn compare_case(folder: &Path, case: &str) -> bool {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/sticks.sh");
    let output = Command::new("bash").arg(script).arg(folder).arg(case).output().unwrap();
    assert!(
        output.status.success(),
        "case {case}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    let path = folder.join(format!("{case}.img"));
    let mut source = SeekSource::new(File::open(&path).unwrap()).unwrap();
    let Ok(found) = listing(&mut source) else {
        fs::remove_file(path).unwrap();
        return false;
    };
    let slash = |is_folder: bool| if is_folder { "/" } else { "" };
    let mut ours: Names = found
        .entries
        .iter()
        .map(|listed| format!("{listed}{}", slash(listed.entry.is_directory())))
        .collect();
    ours.sort();
    let start = found.volume.first_block() * 512;
    // A list of exceptions must not outlive its reasons; only the endless ones are not tried.
    let agrees = |case: &str, witness: &str, theirs: Result<Names, String>| {
        let is_same = theirs.as_ref() == Ok(&ours);
        assert_eq!(
            is_same,
            !is_otherwise(case, witness),
            "{case}: {witness} lists {theirs:?}, we list {ours:?}"
        );
    };
    if case != "root-loop" {
        agrees(
            case,
            "mtools",
            by_mtools(&format!("{}@@{start}", path.display()), false),
        );
    }
    if case != "root-loop" {
        let mut file = File::options().read(true).write(true).open(&path).unwrap();
        file.seek(SeekFrom::Start(start)).unwrap();
        let theirs = by_fatfs(Part { file, start }, false).map(|found| found.into_keys().collect::<Names>());
        agrees(case, "fatfs", theirs);
    }
    fs::remove_file(path).unwrap();
    true
}

fn compare_cases(part: usize) -> usize {
    require(&[
        ("mdir", "mtools"),
        ("bash", "bash"),
        ("mkfs.fat", "dosfstools"),
        ("sgdisk", "gdisk"),
        ("zip", "zip"),
    ]);
    let folder = tempfile::tempdir().unwrap();
    updates::write_all(folder.path());
    let scripts = [
        include_str!("../../../unit-side/fat/tests/cases.sh"),
        include_str!("sticks.sh"),
    ];
    let names = scripts.iter().flat_map(|script| {
        let (_, cases) = script.split_once("case $case in").unwrap();
        cases
            .lines()
            .filter_map(|line| line.split_once(')'))
            .map(|(name, _)| name)
    });
    let is_name = |name: &&str| !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
    // A folder of 65,536 entries is of no interest here.
    let names = names.filter(is_name).filter(|name| !name.starts_with("big"));
    names
        .skip(part)
        .step_by(3)
        .filter(|case| compare_case(folder.path(), case))
        .count()
}

#[test]
fn cases_are_listed_alike_first_part() {
    let readable = compare_cases(0);
    assert!(readable > 20, "{readable} readable cases");
}

#[test]
fn cases_are_listed_alike_second_part() {
    let readable = compare_cases(1);
    assert!(readable > 20, "{readable} readable cases");
}

#[test]
fn cases_are_listed_alike_third_part() {
    let readable = compare_cases(2);
    assert!(readable > 20, "{readable} readable cases");
}

/// A tree: each file or folder has a name, and lies in one of the folders before it or at the top.
#[derive(Clone, Debug)]
struct Item {
    name: String,
    within: u8,
    /// Bytes of a file; `None` for a folder.
    size: Option<u16>,
}

/// Who writes a random tree.
#[derive(Clone, Copy)]
enum Writer {
    Mtools,
    Fatfs,
}

impl Writer {
    /// Letters in the longest names. 255 are the most (FAT specification, "Long Names"); but mtools 4.0.32 gives a folder one cluster
    /// more for a name and no second one ("No directory slots"), and 16 entries fill a cluster of 512 bytes: one of the short name, 15
    /// of 13 letters each.
    const fn longest(self) -> usize {
        match self {
            Self::Mtools => 15 * 13,
            Self::Fatfs => 255,
        }
    }
}

fn names(writer: Writer) -> impl Strategy<Value = String> {
    let longest = format!("[a-z]{{{}}}", writer.longest());
    prop_oneof![
        3 => "[A-Z0-9]{1,8}(\\.[A-Z]{1,3})?",
        2 => "[a-z0-9]{1,8}(\\.[a-z]{1,3})?",
        3 => "[A-Za-z0-9][A-Za-z0-9 ()_+,;=\\[\\]&-]{0,40}[A-Za-z0-9)](\\.[a-zA-Z0-9]{1,6})?",
        // Shorter ones may be stored in a code page that the stick does not name, without a long name: mtools shows them by the page
        // that it is set to, and we show `?`.
        1 => "[a-zäöüéß]{9,14}(\\.txt)?",
        1 => "[日本語кирилл]{1,20}",
        1 => "\\._[A-Z]{3}\\.UPD",
        // 13 characters fill a piece of a long name exactly.
        1 => proptest::string::string_regex(&format!("[a-z]{{13}}|[a-z]{{26}}|[a-z]{{27}}|{longest}")).unwrap(),
    ]
}

fn trees(writer: Writer) -> impl Strategy<Value = (u8, Vec<Item>)> {
    let item = (names(writer), any::<u8>(), prop::option::weighted(0.7, 0u16..5000));
    let items = prop::collection::vec(item.prop_map(|(name, within, size)| Item { name, within, size }), 1..40);
    (0u8..8, items)
}

/// Paths of a tree; folders have a slash behind. Where two names would meet, the later one is left out.
fn paths(items: &[Item]) -> Vec<(String, Option<u16>)> {
    let mut folders = vec![String::new()];
    let mut taken = std::collections::BTreeSet::new();
    let mut paths = Vec::new();
    for item in items {
        let parent = folders[usize::from(item.within) % folders.len()].clone();
        let path = format!("{parent}{}", item.name);
        // Deep paths would be longer than file systems take.
        if !taken.insert(path.to_lowercase()) || path.len() > 600 {
            continue;
        }
        if item.size.is_none() {
            folders.push(format!("{path}/"));
        }
        paths.push((if item.size.is_none() { format!("{path}/") } else { path }, item.size));
    }
    paths
}

fn contents(path: &str, size: u16) -> Vec<u8> {
    noise(size.into(), path.len() as u64 + 1)
}

fn blank(choice: u8) -> StickImage {
    let (kind, size, cluster) = match choice {
        0..=2 => (Kind::Fat12, 2 << 20, None),
        3..=6 => (Kind::Fat16, 6 << 20, None),
        _ => (Kind::Fat32, 36 << 20, None),
    };
    build(&StickSpec {
        cluster,
        ..spec(kind, size)
    })
    .unwrap()
}

fn write_with_mtools(folder: &Path, drive: &Path, tree: &[(String, Option<u16>)]) {
    let temporary = tempfile::tempdir_in(folder).unwrap();
    let root = temporary.path();
    for (path, size) in tree {
        match size {
            None => fs::create_dir(root.join(path)).unwrap(),
            Some(size) => fs::write(root.join(path), contents(path, *size)).unwrap(),
        }
    }
    let mut top: Vec<_> = fs::read_dir(root).unwrap().map(|entry| entry.unwrap().path()).collect();
    top.sort();
    let output = tool("mtools", "mcopy", |mcopy| {
        mcopy
            .env("LC_ALL", "C.UTF-8")
            .args(["-s", "-Q", "-i"])
            .arg(drive)
            .args(top)
            .arg("::/")
    });
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

fn write_with_fatfs(volume: &mut Vec<u8>, tree: &[(String, Option<u16>)]) {
    let fs = fatfs::FileSystem::new(Cursor::new(volume), fatfs::FsOptions::new()).unwrap();
    for (path, size) in tree {
        match size {
            None => drop(fs.root_dir().create_dir(path.trim_end_matches('/')).unwrap()),
            Some(size) => {
                let mut file = fs.root_dir().create_file(path).unwrap();
                file.truncate().unwrap();
                file.write_all(&contents(path, *size)).unwrap();
            }
        }
    }
    fs.unmount().unwrap();
}

fn compare_tree(folder: &Path, choice: u8, items: &[Item], writer: Writer) -> Result<(), TestCaseError> {
    let tree = paths(items);
    let path = folder.join("tree.img");
    let mut bytes = blank(choice).to_vec();
    match writer {
        Writer::Mtools => {
            fs::write(&path, &bytes).unwrap();
            write_with_mtools(folder, &path, &tree);
            bytes = fs::read(&path).unwrap();
        }
        Writer::Fatfs => {
            write_with_fatfs(&mut bytes, &tree);
            fs::write(&path, &bytes).unwrap();
        }
    }
    let mut expected: Names = tree.iter().map(|(path, _)| path.clone()).collect();
    expected.sort();

    let mut source = SeekSource::new(Cursor::new(&bytes)).unwrap();
    let found = listing(&mut source).unwrap();
    let all = everything(&mut source, &found.volume);
    let mut ours: Names = Vec::new();
    for placed in &all {
        if placed.entry.is_directory() {
            ours.push(format!("{}/", placed.path));
        } else {
            let due = tree
                .iter()
                .find(|(path, _)| *path == placed.path)
                .and_then(|(_, size)| *size);
            prop_assert_eq!(due.map(u32::from), Some(placed.entry.size), "{}", placed.path);
            let read = read_file(&mut source, &found.volume, &placed.entry).unwrap();
            prop_assert!(read == contents(&placed.path, due.unwrap_or(0)), "{}", placed.path);
            ours.push(placed.path.clone());
        }
    }
    ours.sort();
    prop_assert_eq!(&ours, &expected);
    let theirs = by_mtools(&path.display().to_string(), true);
    prop_assert_eq!(theirs, Ok(expected.clone()), "mtools");
    let theirs = by_fatfs(Cursor::new(bytes), true).unwrap();
    prop_assert_eq!(theirs.into_keys().collect::<Names>(), expected, "fatfs");
    Ok(())
}

fn compare_trees(writer: Writer) {
    require(&[("mdir", "mtools"), ("mcopy", "mtools")]);
    let folder = tempfile::tempdir().unwrap();
    let mut runner = TestRunner::new(Config {
        cases: TREES,
        failure_persistence: None,
        max_shrink_iters: 200,
        ..Config::default()
    });
    let result = runner.run(&trees(writer), |(choice, items)| {
        compare_tree(folder.path(), choice, &items, writer)
    });
    if let Err(error) = result {
        panic!("{error}");
    }
}

#[test]
fn random_trees_that_mtools_wrote_are_listed_alike() {
    compare_trees(Writer::Mtools);
}

#[test]
fn more_random_trees_that_mtools_wrote_are_listed_alike() {
    compare_trees(Writer::Mtools);
}

#[test]
fn random_trees_that_fatfs_wrote_are_listed_alike() {
    compare_trees(Writer::Fatfs);
}

#[test]
fn more_random_trees_that_fatfs_wrote_are_listed_alike() {
    compare_trees(Writer::Fatfs);
}
