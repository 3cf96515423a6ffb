//! What a spec may ask for, and what the errors say.

mod common;

use common::{noise, spec};
use packstaff_stick::{Calendar, DeviceBlock, Kind, StickError, StickFile, StickSpec, build, listing, read_file};

const MIB: u64 = 1 << 20;

#[test]
fn cluster_sizes_are_the_specifications() {
    // FAT specification, "FAT Volume Initialization": the tables for FAT16 and FAT32, in 512-byte sectors.
    for (kind, size, cluster) in [
        (Kind::Fat16, 15 * MIB, 1024),
        (Kind::Fat16, 32_680 * 512, 1024),
        (Kind::Fat16, 32_681 * 512, 2048),
        (Kind::Fat16, 128 * MIB, 2048),
        (Kind::Fat16, 129 * MIB, 4096),
        (Kind::Fat16, 257 * MIB, 8192),
        (Kind::Fat16, 513 * MIB, 16_384),
        (Kind::Fat16, 2000 * MIB, 32_768),
        (Kind::Fat32, 36 * MIB, 512),
        (Kind::Fat32, 260 * MIB, 512),
        (Kind::Fat32, 532_481 * 512, 4096),
        (Kind::Fat32, 8192 * MIB, 4096),
        (Kind::Fat32, 8193 * MIB, 8192),
        (Kind::Fat32, 16_385 * MIB, 16_384),
        (Kind::Fat32, 32_769 * MIB, 32_768),
    ] {
        let listing = listing(&build(&spec(kind, size)).unwrap()).unwrap();
        assert_eq!(listing.volume.cluster_size(), cluster, "{kind} {size}");
    }
}

#[test]
fn every_size_gives_a_safe_count_and_the_shortest_fat() {
    let sizes = (1..400)
        .map(|n| n * 97 * 1024)
        .chain((1..200).map(|n| n * 5 * MIB + 512 * n));
    let mut made = 0;
    for (size, kind) in sizes.flat_map(|size| [(size, Kind::Fat12), (size, Kind::Fat16), (size, Kind::Fat32)]) {
        let image = match build(&spec(kind, size / 512 * 512)) {
            Ok(image) => image,
            Err(StickError::NoClusterSize { .. } | StickError::TooSmall { .. }) => continue,
            Err(error) => panic!("{kind} {size}: {error}"),
        };
        made += 1;
        let volume = listing(&image).unwrap().volume;
        let clusters = volume.clusters();
        // FAT specification: stay 16 clusters away from 4085 and 65525.
        assert!(
            clusters.abs_diff(4085) >= 16 && clusters.abs_diff(65_525) >= 16,
            "{clusters}"
        );
        assert_eq!(volume.kind(), kind);
        let needed = kind.fat_bytes(u64::from(clusters) + 2).div_ceil(512);
        // A sector less in each FAT could give two more clusters, which may need that sector again.
        assert!(
            (needed..=needed + 1).contains(&volume.fat_blocks()),
            "{} for {needed}",
            volume.fat_blocks()
        );
    }
    assert!(made > 700, "{made}");
}

#[test]
fn a_cluster_size_that_comes_too_near_an_edge_is_refused() {
    // 512-byte clusters: 4085 of them, give or take 16, from about 2.02 MiB on.
    let at = |sectors: u64| {
        build(&StickSpec {
            cluster: Some(512),
            ..spec(Kind::Fat16, sectors * 512)
        })
    };
    assert!(matches!(
        at(4100),
        Err(StickError::ClusterCount {
            least: 4101,
            most: 65_508,
            ..
        })
    ));
    assert!(at(4200).is_ok());
    let small = StickSpec {
        cluster: Some(4096),
        ..spec(Kind::Fat32, 200 * MIB)
    };
    let error = build(&small).unwrap_err();
    assert!(
        matches!(
            error,
            StickError::ClusterCount {
                kind: Kind::Fat32,
                least: 65_541,
                ..
            }
        ),
        "{error}"
    );
    for found in [0, 256, 513, 3000, 131_072] {
        let spec = StickSpec {
            cluster: Some(found),
            ..spec(Kind::Fat16, 16 * MIB)
        };
        assert!(
            matches!(build(&spec), Err(StickError::ClusterSize { sector: 512, .. })),
            "{found}"
        );
    }
}

