//! Any bytes as a read-out of a unit's flash: read in whichever format they look like, put together, and told of; twice, as two
//! read-outs that may differ.
//!
//! The first byte chooses the layout of the unit and whether its part has check bits; the second, where a raw read-out begins.

#![no_main]

use std::sync::{Arc, OnceLock};

use packstaff_envelope::{Anchor, Kid, UnitKey, VersionNumbers};
use packstaff_installer::{Layout, Region, SectorRun};
use libfuzzer_sys::fuzz_target;
use packstaff_trace::{Evidence, KindOfUnit, Outcome, Readout, Release, Tracer};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash;
use packstaff_unit::part::SecondProgram;

const BASE: u32 = 0x0800_0000;

fn blueprint(slots: u8, check_bits: bool) -> Blueprint {
    let page = |from: u32, to: u32| Region {
        base: BASE + from * 1024,
        size: (to - from) * 1024,
    };
    let memory = |base, runs, granule, check_bits| {
        flash::FlashLayout::new(base, runs, granule, 0xff, check_bits, SecondProgram::Zeros)
    };
    let own = memory(BASE, vec![SectorRun { count: 9, size: 1024 }], 8, check_bits);
    // Not far off, so that one read-out can reach into both.
    let nor = memory(BASE + 10 * 1024, vec![SectorRun { count: 2, size: 2048 }], 256, false);
    let beside = nor.sectors()[0];
    Blueprint {
        vendor: [0x11; 16],
        class: [0xc0; 16],
        siblings: Vec::new(),
        anchors: vec![Anchor {
            kid: Kid::new(b"maker").expect("short enough"),
            // RFC 8032, 7.1, TEST 1: the public key of a key that everybody knows.
            key: packstaff_envelope::PublicKey::Ed25519([
                0xd7, 0x5a, 0x98, 0x01, 0x82, 0xb1, 0x0a, 0xb7, 0xd5, 0x4b, 0xfe, 0xd3, 0xc9, 0x64, 0x07, 0x3a, 0x0e,
                0xe1, 0x72, 0xf3, 0xda, 0xa6, 0x23, 0x25, 0xaf, 0x02, 0x1a, 0x68, 0xf7, 0x07, 0x51, 0x1a,
            ]),
        }],
        key: UnitKey {
            kid: Kid::new(b"g1").expect("short enough"),
            key: [0x22; 32],
        },
        extension: *b"UPD",
        layout: Arc::new(match slots {
            3 => own.with_beside(nor),
            _ => own,
        }),
        installer: page(0, 1),
        floors: [page(1, 2), page(2, 3)],
        slot: page(3, 6),
        slots: match slots {
            0 => Layout::Single,
            1 => Layout::Staged { stage: page(6, 9) },
            2 => Layout::Paired { second: page(6, 9) },
            _ => Layout::Staged { stage: beside },
        },
    }
}

/// Tracers that know two releases; owners may go to none, so that no stick is tried: what a stick does is another target's.
fn tracer(choice: u8) -> &'static Tracer {
    static TRACERS: OnceLock<Vec<Tracer>> = OnceLock::new();
    let tracers = TRACERS.get_or_init(|| {
        let release = |version: &str, numbers: &[u32], image: Vec<u8>| Release {
            version: version.to_owned(),
            numbers: VersionNumbers::new(numbers).expect("two numbers"),
            issue: 1,
            file_name: format!("{version}.UPD"),
            file: Vec::new(),
            manifest: [0; 32],
            image,
            offered: false,
        };
        let of = |slots: u8, check_bits: bool| {
            let kind = KindOfUnit {
                board: "C".into(),
                generations: vec![("g1".into(), blueprint(slots, check_bits))],
                releases: vec![
                    release("1.8", &[1, 8], vec![0; 16]),
                    release("2.0", &[2, 0], (0..1500_u32).map(|at| at as u8).collect()),
                ],
            };
            Tracer::new(kind).expect("no stick is made")
        };
        (0..8).map(|choice| of(choice % 4, choice >= 4)).collect()
    });
    &tracers[usize::from(choice) % tracers.len()]
}

fuzz_target!(|input: &[u8]| {
    let [choice, place, rest @ ..] = input else { return };
    let (one, other) = rest.split_at(rest.len() / 2);
    let base = BASE.wrapping_add(u32::from(*place).wrapping_mul(64)).wrapping_sub(1024);
    let readouts: Vec<_> = [one, other]
        .iter()
        .filter_map(|file| Readout::read("x", file, base).ok())
        .collect();
    if readouts.is_empty() {
        return;
    }
    let evidence = Evidence {
        readouts,
        ..Evidence::default()
    };
    let account = tracer(*choice).account(&evidence).expect("there is a generation");
    let Some(flash) = account.flash else { return };
    assert!(!flash.hypotheses.is_empty());
    assert!(flash.read <= flash.size);
    let next = account.next.expect("flash was read");
    for outcome in [next.at_best, next.at_worst] {
        assert!(!matches!(outcome, Outcome::Fails { .. }), "{outcome:?}");
    }
    tracer(*choice).recognises(&evidence);
});
