//! Sticks made by `sticks.sh` with Debian's general tools, and what the examination must find on each.

mod common;
#[path = "common/updates.rs"]
mod updates;

use std::fs::{self, File};
use std::path::Path;
use std::process::Command;

use common::require;
use packstaff_stick::SeekSource;
use packstaff_stick::examine::Verdict::{Doubtful, NotReady, Ready};
use packstaff_stick::examine::{Examination, Medium, Options, Original, Verdict, examine};

/// Programs that the scripts call, and their Debian packages.
const TOOLS: [(&str, &str); 18] = [
    ("mkfs.fat", "dosfstools"),
    ("mcopy", "mtools"),
    ("mattrib", "mtools"),
    ("mdel", "mtools"),
    ("mmd", "mtools"),
    ("mren", "mtools"),
    ("sfdisk", "fdisk"),
    ("sgdisk", "gdisk"),
    ("mkfs.exfat", "exfatprogs"),
    ("mkfs.ntfs", "ntfs-3g"),
    ("mke2fs", "e2fsprogs"),
    ("xorriso", "xorriso"),
    ("zip", "zip"),
    ("gzip", "gzip"),
    ("python3", "python3"),
    ("bash", "bash"),
    ("dd", "coreutils"),
    ("grep", "grep"),
];

/// Case, verdict, and the findings in their order. The first part is that of the unit's reader.
#[rustfmt::skip]
const CASES: &[(&str, Verdict, &str)] = &[
    ("fat16", Ready, ""),
    ("fat32", Ready, ""),
    ("table", Ready, ""),
    ("floppy", Ready, ""),
    ("hidden-type", Ready, ""),
    ("second-partition", Ready, "several-partitions"),
    ("table-and-code", Ready, ""),
    ("one-fat", Ready, ""),
    ("live-fat", Ready, ""),
    ("both-totals", Ready, ""),
    ("no-info", Ready, ""),
    ("high-word", Ready, ""),
    ("top-bits", Ready, ""),
    ("sectors-4096", Ready, "large-sectors"),
    ("sectors-1024", Ready, "large-sectors"),
    ("fragments", Ready, "in-pieces"),
    ("dirty", Doubtful, "not-ejected"),
    ("few-clusters", Doubtful, "small-fat32"),
    ("long-names", NotReady, "other-ending leftovers"),
    ("orphan-pieces", Ready, ""),
    ("lower-case", Ready, ""),
    ("shadow-files", Ready, "companion leftovers"),
    ("big-folder", Ready, "not-all-examined"),
    ("bigger-folder", Ready, "not-all-examined"),
    ("overlap", Doubtful, "partitions-overlap several-partitions"),
    ("shared-clusters", Doubtful, "shared-clusters"),
    ("slack", Ready, ""),
    ("hybrid-gpt", Ready, "hybrid-table"),
    ("deleted", NotReady, "deleted"),
    ("in-a-folder", NotReady, "in-a-folder"),
    ("empty-file", NotReady, "file-empty"),
    ("label-only", NotReady, "no-update"),
    ("gpt", NotReady, "gpt"),
    ("exfat", NotReady, "format-exfat"),
    ("exfat-plain", NotReady, "format-exfat"),
    ("ntfs", NotReady, "format-ntfs"),
    ("ext4", NotReady, "format-ext"),
    ("zeros", NotReady, "blank"),
    ("ones", NotReady, "blank"),
    ("nothing", NotReady, "no-blocks"),
    ("iso", NotReady, "format-iso"),
    ("iso-hybrid", NotReady, "start-up-stick several-partitions"),
    ("no-signature", NotReady, "table-damaged"),
    ("starts-beyond", NotReady, "partition-unusable"),
    ("starts-nowhere", NotReady, "partition-unusable"),
    ("extended-only", NotReady, "extended-only partition-chain"),
    ("partition-wiped", NotReady, "format-unknown"),
    ("cut-short", NotReady, "image-cut"),
    ("partition-shorter", NotReady, "volume-damaged"),
    ("sector-size-0", NotReady, "volume-damaged"),
    ("sector-size-in-table", NotReady, "volume-damaged"),
    ("cluster-size-3", NotReady, "volume-damaged"),
    ("cluster-size-128k", NotReady, "volume-damaged"),
    ("reserved-0", NotReady, "volume-damaged"),
    ("no-fats", NotReady, "volume-damaged"),
    ("no-media", NotReady, "volume-damaged"),
    ("no-fat-size", NotReady, "volume-damaged"),
    ("no-total", NotReady, "volume-damaged"),
    ("tiny-total", NotReady, "volume-damaged"),
    ("no-root-entries", NotReady, "volume-damaged"),
    ("root-entries-32", NotReady, "volume-damaged"),
    ("short-fat", NotReady, "volume-damaged"),
    ("too-many-for-16", NotReady, "volume-damaged"),
    ("live-fat-5", NotReady, "volume-damaged"),
    ("version-1", NotReady, "volume-damaged"),
    ("root-cluster-0", NotReady, "volume-damaged"),
    ("root-cluster-1", NotReady, "volume-damaged"),
    ("root-cluster-wild", NotReady, "volume-damaged"),
    ("loop", NotReady, "file-unreadable"),
    ("loop-at-end", Doubtful, "chain-goes-on"),
    ("loop-to-start", Doubtful, "chain-goes-on"),
    ("wild", NotReady, "file-unreadable"),
    ("reserved-link", NotReady, "file-unreadable"),
    ("bad-cluster", NotReady, "file-unreadable worn"),
    ("free-cluster", NotReady, "file-unreadable"),
    ("ends-early", NotReady, "file-unreadable"),
    ("huge-size", NotReady, "file-unreadable"),
    ("size-beyond-chain", NotReady, "file-unreadable"),
    ("first-cluster-0", NotReady, "file-unreadable"),
    ("first-cluster-1", NotReady, "file-unreadable"),
    ("first-cluster-wild", NotReady, "file-unreadable"),
    ("root-loop", NotReady, "folder-damaged"),
    ("browser-copy", Ready, "second-copy"),
    ("twice", Ready, "second-copy twice"),
    ("ending-txt", NotReady, "other-ending"),
    ("ending-gone", NotReady, "other-ending"),
    ("in-a-deep-folder", NotReady, "in-a-folder"),
    ("in-the-bin", NotReady, "in-the-bin leftovers"),
    ("hidden-attribute", Ready, "hidden"),
    ("copy-in-a-folder", Ready, "in-a-folder"),
    ("deleted-and-back", Ready, ""),
    ("many-names", Ready, "many-files"),
    ("computers-own", Ready, "leftovers"),
    ("repaired", Doubtful, "repaired"),
    ("zip", NotReady, "zipped"),
    ("zip-named-so", NotReady, "zipped"),
    ("zip-of-notes", Ready, ""),
    ("gzip", NotReady, "packed"),
    ("web-page", NotReady, "web-page"),
    ("shortcut", NotReady, "shortcut"),
    ("something-else", NotReady, "not-an-update"),
    ("shadow-alone", NotReady, "companion-alone"),
    ("unfinished", NotReady, "download-unfinished"),
    ("hollow", NotReady, "file-hollow"),
    ("truncated", NotReady, "file-truncated"),
    ("truncated-early", NotReady, "file-truncated"),
    ("lengthened", NotReady, "file-lengthened"),
    ("damaged-payload", NotReady, "file-damaged"),
    ("damaged-manifest", NotReady, "file-damaged"),
    ("damaged-text", NotReady, "file-damaged"),
    ("damaged-start", NotReady, "file-damaged"),
    ("never-written", NotReady, "file-damaged"),
    ("other-board", NotReady, "other-board"),
    ("both-boards", Ready, "other-board"),
    ("other-product", NotReady, "other-product"),
    ("other-maker", NotReady, "other-maker"),
    ("other-keys", NotReady, "other-keys"),
    ("below-floor", NotReady, "below-floor"),
    ("too-large", NotReady, "too-large"),
    ("not-signed", NotReady, "not-signed"),
    ("other-board-in-a-folder", NotReady, "in-a-folder other-board"),
    ("ten-files", Doubtful, "list-is-full twice other-board"),
    ("second-of-two", NotReady, "in-another-partition several-partitions"),
    ("in-a-logical", NotReady, "in-another-partition several-partitions"),
    ("gpt-with-efi", NotReady, "gpt several-partitions"),
    ("gpt-one-copy", NotReady, "gpt gpt-damaged"),
    ("gpt-on-a-larger-stick", NotReady, "gpt gpt-damaged"),
    ("blocks-4096", NotReady, "large-blocks"),
    ("one-partition", Ready, "one-partition"),
    ("hfs-plus", NotReady, "format-hfs-plus"),
    ("apfs", NotReady, "format-apfs"),
    ("luks", NotReady, "encrypted"),
    ("bitlocker", NotReady, "encrypted"),
    ("ext2", NotReady, "format-ext"),
    ("packed-image", NotReady, "image-packed"),
    ("exfat-cut", NotReady, "format-exfat"),
    ("tables-differ", Doubtful, "tables-differ"),
    ("lost", Ready, "lost-clusters"),
    ("worn", Doubtful, "worn"),
    ("repeats", Doubtful, "smaller-than-it-claims"),
    ("boot-sector-gone", NotReady, "volume-damaged"),
    ("folder-loop", Ready, "folder-met-again lost-clusters"),
];

