//! How long it takes to list large sticks, and how much memory: `cargo bench -p packstaff-stick`.
//!
//! The images are files with holes, so they need little disk. What is measured is what `stick examine` and a unit do: mount, and list the
//! root. Peak memory is what Linux counts for this process (proc(5), VmHWM), after the listings and before anything else.

use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use packstaff_stick::{Calendar, Counted, Kind, SeekSource, StickSpec, build, listing};

const STAMP: Calendar = Calendar {
    year: 2026,
    month: 11,
    day: 25,
    hour: 12,
    minute: 0,
    second: 0,
};
const RUNS: usize = 101;

/// Writes an image with holes, without bringing it to the disk: it lives for seconds.
fn make(path: &Path, spec: &StickSpec) {
    let image = build(spec).expect("the spec is a good one");
    let mut file = File::create(path).expect("a temporary file");
    file.set_len(image.size()).expect("a file system with holes in files");
    for (start, bytes) in image.stretches() {
        file.seek(SeekFrom::Start(start)).expect("within the file");
        file.write_all(bytes).expect("room for the stretches");
    }
}

/// Peak memory in KiB.
fn peak() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.trim().trim_end_matches(" kB").parse().ok()
}

fn main() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let tib = 1u64 << 40;
    let cases = [
        ("300 MiB", StickSpec::USUAL_SIZE, 2),
        ("32 GB", 32_000_000_000 / 512 * 512, 2),
        ("32 GB", 32_000_000_000 / 512 * 512, 2000),
        // One sector less than the most that 32 bits count.
        ("2 TiB", 2 * tib - 512, 2),
        ("2 TiB", 2 * tib - 512, 2000),
    ];
    println!("stick      files in root   blocks read   median   slowest");
    for (number, (name, size, files)) in cases.into_iter().enumerate() {
        let spec = StickSpec {
            kind: Kind::Fat32,
            size,
            cluster: None,
            partitioned: size < tib,
            ..StickSpec::usual(1, STAMP)
        };
        let spec = (0..files).fold(spec, |spec, number| spec.with_file(format!("F{number}.UPD"), [1]));
        let path = folder.path().join(number.to_string());
        make(&path, &spec);
        let mut times: Vec<Duration> = Vec::new();
        let mut reads = 0;
        for _ in 0..RUNS {
            let began = Instant::now();
            let source = SeekSource::new(File::open(&path).expect("it is there")).expect("it has a length");
            let mut source = Counted::new(source);
            let found = listing(&mut source).expect("a good stick");
            assert_eq!(found.entries.len(), files);
            times.push(began.elapsed());
            reads = source.reads();
        }
        times.sort();
        let microseconds = |time: Duration| time.as_secs_f64() * 1e6;
        let (median, slowest) = (microseconds(times[RUNS / 2]), microseconds(times[RUNS - 1]));
        println!("{name:<10} {files:>13} {reads:>13} {median:>8.1} {slowest:>9.1} µs");
    }
    match peak() {
        Some(kib) => println!("peak memory of the whole bench: {:.1} MiB", kib as f64 / 1024.0),
        None => println!("peak memory: this system does not tell"),
    }
}
