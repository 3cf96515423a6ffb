//! Sticks made by `cases.sh` with Debian's general tools, and what the reader must make of each.

mod walk;

use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;
use std::process::Command;

use packstaff_fat::{Block, DeviceBlock, Error, Kind};
use walk::{ALL, Walk, walk};

/// Tools that the script calls, and the Debian packages that they are in.
const TOOLS: [(&str, &str); 14] = [
    ("mkfs.fat", "dosfstools"),
    ("mcopy", "mtools"),
    ("mdel", "mtools"),
    ("mmd", "mtools"),
    ("mren", "mtools"),
    ("sfdisk", "fdisk"),
    ("sgdisk", "gdisk"),
    ("mkfs.exfat", "exfatprogs"),
    ("mkfs.ntfs", "ntfs-3g"),
    ("mke2fs", "e2fsprogs"),
    ("xorriso", "xorriso"),
    ("python3", "python3"),
    ("bash", "bash"),
    ("dd", "coreutils"),
];

/// Length of the update, which makes it 49 clusters on the small base volume, the last one not full.
const UPDATE: usize = 98_427;

enum Verdict {
    /// The update is there under this name, byte for byte, in a volume of this form.
    Whole(Kind, &'static str),
    /// The stick is sound, and has no update in its root.
    Absent,
    /// The stick mounts and the update is listed, but reading it gives this.
    Broken(Error),
    /// The stick does not mount.
    Refused(Error),
    /// The update is read, and listing the root then stops with this.
    Stopped(Error),
}

use Verdict::{Absent, Broken, Refused, Stopped, Whole};

const F12: Verdict = Whole(Kind::Fat12, "KC4.UPD");
const F16: Verdict = Whole(Kind::Fat16, "KC4.UPD");
const F32: Verdict = Whole(Kind::Fat32, "KC4.UPD");

/// The small base volume has 8,167 clusters, so that 8,168 is the highest number.
const LAST: u32 = 8_168;

const CASES: &[(&str, Verdict)] = &[
    ("fat16", F16),
    ("fat32", F32),
    ("table", F32),
    ("floppy", F12),
    ("hidden-type", F32),
    ("second-partition", F32),
    ("table-and-code", F16),
    ("one-fat", F16),
    ("live-fat", F32),
    ("both-totals", F16),
    ("no-info", F32),
    ("high-word", F16),
    ("top-bits", F32),
    ("sectors-4096", F32),
    ("sectors-1024", F16),
    ("fragments", F16),
    ("dirty", F32),
    ("few-clusters", F32),
    ("long-names", Whole(Kind::Fat32, "kiln update (1).upd.txt")),
    ("orphan-pieces", Whole(Kind::Fat32, "XLONGN~1.UPD")),
    ("lower-case", Whole(Kind::Fat32, "kc4.upd")),
    ("shadow-files", F32),
    ("big-folder", F32),
    ("bigger-folder", F32),
    ("overlap", F32),
    ("shared-clusters", F16),
    ("slack", F16),
    ("hybrid-gpt", F32),
    ("deleted", Absent),
    ("in-a-folder", Absent),
    ("empty-file", Absent),
    ("label-only", Absent),
    ("gpt", Refused(Error::Gpt)),
    ("exfat", Refused(Error::ExFat)),
    ("exfat-plain", Refused(Error::ExFat)),
    ("ntfs", Refused(Error::Ntfs)),
    ("ext4", Refused(Error::NoSignature { block: 0 })),
    ("zeros", Refused(Error::NoSignature { block: 0 })),
    ("ones", Refused(Error::NoSignature { block: 0 })),
    ("nothing", Refused(Error::EmptyDevice)),
    ("iso", Refused(Error::NoSignature { block: 0 })),
    ("iso-hybrid", Refused(Error::StartUpOnly)),
    ("no-signature", Refused(Error::NoSignature { block: 0 })),
    (
        "starts-beyond",
        Refused(Error::PartitionOutside {
            slot: 1,
            start: 0x0FFF_FFFF,
            blocks: 98_304,
        }),
    ),
    ("starts-nowhere", Refused(Error::PartitionEmpty { slot: 1 })),
    ("extended-only", Refused(Error::ExtendedOnly)),
    ("partition-wiped", Refused(Error::NoSignature { block: 2048 })),
    (
        "cut-short",
        Refused(Error::VolumePastEnd {
            claimed: 32_768,
            available: 175,
        }),
    ),
    (
        "partition-shorter",
        Refused(Error::VolumePastEnd {
            claimed: 92_160,
            available: 4_096,
        }),
    ),
    ("sector-size-0", Refused(Error::SectorSize { found: 0 })),
    ("sector-size-in-table", Refused(Error::SectorSize { found: 768 })),
    (
        "cluster-size-3",
        Refused(Error::ClusterSize {
            found: 3,
            sector_size: 512,
        }),
    ),
    (
        "cluster-size-128k",
        Refused(Error::ClusterSize {
            found: 32,
            sector_size: 4096,
        }),
    ),
    ("reserved-0", Refused(Error::NoReservedSectors)),
    ("no-fats", Refused(Error::NoFats)),
    ("no-media", Refused(Error::MediaByte { found: 0 })),
    ("no-fat-size", Refused(Error::RootEntries { found: 512 })),
    ("no-total", Refused(Error::NoTotal)),
    // 1 + 2 x 32 + 32 sectors come before the data.
    (
        "tiny-total",
        Refused(Error::NoDataRegion {
            first_data: 97,
            total: 80,
        }),
    ),
    ("no-root-entries", Refused(Error::RootEntries { found: 0 })),
    ("root-entries-32", Refused(Error::RootEntries { found: 512 })),
    // 4 sectors of FAT leave (32768 - 41) / 4 = 8181 clusters, with two entries more of 2 bytes each.
    (
        "short-fat",
        Refused(Error::FatTooShort {
            found: 2_048,
            needed: 16_366,
        }),
    ),
    // 131072 sectors, less 1 + 2 x 512 + 32.
    ("too-many-for-16", Refused(Error::TypeConflict { clusters: 130_015 })),
    ("live-fat-5", Refused(Error::LiveFat { found: 5, fats: 2 })),
    ("version-1", Refused(Error::Version { found: 0x0100 })),
    ("root-cluster-0", Refused(Error::RootCluster { found: 0, last: 80_629 })),
    ("root-cluster-1", Refused(Error::RootCluster { found: 1, last: 80_629 })),
    (
        "root-cluster-wild",
        Refused(Error::RootCluster {
            found: 0x0FFF_FFFF,
            last: 80_629,
        }),
    ),
    // The anchors stand at the 2nd, 4th, 8th, 16th, 32nd ... cluster of a walk: 4, 6, 10, 18, 34 here, and 17 the second time round.
    ("loop", Broken(Error::ChainLoop { cluster: 18 })),
    ("loop-at-end", Broken(Error::ChainLoop { cluster: 51 })),
    ("loop-to-start", Broken(Error::ChainLoop { cluster: 17 })),
    (
        "wild",
        Broken(Error::ChainOutside {
            cluster: 20,
            found: LAST + 1,
            last: LAST,
        }),
    ),
    (
        "reserved-link",
        Broken(Error::ChainOutside {
            cluster: 20,
            found: 1,
            last: LAST,
        }),
    ),
    ("bad-cluster", Broken(Error::ChainBad { cluster: 20 })),
    ("free-cluster", Broken(Error::ChainFree { cluster: 20 })),
    // Clusters 3 to 20 hold 18 x 2048 bytes.
    (
        "ends-early",
        Broken(Error::ChainShort {
            missing: UPDATE as u32 - 36_864,
        }),
    ),
    ("huge-size", Broken(Error::FileTooLarge { size: u32::MAX })),
    // 102400 bytes are 50 clusters, one more than there are.
    ("size-beyond-chain", Broken(Error::ChainShort { missing: 2_048 })),
    ("first-cluster-0", Broken(Error::FirstCluster { found: 0, last: LAST })),
    ("first-cluster-1", Broken(Error::FirstCluster { found: 1, last: LAST })),
    (
        "first-cluster-wild",
        Broken(Error::FirstCluster {
            found: LAST + 1,
            last: LAST,
        }),
    ),
    ("root-loop", Stopped(Error::ChainLoop { cluster: 2 })),
];

fn require_tools() {
    let path = format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default());
    for (tool, package) in TOOLS {
        let is_there = path.split(':').any(|folder| Path::new(folder).join(tool).is_file());
        assert!(
            is_there,
            "this test needs `{tool}`: install the Debian package `{package}`"
        );
    }
}

