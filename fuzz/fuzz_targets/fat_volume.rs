//! Sticks of any bytes: mounted, listed and read with all that the reader promises checked at each step.
//!
//! The first byte chooses. Odd: the rest is the stick, from its first block on. Even: a good stick of one of three forms, with bytes
//! changed, each by four bytes of input: a place among the blocks that are not zero, and the new value.

#![no_main]

use std::sync::OnceLock;

use fat::{Block, DeviceBlock};
use libfuzzer_sys::fuzz_target;
use stick::{Calendar, Kind, StickSpec};

#[path = "../../crates/fat/tests/walk/mod.rs"]
mod walk;

const LIMITS: walk::Limits = walk::Limits {
    entries: 32,
    steps: 20_000,
};

/// The first blocks of a good stick that are not all zero, and the length of the whole.
struct Good {
    busy: Vec<(u64, Block)>,
    blocks: u64,
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
            .with_file("KC4-0142.UPD", [b'u'; 9000]);
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
    if choice & 1 == 1 {
        // As long as the data, or with a long empty rest.
        let blocks = (rest.len() as u64).div_ceil(512) + if choice & 2 == 0 { 0 } else { 1 << 16 };
        let device_block = if choice & 4 == 0 {
            DeviceBlock::B512
        } else {
            DeviceBlock::B4096
        };
        let _ = walk::walk(blocks, device_block, LIMITS, &mut |number| {
            let mut block = [0; 512];
            let there = rest.chunks(512).nth(number as usize).unwrap_or(&[]);
            block[..there.len()].copy_from_slice(there);
            block
        });
        return;
    }
    let good = &good_sticks()[usize::from(choice >> 1) % 3];
    let mut busy = good.busy.clone();
    for change in rest.chunks_exact(4) {
        let place = u32::from_le_bytes([change[0], change[1], change[2], 0]) as usize % (busy.len() * 512);
        busy[place / 512].1[place % 512] = change[3];
    }
    let _ = walk::walk(good.blocks, DeviceBlock::B512, LIMITS, &mut |number| {
        busy.binary_search_by_key(&number, |(at, _)| *at)
            .map_or([0; 512], |index| busy[index].1)
    });
});
