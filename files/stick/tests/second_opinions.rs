//! Images that we make, in the eyes of tools that others made: Debian's dosfstools, mtools and fdisk, and the crate `fatfs`.

mod common;

use std::fs;
use std::io::{Cursor, Read};
use std::path::Path;

use common::{STAMP, noise, spec, succeed, tool, write_from};
use packstaff_stick::{DeviceBlock, Kind, StickImage, StickSpec, build, listing_with_device_block, read_file};

const MIB: u64 = 1 << 20;

/// Forms and sizes: smallest, near the edges of the specification's tables, usual, large.
const GRID: [(Kind, u64, Option<u32>); 17] = [
    (Kind::Fat12, 64 << 10, None),
    (Kind::Fat12, 1440 << 10, None),
    (Kind::Fat12, 4 * MIB, None),
    (Kind::Fat12, 30 * MIB, None),
    (Kind::Fat12, 120 * MIB, Some(65_536)),
    (Kind::Fat16, 5 * MIB, None),
    (Kind::Fat16, 16 * MIB, None),
    (Kind::Fat16, 33 * MIB, Some(1024)),
    (Kind::Fat16, 130 * MIB, None),
    (Kind::Fat16, 500 * MIB, None),
    (Kind::Fat16, 2000 * MIB, None),
    (Kind::Fat32, 36 * MIB, None),
    (Kind::Fat32, 100 * MIB, Some(1024)),
    (Kind::Fat32, 300 * MIB, None),
    (Kind::Fat32, 600 * MIB, Some(4096)),
    (Kind::Fat32, 4096 * MIB, None),
    (Kind::Fat32, 40_960 * MIB, None),
];

fn with_files(spec: StickSpec) -> StickSpec {
    // An empty file, one byte, exactly a block, one more than the usual cluster, and one with many clusters.
    spec.with_file("EMPTY.TXT", [])
        .with_file("ONE", noise(1, 1))
        .with_file("BLOCK.BIN", noise(512, 2))
        .with_file("CLUSTER.BIN", noise(4097, 3))
        .with_file("KC4-0142.UPD", noise(20_001, 4))
}

/// All of the grid, without and with a partition table.
fn grid() -> impl Iterator<Item = StickSpec> {
    GRID.into_iter().flat_map(|(kind, size, cluster)| {
        let plain = with_files(StickSpec {
            cluster,
            ..spec(kind, size)
        });
        // A table takes the first MiB, so the stick gets one more. Cutting the volume out of a very large image takes too long.
        let is_cut = size <= 600 * MIB;
        let table = StickSpec {
            partitioned: true,
            size: size + MIB,
            ..plain.clone()
        };
        [Some(plain), is_cut.then_some(table)].into_iter().flatten()
    })
}

fn first_block(spec: &StickSpec) -> u64 {
    if spec.partitioned { MIB / 512 } else { 0 }
}

fn read_back(image: &StickImage, spec: &StickSpec) {
    let listing = listing_with_device_block(image, spec.sector).unwrap();
    assert_eq!(listing.stopped, None);
    assert_eq!(listing.volume.kind(), spec.kind);
    assert_eq!(listing.volume.slot(), spec.partitioned.then_some(1));
    assert_eq!(listing.volume.first_block(), first_block(spec));
    assert_eq!(listing.volume.id(), Some(spec.volume_id));
    assert_eq!(listing.label, spec.label);
    assert_eq!(listing.entries.len(), spec.files.len());
    for (listed, file) in listing.entries.iter().zip(&spec.files) {
        assert_eq!(listed.to_string(), file.name);
        assert_eq!(listed.entry.written.calendar(), Some(spec.stamp));
        assert_eq!(read_file(image, &listing.volume, &listed.entry).unwrap(), file.contents);
    }
}

fn check_with_fsck(image: &StickImage, spec: &StickSpec, folder: &Path) {
    let path = folder.join("volume.img");
    write_from(image, first_block(spec), &path);
    let text = succeed(&tool("dosfstools", "fsck.vfat", |command| command.arg("-n").arg(&path)));
    // The version, and how much is used: any third line is a complaint.
    assert_eq!(
        text.lines().count(),
        2,
        "{:?} {} {:?}:\n{text}",
        spec.kind,
        spec.size,
        spec.cluster
    );
}

#[test]
fn fsck_finds_nothing_on_the_whole_grid() {
    let folder = tempfile::tempdir().unwrap();
    for spec in grid() {
        let image = build(&spec).unwrap();
        assert!(image.kept() < 64 << 10, "{} bytes are kept in memory", image.kept());
        read_back(&image, &spec);
        check_with_fsck(&image, &spec, folder.path());
    }
}

#[test]
fn fsck_finds_nothing_with_large_sectors() {
    let folder = tempfile::tempdir().unwrap();
    for (sector, kind, size) in [
        (DeviceBlock::B1024, Kind::Fat12, 3 * MIB),
        (DeviceBlock::B2048, Kind::Fat16, 64 * MIB),
        (DeviceBlock::B4096, Kind::Fat16, 200 * MIB),
        (DeviceBlock::B4096, Kind::Fat32, 300 * MIB),
    ] {
        let plain = with_files(StickSpec {
            sector,
            ..spec(kind, size)
        });
        let table = StickSpec {
            partitioned: true,
            size: size + MIB,
            ..plain.clone()
        };
        for spec in [plain, table] {
            let image = build(&spec).unwrap();
            read_back(&image, &spec);
            check_with_fsck(&image, &spec, folder.path());
        }
    }
}

