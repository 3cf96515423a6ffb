//! How fast a 1 MiB image is read from Intel HEX, and from the other formats for comparison.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use packstaff_image::{ReadOptions, read};

#[path = "../tests/common/writers.rs"]
#[allow(dead_code, unreachable_pub)]
mod writers;

fn image() -> Vec<u8> {
    // A multiplicative sequence: neither compressible nor of one value, and the same in every run.
    (0..1u32 << 18)
        .flat_map(|index| index.wrapping_mul(2_654_435_761).to_le_bytes())
        .collect()
}

fn formats(criterion: &mut Criterion) {
    let segments = vec![(0x0801_0000, image())];
    let programs = [writers::Program::at(0x0801_0000, &segments[0].1)];
    let files = [
        ("Intel HEX, 16 bytes a record", writers::hex(&segments, 16).into_bytes()),
        ("Intel HEX, 32 bytes a record", writers::hex(&segments, 32).into_bytes()),
        (
            "S-record, 16 bytes a record",
            writers::s_records(&segments, 16).into_bytes(),
        ),
        ("ELF", writers::elf(40, 0, &programs)),
    ];
    let mut group = criterion.benchmark_group("read 1 MiB of image");
    for (name, file) in files {
        group.throughput(Throughput::Bytes(file.len() as u64));
        group.bench_function(name, |bencher| {
            bencher.iter(|| read(black_box(&file), &ReadOptions::default()))
        });
    }
    group.finish();
}

criterion_group!(benches, formats);
criterion_main!(benches);