fn make(folder: &Path, case: &str) -> File {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/cases.sh");
    let output = Command::new("bash").arg(script).arg(folder).arg(case).output().unwrap();
    assert!(
        output.status.success(),
        "case {case}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    File::open(folder.join(format!("{case}.img"))).unwrap()
}

fn walk_file(file: &mut File, device_block: DeviceBlock) -> Result<Walk, Error> {
    let blocks = file.metadata().unwrap().len() / 512;
    walk(blocks, device_block, ALL, &mut |number| {
        let mut block: Block = [0; 512];
        file.seek(SeekFrom::Start(number * 512)).unwrap();
        file.read_exact(&mut block).unwrap();
        block
    })
}

/// Bytes without a pattern that a wrong order of blocks could go unseen in.
fn update() -> Vec<u8> {
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 32) as u8
    };
    std::iter::repeat_with(next).take(UPDATE).collect()
}

fn check(case: &str, verdict: &Verdict, walked: Result<Walk, Error>, update: &[u8]) {
    let walk = match (verdict, walked) {
        (Refused(expected), Err(found)) => return assert_eq!(found, *expected, "{case}"),
        (Refused(_), Ok(_)) => panic!("{case}: mounted"),
        (_, Err(found)) => panic!("{case}: {found}"),
        (_, Ok(walk)) => walk,
    };
    let stopped = if let Stopped(error) = verdict {
        Some(*error)
    } else {
        None
    };
    assert_eq!(walk.stopped, stopped, "{case}");
    if case.starts_with("label-") {
        assert_eq!(walk.label.as_ref(), Some(b"KC4     UPD"), "{case}");
    }
    let is_gone = |walked: &walk::Walked| walked.entry.short.bytes[0] == 0xE5;
    assert!(!walk.entries.iter().any(is_gone), "{case}: a deleted entry is given");
    if case.ends_with("-folder") && case != "in-a-folder" {
        let big = walk.entries.iter().find(|walked| walked.entry.is_directory()).unwrap();
        let expected = if case == "bigger-folder" {
            Err(Error::DirectoryTooLong)
        } else {
            Ok(0)
        };
        assert_eq!(
            big.contents.as_ref().map(Vec::len).map_err(|error| *error),
            expected,
            "{case}"
        );
    }
    let shown = |walked: &walk::Walked| walked.long.clone().unwrap_or_else(|| walked.entry.short.to_string());
    let named = |name: &str| walk.entries.iter().find(|walked| shown(walked) == name);
    match verdict {
        Whole(kind, name) => {
            assert_eq!(walk.volume.kind(), *kind, "{case}");
            let Some(found) = named(name) else {
                panic!(
                    "{case}: no {name} among {:?}",
                    walk.entries.iter().map(shown).collect::<Vec<_>>()
                )
            };
            assert!(
                found.contents.as_deref() == Ok(update),
                "{case}: {:?}",
                found.contents.as_ref().map(Vec::len)
            );
        }
        Stopped(_) => assert!(named("KC4.UPD").unwrap().contents.as_deref() == Ok(update), "{case}"),
        Broken(error) => {
            assert_eq!(
                named("KC4.UPD").unwrap().contents.as_ref().map(Vec::len),
                Err(error),
                "{case}"
            );
        }
        Absent => assert!(
            walk.entries
                .iter()
                .all(|walked| walked.contents.as_deref() != Ok(update)),
            "{case}"
        ),
        Refused(_) => {}
    }
}

fn run(cases: &[(&str, Verdict)]) {
    require_tools();
    let folder = std::env::temp_dir().join(format!("fat-cases-{}-{}", std::process::id(), cases[0].0));
    fs::create_dir_all(&folder).unwrap();
    let update = update();
    fs::write(folder.join("KC4.UPD"), &update).unwrap();
    for (case, verdict) in cases {
        let mut file = make(&folder, case);
        check(case, verdict, walk_file(&mut file, DeviceBlock::B512), &update);
        fs::remove_file(folder.join(format!("{case}.img"))).unwrap();
    }
    fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn first_half_of_the_cases() {
    run(&CASES[..CASES.len() / 2]);
}

#[test]
fn second_half_of_the_cases() {
    run(&CASES[CASES.len() / 2..]);
}

#[test]
fn the_script_has_no_case_without_a_verdict() {
    let script = include_str!("cases.sh");
    let (_, cases) = script.split_once("case $case in").unwrap();
    let label = |line: &str| {
        let (name, _) = line.split_once(')')?;
        let is_label = !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
        is_label.then(|| name.to_owned())
    };
    let in_script: Vec<String> = cases.lines().filter_map(label).collect();
    let here: Vec<String> = CASES.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(in_script, here);
}
