//! Any bytes as a build, in whichever format they look like; then every check on what is read.

#![no_main]

use packstaff_image::checks::{Architecture, Core, Limit, Target, examine};
use packstaff_image::{Format, ReadOptions, read, recognise};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Ok(build) = read(
        bytes,
        &ReadOptions {
            raw_base: Some(0x0801_0000),
        },
    ) else {
        return;
    };
    assert_eq!(build.format(), recognise(bytes));
    assert!(build.byte_count() <= bytes.len() as u64, "bytes from nowhere");
    assert!(
        build
            .segments()
            .windows(2)
            .all(|pair| pair[0].end() < u64::from(pair[1].address))
    );
    assert!(build.format() != Format::Raw || build.span().start == 0x0801_0000);
    for core in [
        Core::RiscV,
        Core::CortexM {
            architecture: Architecture::V8MMainline,
            interrupts: 480,
        },
    ] {
        let target = Target {
            slot: 0x0801_0000..0x0802_0000,
            usable: 0xFF00,
            limit: Limit::Descriptor,
            ram: vec![0x2000_0000..0x2002_0000, 0x1000_0000..0x1000_0400],
            core,
            reserved: vec![("installer".into(), 0x0800_0000..0x0801_0000)],
            erased: 0xFF,
            earlier: Vec::new(),
        };
        assert!(examine(&build, &target).len() >= 9);
    }
});
