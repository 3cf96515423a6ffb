//! Sticks of any bytes: mounted, listed and read with all that the reader promises checked at each step.
//!
//! The first byte chooses. Odd: the rest is the stick, from its first block on. Even: a good stick of one of three forms, with bytes
//! changed, each by four bytes of input: a place among the blocks that are not zero, and the new value.

#![no_main]

use std::sync::OnceLock;

use packstaff_fat::DeviceBlock;
use libfuzzer_sys::fuzz_target;
use sticks::{Good, raw_block};

#[path = "support/sticks.rs"]
mod sticks;
#[path = "../../unit-side/fat/tests/walk/mod.rs"]
mod walk;

const LIMITS: walk::Limits = walk::Limits {
    entries: 32,
    steps: 20_000,
};

fn good_sticks() -> &'static [Good; 3] {
    static STICKS: OnceLock<[Good; 3]> = OnceLock::new();
    STICKS.get_or_init(|| {
        Good::all(|spec| {
            spec.with_file("NOTES.TXT", [b'n'; 1500])
                .with_file("KC4-0142.UPD", [b'u'; 9000])
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
        let _ = walk::walk(blocks, device_block, LIMITS, &mut |number| raw_block(rest, number));
        return;
    }
    let stick = good_sticks()[usize::from(choice >> 1) % 3].changed(rest);
    let _ = walk::walk(stick.blocks, DeviceBlock::B512, LIMITS, &mut |number| {
        stick.block(number)
    });
});