#[test]
fn mtools_gives_the_files_back() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("stick.img");
    for spec in grid().filter(|spec| spec.size < 700 * MIB) {
        build(&spec).unwrap().write_to(&path).unwrap();
        let drive = format!("{}@@{}", path.display(), first_block(&spec) * 512);
        let listing = succeed(&tool("mtools", "mdir", |command| {
            command.args(["-i", &drive, "-b", "::"])
        }));
        let names: Vec<&str> = listing.lines().map(|line| line.trim_start_matches("::/")).collect();
        let expected: Vec<&str> = spec.files.iter().map(|file| file.name.as_str()).collect();
        assert_eq!(names, expected);
        let full = succeed(&tool("mtools", "mdir", |command| command.args(["-i", &drive, "::"])));
        assert!(full.contains("Volume in drive : is KILN"), "{full}");
        assert!(full.contains("Volume Serial Number is 2026-1125"), "{full}");
        assert!(full.contains("KC4-0142 UPD     20001 2026-11-25   9:30"), "{full}");
        let out = folder.path().join("out");
        fs::create_dir(&out).unwrap();
        succeed(&tool("mtools", "mcopy", |command| {
            command.args(["-n", "-i", &drive, "::*"]).arg(&out)
        }));
        for file in &spec.files {
            assert_eq!(fs::read(out.join(&file.name)).unwrap(), file.contents, "{}", file.name);
        }
        fs::remove_dir_all(&out).unwrap();
    }
}

#[test]
fn fdisk_reads_the_partition_table() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("stick.img");
    for (kind, size, letter) in [
        (Kind::Fat12, 3 * MIB, "1"),
        (Kind::Fat16, 64 * MIB, "e"),
        (Kind::Fat32, 300 * MIB, "c"),
    ] {
        let spec = StickSpec {
            partitioned: true,
            ..spec(kind, size)
        };
        build(&spec).unwrap().write_to(&path).unwrap();
        let text = succeed(&tool("fdisk", "sfdisk", |command| command.arg("-d").arg(&path)));
        let (sectors, start) = (size / 512 - 2048, "start=        2048");
        assert!(
            text.contains("label: dos") && text.contains("label-id: 0xcafe0004"),
            "{text}"
        );
        let partition = text.lines().find(|line| line.contains(start)).unwrap();
        assert!(
            partition.contains(&format!("size={sectors:12}, type={letter}")),
            "{text}"
        );
        succeed(&tool("fdisk", "sfdisk", |command| command.arg("--verify").arg(&path)));
    }
}

#[test]
fn fatfs_reads_the_same() {
    for spec in grid().filter(|spec| spec.size < 70 * MIB) {
        let image = build(&spec).unwrap();
        let volume = image.to_vec().split_off(first_block(&spec) as usize * 512);
        let fs = fatfs::FileSystem::new(Cursor::new(volume), fatfs::FsOptions::new()).unwrap();
        assert_eq!(fs.volume_id(), spec.volume_id);
        assert_eq!(fs.read_volume_label_from_root_dir().unwrap(), spec.label);
        let width = match fs.fat_type() {
            fatfs::FatType::Fat12 => Kind::Fat12,
            fatfs::FatType::Fat16 => Kind::Fat16,
            fatfs::FatType::Fat32 => Kind::Fat32,
        };
        assert_eq!(width, spec.kind);
        let listing = listing_with_device_block(&image, spec.sector).unwrap();
        assert_eq!(fs.stats().unwrap().total_clusters(), listing.volume.clusters());
        let used: u64 = spec
            .files
            .iter()
            .map(|file| (file.contents.len() as u64).div_ceil(fs.cluster_size().into()))
            .sum();
        let root = u64::from(spec.kind == Kind::Fat32);
        let free = u64::from(fs.stats().unwrap().free_clusters());
        assert_eq!(
            free,
            u64::from(listing.volume.clusters()) - used - root,
            "the count of free clusters"
        );
        for file in &spec.files {
            let mut contents = Vec::new();
            fs.root_dir()
                .open_file(&file.name)
                .unwrap()
                .read_to_end(&mut contents)
                .unwrap();
            assert_eq!(contents, file.contents);
        }
    }
}

#[test]
fn a_written_image_has_holes_and_replaces_what_was_there() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("stick.img");
    fs::write(&path, "something older").unwrap();
    let spec = StickSpec::usual(7, STAMP).with_file("KC4-0142.UPD", noise(100_000, 9));
    let image = build(&spec).unwrap();
    image.write_to(&path).unwrap();
    assert_eq!(fs::read(&path).unwrap(), image.to_vec());
    assert_eq!(
        fs::read_dir(folder.path()).unwrap().count(),
        1,
        "nothing is left beside it"
    );
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        let on_disk = fs::metadata(&path).unwrap().blocks() * 512;
        assert!(on_disk < 2 * MIB, "{on_disk} bytes on the disk");
    }
    let nowhere = folder.path().join("no such folder").join("stick.img");
    let error = image.write_to(&nowhere).unwrap_err().to_string();
    assert!(error.contains("no such folder"), "{error}");
}

#[test]
fn a_file_may_be_named_like_the_label() {
    let folder = tempfile::tempdir().unwrap();
    let spec = spec(Kind::Fat16, 16 * MIB).with_file("KILN", noise(3000, 3));
    let image = build(&spec).unwrap();
    read_back(&image, &spec);
    check_with_fsck(&image, &spec, folder.path());
}