#[test]
fn sizes_that_cannot_be_are_refused() {
    assert!(matches!(
        build(&spec(Kind::Fat16, 16 * MIB + 100)),
        Err(StickError::SizeNotWhole { .. })
    ));
    let large = StickSpec {
        sector: DeviceBlock::B4096,
        ..spec(Kind::Fat32, 300 * MIB + 512)
    };
    assert!(matches!(
        build(&large),
        Err(StickError::SizeNotWhole { sector: 4096, .. })
    ));
    assert!(matches!(
        build(&spec(Kind::Fat32, 4 << 40)),
        Err(StickError::TooLarge { .. })
    ));
    for size in [0, 512, 4096, 17 * 1024] {
        assert!(build(&spec(Kind::Fat12, size)).is_err(), "{size}");
        let table = StickSpec {
            partitioned: true,
            ..spec(Kind::Fat12, size)
        };
        assert!(matches!(build(&table), Err(StickError::TooSmall { .. })), "{size}");
        let fixed = StickSpec {
            cluster: Some(512),
            ..spec(Kind::Fat12, size)
        };
        assert!(matches!(build(&fixed), Err(StickError::TooSmall { .. })), "{size}");
    }
    assert!(matches!(
        build(&spec(Kind::Fat12, 2000 * MIB)),
        Err(StickError::NoClusterSize { .. })
    ));
}

#[test]
fn a_stick_can_be_filled_to_the_last_cluster_and_no_further() {
    for kind in [Kind::Fat12, Kind::Fat16, Kind::Fat32] {
        let empty = spec(kind, if kind == Kind::Fat32 { 40 * MIB } else { 6 * MIB });
        let volume = listing(&build(&empty).unwrap()).unwrap().volume;
        let root = u64::from(kind == Kind::Fat32);
        let room = (u64::from(volume.clusters()) - root) * u64::from(volume.cluster_size());
        let full = empty.clone().with_file("FULL.BIN", noise(room as usize, 5));
        let image = build(&full).unwrap();
        let listing = listing(&image).unwrap();
        let contents = read_file(&image, &listing.volume, &listing.entries[0].entry).unwrap();
        assert!(contents == full.files[0].contents);
        let over = full.with_file("MORE", [1]);
        assert!(matches!(build(&over), Err(StickError::Full { .. })));
    }
}

#[test]
fn the_root_has_its_limit() {
    let files = |count: usize| {
        (0..count)
            .map(|n| StickFile {
                name: format!("F{n}"),
                contents: Vec::new(),
            })
            .collect()
    };
    // 512 entries, of which the label takes one.
    let fits = StickSpec {
        files: files(511),
        ..spec(Kind::Fat16, 16 * MIB)
    };
    assert_eq!(listing(&build(&fits).unwrap()).unwrap().entries.len(), 511);
    let over = StickSpec {
        files: files(512),
        ..fits.clone()
    };
    assert!(matches!(
        build(&over),
        Err(StickError::TooManyFiles { files: 512, most: 511 })
    ));
    let unlabelled = StickSpec { label: None, ..over };
    assert_eq!(listing(&build(&unlabelled).unwrap()).unwrap().label, None);
    // A FAT32 root of many clusters.
    let many = StickSpec {
        files: files(5000),
        ..spec(Kind::Fat32, 40 * MIB)
    };
    let listing = listing(&build(&many).unwrap()).unwrap();
    assert_eq!((listing.entries.len(), listing.stopped), (5000, None));
}

#[test]
fn names_labels_and_dates_are_checked() {
    let base = spec(Kind::Fat16, 16 * MIB);
    let twice = base.clone().with_file("A.UPD", [1]).with_file("A.UPD", [2]);
    assert!(matches!(build(&twice), Err(StickError::NameTwice { name }) if name == "A.UPD"));
    assert!(matches!(
        build(&base.clone().with_file("a.upd", [1])),
        Err(StickError::NameLowerCase { .. })
    ));
    let label = StickSpec {
        label: Some("kiln".to_owned()),
        ..base.clone()
    };
    assert!(matches!(build(&label), Err(StickError::Label { .. })));
    let stamp = Calendar { day: 31, ..base.stamp };
    assert!(matches!(build(&StickSpec { stamp, ..base }), Err(StickError::Date(_))));
}

#[test]
fn the_usual_stick_is_as_advised() {
    let spec = StickSpec::usual(0x1234_5678, common::STAMP).with_file("KC4-0142.UPD", noise(1000, 1));
    let image = build(&spec).unwrap();
    let listing = listing(&image).unwrap();
    let volume = listing.volume;
    assert_eq!(
        (volume.kind(), volume.first_block(), volume.cluster_size()),
        (Kind::Fat32, 2048, 4096)
    );
    assert_eq!(
        (volume.fats(), volume.hidden_sectors(), volume.is_marked_dirty()),
        (2, 2048, false)
    );
    let marks = volume.marks(&image.read_block(volume.fat_first_block())).unwrap();
    assert!(marks.clean && marks.no_errors);
    assert_eq!(image.block(image.blocks()), None);
    assert_eq!(image.read_block(image.blocks()), [0; 512]);
}
