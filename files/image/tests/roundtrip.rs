//! Properties: what our own writers write is read back, in any order and shape; and no bytes
//! whatever panic.

mod common;

use common::writers::{Program, elf, hex, s_records};
use common::{content, read};
use packstaff_image::checks::{Architecture, Core, Limit, Target, examine};
use packstaff_image::{Build, ReadOptions, recognise};
use proptest::collection::vec;
use proptest::prelude::*;

/// Segments in ascending order, at least one byte apart.
fn segments() -> impl Strategy<Value = Vec<(u32, Vec<u8>)>> {
    let gap = prop_oneof![1u32..40, 1u32..0x2_0000, 1u32..0x1000_0000];
    vec((gap, vec(any::<u8>(), 1..300)), 1..8).prop_map(|parts| {
        let mut next = 0u32;
        let place = |(gap, data): (u32, Vec<u8>)| {
            let address = next + gap;
            next = address + data.len() as u32;
            (address, data)
        };
        parts.into_iter().map(place).collect()
    })
}

fn programs(segments: &[(u32, Vec<u8>)]) -> Vec<Program> {
    segments.iter().map(|(at, data)| Program::at(*at, data)).collect()
}

/// Bytes that look enough like a build to get past the first test.
fn nearly_a_build() -> impl Strategy<Value = Vec<u8>> {
    let text = prop_oneof![
        (segments(), 1usize..40).prop_map(|(segments, width)| hex(&segments, width).into_bytes()),
        (segments(), 1usize..40).prop_map(|(segments, width)| s_records(&segments, width).into_bytes()),
        segments().prop_map(|segments| { elf(40, 0, &programs(&segments)) }),
    ];
    (text, vec((any::<prop::sample::Index>(), any::<u8>()), 0..4)).prop_map(|(mut bytes, changes)| {
        for (at, value) in changes {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        bytes
    })
}

/// What holds for every build, however it came about.
fn hold_invariants(bytes: &[u8], build: &Build) {
    assert_eq!(build.format(), recognise(bytes));
    assert!(!build.segments().is_empty());
    assert!(
        build
            .segments()
            .iter()
            .all(|segment| !segment.data.is_empty() && segment.end() <= 1 << 32)
    );
    assert!(
        build
            .segments()
            .windows(2)
            .all(|pair| pair[0].end() < u64::from(pair[1].address))
    );
    assert!(build.byte_count() <= bytes.len() as u64, "no bytes from nowhere");
    let target = Target {
        slot: 0x100..0x4000,
        usable: 0x3F00,
        limit: Limit::Descriptor,
        ram: vec![0x2000_0000..0x2000_1000, 0x1000_0000..0x1000_0400],
        core: Core::CortexM {
            architecture: Architecture::V7M,
            interrupts: 32,
        },
        reserved: vec![("below".into(), 0..0x100)],
        erased: 0xFF,
        earlier: Vec::new(),
    };
    let risc_v = Target {
        core: Core::RiscV,
        ..target.clone()
    };
    for target in [target, risc_v] {
        let checks = examine(build, &target);
        assert!(
            checks
                .iter()
                .all(|check| !check.found.is_empty() && !check.expected.is_empty())
        );
    }
}

proptest! {
    #[test]
    fn every_format_reads_back_what_was_written(segments in segments(), width in 1usize..250) {
        let programs = programs(&segments);
        let builds = [
            read(hex(&segments, width).as_bytes()),
            read(s_records(&segments, width).as_bytes()),
            read(&elf(40, 0, &programs)),
            read(&elf(243, 0, &programs)),
        ];
        let digest = builds[0].as_ref().map(Build::digest);
        for build in &builds {
            prop_assert_eq!(&content(build.as_ref().expect("what we wrote")), &segments);
            prop_assert_eq!(build.as_ref().map(Build::digest), digest);
        }
    }

    #[test]
    fn raw_bytes_come_back_as_they_are(bytes in vec(any::<u8>(), 1..2000), base in any::<u32>()) {
        prop_assume!(recognise(&bytes) == packstaff_image::Format::Raw);
        prop_assume!(u64::from(base) + bytes.len() as u64 <= 1 << 32);
        let build = packstaff_image::read(&bytes, &ReadOptions { raw_base: Some(base) }).expect("it fits");
        prop_assert_eq!(content(&build), vec![(base, bytes)]);
    }

    #[test]
    fn order_of_records_does_not_matter(segments in segments(), seed in any::<u64>()) {
        let text = s_records(&segments, 16);
        let (mut data, mut rest): (Vec<_>, Vec<_>) =
            text.lines().partition(|line| line.starts_with("S3"));
        let mix = |hash: u64, byte| (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01B3);
        data.sort_by_key(|line| line.bytes().fold(seed, mix));
        rest.splice(1..1, data);
        let build = read(rest.join("\r\n").as_bytes()).expect("the same records");
        prop_assert_eq!(content(&build), segments);
    }

    #[test]
    fn flat_and_sparse_agree(segments in segments(), fill in any::<u8>()) {
        let build = read(s_records(&segments, 32).as_bytes()).expect("what we wrote");
        let span = build.span();
        prop_assume!(span.end - span.start < 1 << 20);
        let (start, end) = (span.start as u32, span.end as u32);
        let flat = build.flatten(start..end, fill).expect("its own span");
        for (index, &byte) in flat.iter().enumerate() {
            let known = build.bytes_from(start + index as u32).first();
            prop_assert_eq!(byte, *known.unwrap_or(&fill));
        }
        prop_assert!(build.flatten(start + 1..end, fill).is_err());
        prop_assert!(end - start == 1 || build.flatten(start..end - 1, fill).is_err());
    }

    #[test]
    fn no_bytes_panic(bytes in vec(any::<u8>(), 0..600), base in any::<u32>()) {
        if let Ok(build) = packstaff_image::read(&bytes, &ReadOptions { raw_base: Some(base) }) {
            hold_invariants(&bytes, &build);
        }
    }

    #[test]
    fn no_nearly_good_bytes_panic(bytes in nearly_a_build()) {
        match read(&bytes) {
            Ok(build) => hold_invariants(&bytes, &build),
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }

    #[test]
    fn no_text_panics(text in "[:S0-9A-Fa-f \r\n]{0,400}") {
        if let Ok(build) = read(text.as_bytes()) {
            hold_invariants(text.as_bytes(), &build);
        }
    }
}
