//! Large sticks: listed in reads that go by the directory and not by the volume, in little time and memory.

mod common;

use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::time::Instant;

use common::spec;
use packstaff_stick::examine::{Medium, Options, Verdict, examine};
use packstaff_stick::{Counted, Kind, SeekSource, StickImage, StickSpec, build, listing};

fn sized(size: u64, files: usize) -> StickImage {
    let plain = spec(Kind::Fat32, size);
    let spec = (0..files).fold(plain, |spec, number| spec.with_file(format!("F{number}.TXT"), [1]));
    build(&spec).unwrap()
}

/// Root directories of 2, 100 and 2000 files: label and entries of 32 bytes, 16 in a block; beside them the boot sector, and one block
/// of the FAT for 128 clusters of the root.
fn expected(image: &StickImage, files: u64) -> u64 {
    let found = listing(image).unwrap();
    let blocks = (files + 1).div_ceil(16);
    let clusters = blocks.div_ceil(found.volume.cluster_blocks().into());
    // After the last entry of a full cluster the reader has to look for the next.
    let looks = if (files + 1).is_multiple_of(16 * u64::from(found.volume.cluster_blocks())) || clusters > 1 {
        1
    } else {
        0
    };
    1 + blocks + looks
}

#[test]
fn reads_go_by_the_directory() {
    for size in [64 << 20, 32_000_000_000 / 512 * 512, (2 << 40) - 512] {
        for files in [2, 100, 2000] {
            let image = sized(size, files);
            let mut source = Counted::new(&image);
            assert_eq!(listing(&mut source).unwrap().entries.len(), files);
            let expected = expected(&image, files as u64);
            assert!(
                source.reads().abs_diff(expected) <= 1,
                "{size}: {files} files: {} reads, not {expected}",
                source.reads()
            );
        }
    }
}

#[test]
fn two_tib_are_listed_and_examined_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("large.img");
    let image = build(&StickSpec {
        partitioned: false,
        ..spec(Kind::Fat32, (2 << 40) - 512).with_file("NOTES.TXT", [b'n'; 100])
    })
    .unwrap();
    let mut file = File::create(&path).unwrap();
    file.set_len(image.size()).unwrap();
    for (start, bytes) in image.stretches() {
        file.seek(SeekFrom::Start(start)).unwrap();
        file.write_all(bytes).unwrap();
    }
    let mut source = SeekSource::new(File::open(&path).unwrap()).unwrap();
    let began = Instant::now();
    listing(&mut source).unwrap();
    // Many times what it takes, for machines that are busy; the bench measures.
    assert!(began.elapsed().as_millis() < 1000, "{:?}", began.elapsed());
    let options = Options {
        medium: Medium::Image,
        ending: "UPD",
        units: &[],
        originals: &[],
    };
    let found = examine(&mut source, &options).unwrap();
    assert_eq!(found.verdict, Verdict::NotReady);
    assert_eq!(found.listing_reads, Some(2));
    // The FAT alone has 500,000 blocks: only its first 16 MiB are looked at.
    assert!(found.reads < 70_000, "{} reads", found.reads);
}
