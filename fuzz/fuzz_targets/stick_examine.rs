//! Sticks of any bytes, examined: always an account, never a panic, and no more reads than the stick is worth.
//!
//! The first byte chooses. Odd: the rest is the stick. Even: a good stick of one of three forms, with bytes changed, each by four bytes of
//! input: a place among the blocks that are not zero, and the new value.

#![no_main]

use std::sync::OnceLock;

use fat::Block;
use libfuzzer_sys::fuzz_target;
use stick::examine::{Medium, Options, Severity, Verdict, examine};
use stick::{Calendar, FnSource, Kind, StickSpec};

/// The first blocks of a good stick that are not all zero, and the length of the whole.
struct Good {
    busy: Vec<(u64, Block)>,
    blocks: u64,
}

fn field(name: &str) -> Vec<u8> {
    let fields = include_str!("../../crates/envelope/tests/vectors/own-profile-sample.txt");
    let value = fields
        .lines()
        .find_map(|line| line.strip_prefix(name)?.strip_prefix(" = "));
    let digits = value.unwrap().trim().as_bytes();
    let digit = |byte: u8| (byte as char).to_digit(16).unwrap() as u8;
    digits
        .chunks(2)
        .map(|pair| digit(pair[0]) << 4 | digit(pair[1]))
        .collect()
}

fn good_sticks() -> &'static [Good; 3] {
    static STICKS: OnceLock<[Good; 3]> = OnceLock::new();
    STICKS.get_or_init(|| {
        [(Kind::Fat12, 2 << 20), (Kind::Fat16, 6 << 20), (Kind::Fat32, 36 << 20)].map(|(kind, size)| {
            let stamp = Calendar {
                year: 2026,
                month: 1,
                day: 2,
                hour: 3,
                minute: 4,
                second: 6,
            };
            let usual = StickSpec::usual(1, stamp);
            let spec = StickSpec {
                kind,
                size,
                cluster: None,
                partitioned: kind != Kind::Fat12,
                ..usual
            }
            .with_file("NOTES.TXT", [b'n'; 1500])
            .with_file("K.ZIP", *b"PK\x03\x04PK\x05\x06")
            .with_file("KC4-0142.UPD", field("envelope"));
            let image = stick::build(&spec).expect("the spec is a good one");
            let busy = (0..image.blocks()).map(|number| (number, image.read_block(number)));
            Good {
                busy: busy.filter(|(_, block)| *block != [0; 512]).collect(),
                blocks: image.blocks(),
            }
        })
    })
}

fuzz_target!(|data: &[u8]| {
    let Some((&choice, rest)) = data.split_first() else {
        return;
    };
    let options = Options {
        medium: if choice & 8 == 0 { Medium::Image } else { Medium::Stick },
        ending: "UPD",
        units: &[],
        originals: &[],
    };
    let found = if choice & 1 == 1 {
        let blocks = (rest.len() as u64).div_ceil(512) + if choice & 2 == 0 { 0 } else { 4096 };
        let mut source = FnSource::new(blocks, |number| {
            let mut block = [0; 512];
            let there = rest.chunks(512).nth(number as usize).unwrap_or(&[]);
            block[..there.len()].copy_from_slice(there);
            Ok(block)
        });
        examine(&mut source, &options)
    } else {
        let good = &good_sticks()[usize::from(choice >> 1) % 3];
        let mut busy = good.busy.clone();
        for change in rest.chunks_exact(4) {
            let place = u32::from_le_bytes([change[0], change[1], change[2], 0]) as usize % (busy.len() * 512);
            busy[place / 512].1[place % 512] = change[3];
        }
        let mut source = FnSource::new(good.blocks, |number| {
            Ok(busy
                .binary_search_by_key(&number, |(at, _)| *at)
                .map_or([0; 512], |index| busy[index].1))
        });
        examine(&mut source, &options)
    };
    let found = found.expect("no unit is asked, so none can be wrong");
    let stops = found.findings.iter().any(|finding| finding.severity == Severity::Stops);
    assert_eq!(stops, found.verdict == Verdict::NotReady, "what keeps a stick from working is said");
});
