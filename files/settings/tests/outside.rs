//! Outside: check values against Python's zlib.

mod common;

use common::{Numbers, kc4_layout, run};
use packstaff_settings::dump::seal;
use std::process::Command;

/// Prints zlib.crc32 of `bytes[start..start + size]` for each line "hex start size".
const SCRIPT: &str = r"
import sys, zlib
for line in sys.stdin:
    data, start, size = line.split()
    print(zlib.crc32(bytes.fromhex(data)[int(start):int(start) + int(size)]))
";

#[test]
fn check_values_are_zlibs() {
    let mut numbers = Numbers(77);
    let mut lines = String::new();
    let mut ours = Vec::new();
    for version in ["1.8", "2.0", "2.1"] {
        let layout = kc4_layout(version);
        for generation in 0..20 {
            let mut record: Vec<u8> = (0..layout.record.size).map(|_| (numbers.next() >> 9) as u8).collect();
            seal(&layout, &mut record, generation);
            let hex: String = record.iter().map(|byte| format!("{byte:02x}")).collect();
            for leaf in layout.leaves() {
                if let packstaff_settings::layout::Purpose::Crc { start, size } = leaf.purpose {
                    lines.push_str(&format!("{hex} {} {size}\n", leaf.group_at + start));
                    let at = leaf.at as usize;
                    ours.push(u32::from_le_bytes(record[at..at + 4].try_into().unwrap()));
                }
            }
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let input = folder.path().join("records.txt");
    std::fs::write(&input, lines).unwrap();
    let mut python = Command::new("python3");
    python.args(["-c", SCRIPT]).stdin(std::fs::File::open(&input).unwrap());
    let output = String::from_utf8(run("python3", &mut python)).unwrap();
    let theirs: Vec<u32> = output.lines().map(|line| line.parse().unwrap()).collect();
    assert_eq!(ours.len(), 80);
    assert_eq!(ours, theirs);
}