fn make(folder: &Path, case: &str) {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/sticks.sh");
    let output = Command::new("bash").arg(script).arg(folder).arg(case).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "case {case}: {said}");
}

fn look(folder: &Path, case: &str) -> Examination {
    make(folder, case);
    let path = folder.join(format!("{case}.img"));
    let mut source = SeekSource::new(File::open(&path).unwrap()).unwrap();
    let original = Original {
        name: "KC4.UPD".to_owned(),
        bytes: fs::read(folder.join("KC4.UPD")).unwrap(),
    };
    let options = Options {
        medium: Medium::Image,
        ending: "UPD",
        units: &[updates::unit_kind()],
        originals: &[original],
    };
    let found = examine(&mut source, &options).unwrap();
    fs::remove_file(path).unwrap();
    found
}

/// What the unit itself says must be among what the examination says.
fn check(case: &str, verdict: Verdict, ids: &str, found: &Examination) {
    let all: Vec<_> = found.findings.iter().map(|finding| finding.id).collect();
    assert_eq!(
        (found.verdict, all.join(" ").as_str()),
        (verdict, ids),
        "{case}: {:#?}",
        found.findings
    );
    for finding in &found.findings {
        for text in [&finding.owner, &finding.remedy] {
            assert!(text.ends_with('.') && text.len() > 15, "{case}: {text}");
        }
        assert!(
            !finding.maker.is_empty() && !finding.maker.ends_with("; "),
            "{case}: {}",
            finding.maker
        );
    }
    let [view] = found.views.as_slice() else {
        panic!("{case}: one kind of unit")
    };
    let refused = view
        .files
        .iter()
        .find_map(|judged| judged.verdict.as_ref().ok()?.refused_later);
    let takes = view.files.iter().any(|judged| {
        judged
            .verdict
            .as_ref()
            .is_ok_and(|offered| offered.refused_later.is_none())
    });
    assert_eq!(takes, verdict != Verdict::NotReady, "{case}: {view:?}");
    if let Some(reason) = view.told.or(refused) {
        let codes: Vec<_> = found.findings.iter().filter_map(|finding| finding.code).collect();
        assert!(
            codes.contains(&reason.code()),
            "{case}: the unit shows {}, not one of {codes:?}",
            reason.code()
        );
    }
}

fn run(part: usize) {
    require(&TOOLS);
    let folder = tempfile::tempdir().unwrap();
    updates::write_all(folder.path());
    for (case, verdict, ids) in CASES.iter().skip(part).step_by(4) {
        check(case, *verdict, ids, &look(folder.path(), case));
    }
}

#[test]
fn first_quarter_of_the_cases() {
    run(0);
}

#[test]
fn second_quarter_of_the_cases() {
    run(1);
}

#[test]
fn third_quarter_of_the_cases() {
    run(2);
}

#[test]
fn last_quarter_of_the_cases() {
    run(3);
}

#[test]
fn no_case_of_the_scripts_is_left_out() {
    let mut scripted = Vec::new();
    for script in [
        include_str!("../../../unit-side/fat/tests/cases.sh"),
        include_str!("sticks.sh"),
    ] {
        let (_, cases) = script.split_once("case $case in").unwrap();
        let names = cases
            .lines()
            .filter_map(|line| line.split_once(')'))
            .map(|(name, _)| name);
        let is_name = |name: &&str| !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
        scripted.extend(names.filter(is_name));
    }
    let here: Vec<_> = CASES.iter().map(|(case, ..)| *case).collect();
    assert_eq!(scripted, here);
}
