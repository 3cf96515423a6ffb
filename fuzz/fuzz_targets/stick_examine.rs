//! Sticks of any bytes, examined: always an account, never a panic, and no more reads than the stick is worth.
//!
//! The first byte chooses. Odd: the rest is the stick. Even: a good stick of one of three forms, with bytes changed, each by four bytes of
//! input: a place among the blocks that are not zero, and the new value.

#![no_main]

use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;
use sample::field;
use packstaff_stick::FnSource;
use packstaff_stick::examine::{Medium, Options, Severity, Verdict, examine};
use sticks::{Good, raw_block};

#[path = "support/sample.rs"]
mod sample;
#[path = "support/sticks.rs"]
mod sticks;

const SAMPLE: &str = include_str!("../../unit-side/envelope/tests/vectors/own-profile-sample.txt");

fn good_sticks() -> &'static [Good; 3] {
    static STICKS: OnceLock<[Good; 3]> = OnceLock::new();
    STICKS.get_or_init(|| {
        Good::all(|spec| {
            spec.with_file("NOTES.TXT", [b'n'; 1500])
                .with_file("K.ZIP", *b"PK\x03\x04PK\x05\x06")
                .with_file("KC4-0142.UPD", field(SAMPLE, "envelope"))
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
        examine(
            &mut FnSource::new(blocks, |number| Ok(raw_block(rest, number))),
            &options,
        )
    } else {
        let stick = good_sticks()[usize::from(choice >> 1) % 3].changed(rest);
        examine(
            &mut FnSource::new(stick.blocks, |number| Ok(stick.block(number))),
            &options,
        )
    };
    let found = found.expect("no unit is asked, so none can be wrong");
    let stops = found.findings.iter().any(|finding| finding.severity == Severity::Stops);
    assert_eq!(
        stops,
        found.verdict == Verdict::NotReady,
        "what keeps a stick from working is said"
    );
});
