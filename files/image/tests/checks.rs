//! The checks: one build that passes them all, and each way to fail each of them.

mod common;

use std::ops::Range;

use common::read;
use common::tools::Firmware;
use common::writers::{Program, elf, hex, hex_record};
use packstaff_image::checks::{Architecture, Check, Core, Limit, Question, Target, Verdict, examine, worst};
use packstaff_image::{Build, ReadOptions};

const SLOT: u32 = 0x0801_0000;
const RESET: u32 = SLOT + 0x101;
const STACK: u32 = 0x2002_0000;

fn target() -> Target {
    Target {
        slot: SLOT..SLOT + 0x1_0000,
        usable: 0xFF00,
        limit: Limit::Descriptor,
        ram: vec![0x2000_0000..0x2002_0000, 0x1000_0000..0x1001_0000],
        core: Core::CortexM {
            architecture: Architecture::V7M,
            interrupts: 4,
        },
        reserved: vec![
            ("installer".into(), 0x0800_0000..0x0800_8000),
            ("settings".into(), 0x0800_8000..SLOT),
            ("option bytes".into(), 0x1FFF_C000..0x1FFF_C010),
        ],
        erased: 0xFF,
        earlier: vec![("1.8".into(), [0x18; 32]), ("2.0".into(), [0x20; 32])],
    }
}

fn risc_v() -> Target {
    Target {
        core: Core::RiscV,
        ..target()
    }
}

/// 20 vectors, then code up to `len`; vector n is what `change` makes of it.
fn image_with(len: usize, change: impl Fn(usize, u32) -> u32) -> Vec<u8> {
    let usual = |index: usize| match index {
        0 => STACK,
        1 => RESET,
        7..=10 | 13 | 18 => 0,
        _ => RESET + 2,
    };
    let mut image: Vec<u8> = (0..20)
        .flat_map(|index| change(index, usual(index)).to_le_bytes())
        .collect();
    image.extend((image.len()..len).map(|index| index as u8));
    image
}

fn image(len: usize) -> Vec<u8> {
    image_with(len, |_, usual| usual)
}

fn raw(base: u32, bytes: &[u8]) -> Build {
    packstaff_image::read(bytes, &ReadOptions { raw_base: Some(base) }).expect("a raw build")
}

fn from_hex(segments: &[(u32, Vec<u8>)]) -> Build {
    read(hex(segments, 16).as_bytes()).expect("a HEX build")
}

#[track_caller]
fn check(build: &Build, target: &Target, id: &str) -> Check {
    examine(build, target)
        .into_iter()
        .find(|check| check.question.id() == id)
        .unwrap_or_else(|| panic!("no check {id}"))
}

#[track_caller]
fn expect(build: &Build, target: &Target, id: &str, verdict: Verdict, found: &str) {
    let check = check(build, target, id);
    assert_eq!((check.verdict, check.found.as_str()), (verdict, found), "{check:#?}");
    assert!(check.explanation.ends_with('.'), "{check:#?}");
    assert!(!check.question.title().is_empty() && !check.expected.is_empty());
}

fn failing(build: &Build, target: &Target) -> Vec<&'static str> {
    examine(build, target)
        .iter()
        .filter(|check| check.verdict == Verdict::Fail)
        .map(|check| check.question.id())
        .collect()
}

#[test]
fn a_good_build_passes_everything() {
    let build = raw(SLOT, &image(0x400));
    let checks = examine(&build, &target());
    assert_eq!(worst(&checks), Verdict::Pass, "{checks:#?}");
    assert!(checks.is_sorted_by_key(|check| check.question), "{checks:#?}");
    let ids: Vec<&str> = checks.iter().map(|check| check.question.id()).collect();
    let expected = [
        "fits",
        "outside",
        "start",
        "overlaps",
        "gaps",
        "machine",
        "stack-top",
        "reset-vector",
        "handlers",
        "interrupts",
        "entry",
        "blank",
        "repeat",
    ];
    assert_eq!(ids, expected);
}

#[test]
fn a_linked_firmware_passes_in_every_format() {
    let firmware = Firmware::linked_at("0x08010000");
    let target = Target {
        slot: SLOT..0x0808_0000,
        usable: 0x6_FF00,
        ..target()
    };
    let core = Core::CortexM {
        architecture: Architecture::V7M,
        interrupts: 0,
    };
    let target = Target { core, ..target };
    let files = [
        firmware.file("kiln.elf"),
        firmware.objcopy("kiln.hex", &["-O", "ihex"]),
        firmware.objcopy("kiln.srec", &["-O", "srec"]),
    ];
    let mut digests = Vec::new();
    for file in files {
        let build = read(&file).expect("a build");
        let checks = examine(&build, &target);
        let grave: Vec<&Check> = checks.iter().filter(|check| check.verdict != Verdict::Pass).collect();
        // The trailer is put far behind the rest on purpose.
        assert!(
            matches!(
                grave[..],
                [Check {
                    question: Question::Gaps,
                    verdict: Verdict::Warn,
                    ..
                }]
            ),
            "{grave:#?}"
        );
        digests.push(target.image_digest(&build).expect("in its slot"));
    }
    let binary = firmware.objcopy("kiln.bin", &["-O", "binary", "--gap-fill", "0xFF"]);
    let raw = raw(SLOT, &binary);
    digests.push(target.image_digest(&raw).expect("in its slot"));
    assert!(digests.windows(2).all(|pair| pair[0] == pair[1]));
    assert_eq!(target.image(&raw).expect("in its slot"), binary);

    let next = Firmware::linked_at("0x08010100");
    let elsewhere = read(&next.file("kiln.elf")).expect("a build");
    assert_eq!(
        failing(&elsewhere, &target),
        ["start", "stack-top", "reset-vector", "handlers"]
    );
}

#[test]
fn size_is_counted_to_the_byte() {
    let fits = |len| raw(SLOT, &image(len));
    expect(
        &fits(0xFF00),
        &target(),
        "fits",
        Verdict::Pass,
        "65,280 bytes, 0 bytes free",
    );
    expect(
        &fits(0xFEFF),
        &target(),
        "fits",
        Verdict::Pass,
        "65,279 bytes, 1 byte free",
    );
    let long = fits(0xFF01);
    expect(&long, &target(), "fits", Verdict::Fail, "65,281 bytes, 1 byte too many");
    let found = "1 byte at 0x0801FF00..0x0801FF01 (the slot's descriptor)";
    expect(&long, &target(), "outside", Verdict::Fail, found);
    let very_long = fits(0x1_0010);
    let found = "272 bytes at 0x0801FF00..0x08020010 (the slot's descriptor)";
    expect(&very_long, &target(), "outside", Verdict::Fail, found);
}

#[test]
fn what_a_build_hits_is_named() {
    let build = from_hex(&[
        (0x0800_7FFC, vec![1; 8]),
        (SLOT, image(0x400)),
        (0x1FFF_C008, vec![0xAA]),
        (0x2000_0000, vec![1, 2, 3]),
        (0x6000_0000, vec![4]),
    ]);
    let found = "8 bytes at 0x08007FFC..0x08008004 (installer, settings); 1 byte at \
        0x1FFFC008..0x1FFFC009 (option bytes); 3 bytes at 0x20000000..0x20000003 (RAM, so its \
        load address is missing); 1 byte at 0x60000000..0x60000001 (nothing that the product \
        names)";
    expect(&build, &target(), "outside", Verdict::Fail, found);
    expect(
        &build,
        &target(),
        "fits",
        Verdict::Pass,
        "1,024 bytes, 64,256 bytes free",
    );
    expect(&build, &target(), "start", Verdict::Fail, "first byte at 0x08007FFC");
    let many: Vec<(u32, Vec<u8>)> = (0..9).map(|index| (index * 0x100, vec![1, 2])).collect();
    let text = check(&from_hex(&many), &target(), "outside").found;
    assert!(text.ends_with("; and 3 more places"), "{text}");
}

#[test]
fn a_build_for_the_start_of_flash_is_seen() {
    let build = raw(0x0800_0000, &image(0x400));
    expect(&build, &target(), "start", Verdict::Fail, "first byte at 0x08000000");
    let found = "1,024 bytes at 0x08000000..0x08000400 (installer)";
    expect(&build, &target(), "outside", Verdict::Fail, found);
    expect(
        &build,
        &target(),
        "stack-top",
        Verdict::Fail,
        "no word at the slot's start",
    );
    expect(
        &build,
        &target(),
        "repeat",
        Verdict::Warn,
        "not comparable: the build does not lie in its slot",
    );
    // Placed in the slot by a raw base, but linked for the start of flash: only the vectors tell.
    let shifted = image_with(0x400, |index, usual| {
        if index > 0 && usual != 0 {
            usual - 0x1_0000
        } else {
            usual
        }
    });
    assert_eq!(failing(&raw(SLOT, &shifted), &target()), ["reset-vector", "handlers"]);
}

#[test]
fn the_stack_begins_in_ram() {
    for (stack, verdict) in [
        (0x2002_0000, Verdict::Pass), // the end of RAM
        (0x2002_0008, Verdict::Fail),
        (0x2000_0000, Verdict::Fail), // the first push would leave RAM
        (0x2000_0008, Verdict::Pass),
        (0x1001_0000, Verdict::Pass), // the second RAM
        (0x2001_FFFC, Verdict::Fail), // not a multiple of 8
        (0x0000_0000, Verdict::Fail),
        (0xFFFF_FFFF, Verdict::Fail),
    ] {
        let build = raw(
            SLOT,
            &image_with(0x400, |index, usual| if index == 0 { stack } else { usual }),
        );
        expect(&build, &target(), "stack-top", verdict, &format!("0x{stack:08X}"));
    }
}

#[test]
fn the_reset_vector_leads_into_the_image() {
    for (reset, verdict) in [
        (SLOT + 0x3FF, Verdict::Pass), // the last halfword
        (SLOT + 0x401, Verdict::Fail), // behind the image
        (SLOT + 0x100, Verdict::Fail), // no Thumb bit
        (SLOT + 0x41, Verdict::Pass),
        (SLOT + 0x3D, Verdict::Fail), // the system vectors
        (0x0000_0000, Verdict::Fail),
        (0x2000_0001, Verdict::Fail),
        (0xFFFF_FFFF, Verdict::Fail),
    ] {
        let build = raw(
            SLOT,
            &image_with(0x400, |index, usual| if index == 1 { reset } else { usual }),
        );
        expect(&build, &target(), "reset-vector", verdict, &format!("0x{reset:08X}"));
    }
    // Into a gap of the image.
    let mut bytes = image(0x400);
    let tail = bytes.split_off(0x200);
    bytes.truncate(0x100);
    let gap = from_hex(&[(SLOT, bytes), (SLOT + 0x200, tail)]);
    expect(&gap, &target(), "reset-vector", Verdict::Fail, "0x08010101");
    let short = raw(SLOT, &image(6));
    let short = raw(SLOT, &short.segments()[0].data[..6]);
    expect(&short, &target(), "reset-vector", Verdict::Fail, "no second word");
}

#[test]
fn handlers_are_those_of_the_architecture() {
    let with = |number: usize, vector| {
        raw(
            SLOT,
            &image_with(0x400, |index, usual| if index == number { vector } else { usual }),
        )
    };
    let on = |architecture| Target {
        core: Core::CortexM {
            architecture,
            interrupts: 4,
        },
        ..target()
    };
    expect(
        &with(3, 0x2000_0001),
        &target(),
        "handlers",
        Verdict::Fail,
        "HardFault 0x20000001",
    );
    expect(
        &with(3, 0),
        &target(),
        "handlers",
        Verdict::Pass,
        "8 of 9 set, all in the image",
    );
    // Exception 5 is a bus fault on ARMv7-M and reserved on ARMv6-M, where makers keep other things
    // in it.
    expect(
        &with(5, 0x1234_5678),
        &on(Architecture::V7M),
        "handlers",
        Verdict::Fail,
        "BusFault 0x12345678",
    );
    expect(
        &with(5, 0x1234_5678),
        &on(Architecture::V6M),
        "handlers",
        Verdict::Pass,
        "5 of 5 set, all in the image",
    );
    expect(
        &with(7, 0x1234_5679),
        &on(Architecture::V7M),
        "handlers",
        Verdict::Pass,
        "9 of 9 set, all in the image",
    );
    let secure = on(Architecture::V8MMainline);
    expect(
        &with(7, 0x1234_5679),
        &secure,
        "handlers",
        Verdict::Fail,
        "SecureFault 0x12345679",
    );

    let found = "3 of 4 set, all in the image";
    expect(&with(17, RESET), &target(), "interrupts", Verdict::Pass, found);
    expect(
        &with(17, RESET + 1),
        &target(),
        "interrupts",
        Verdict::Warn,
        "interrupt 1 0x08010102",
    );
    let many = Target {
        core: Core::CortexM {
            architecture: Architecture::V7M,
            interrupts: u16::MAX,
        },
        ..target()
    };
    assert!(
        check(&raw(SLOT, &image(0x400)), &many, "interrupts")
            .found
            .ends_with("more")
    );
}

#[test]
fn the_processor_is_the_boards() {
    let arm = read(&elf(40, RESET, &[Program::at(SLOT, &image(0x400))])).expect("ELF");
    let other = read(&elf(243, RESET, &[Program::at(SLOT, &image(0x400))])).expect("ELF");
    expect(&arm, &target(), "machine", Verdict::Pass, "ARM");
    expect(&other, &target(), "machine", Verdict::Fail, "RISC-V");
    expect(&arm, &risc_v(), "machine", Verdict::Fail, "ARM");
    expect(
        &raw(SLOT, &image(0x400)),
        &target(),
        "machine",
        Verdict::Pass,
        "not stated in raw binary",
    );
}

#[test]
fn the_start_address_agrees() {
    let with = |entry| read(&elf(40, entry, &[Program::at(SLOT, &image(0x400))])).expect("ELF");
    expect(&with(RESET), &target(), "entry", Verdict::Pass, "0x08010101");
    expect(&with(RESET - 1), &target(), "entry", Verdict::Pass, "0x08010100");
    expect(&with(RESET + 4), &target(), "entry", Verdict::Warn, "0x08010105");
    expect(&with(0), &target(), "entry", Verdict::Pass, "not stated");
    let with = |entry| read(&elf(243, entry, &[Program::at(SLOT, &[0x13, 0, 0, 0, 1, 2])])).expect("ELF");
    expect(&with(SLOT), &risc_v(), "entry", Verdict::Pass, "0x08010000");
    expect(&with(SLOT + 1), &risc_v(), "entry", Verdict::Warn, "0x08010001");
}

#[test]
fn risc_v_begins_with_an_instruction() {
    // addi x0, x0, 0 is 0x00000013: the canonical NOP of the RISC-V manual.
    expect(
        &raw(SLOT, &[0x13, 0, 0, 0]),
        &risc_v(),
        "first-instruction",
        Verdict::Pass,
        "0x0013",
    );
    expect(
        &raw(SLOT, &[0, 0, 1, 0]),
        &risc_v(),
        "first-instruction",
        Verdict::Fail,
        "0x0000",
    );
    expect(
        &raw(SLOT, &[0xFF, 0xFF, 1, 0]),
        &risc_v(),
        "first-instruction",
        Verdict::Fail,
        "0xFFFF",
    );
    expect(
        &raw(SLOT, &[0x13]),
        &risc_v(),
        "first-instruction",
        Verdict::Fail,
        "no instruction at the slot's start",
    );
    assert!(
        examine(&raw(SLOT, &[0x13, 0, 0, 0]), &risc_v())
            .iter()
            .all(|check| check.question != Question::StackTop)
    );
}

#[test]
fn gaps_are_counted() {
    let whole = raw(SLOT, &image(0x400));
    expect(
        &whole,
        &target(),
        "gaps",
        Verdict::Pass,
        "no gaps inside the image; 64,256 bytes after it stay erased",
    );
    let gap = from_hex(&[(SLOT, image(0x400)), (SLOT + 0x500, vec![1; 0x100])]);
    let found = "1 gap inside the image, 256 bytes filled with 0xFF; 63,744 bytes after it stay erased";
    expect(&gap, &target(), "gaps", Verdict::Pass, found);
    let even = from_hex(&[(SLOT, vec![1; 8]), (SLOT + 0x18, vec![2; 8])]);
    assert_eq!(check(&even, &target(), "gaps").verdict, Verdict::Pass);
    let wide = from_hex(&[(SLOT, image(0x400)), (SLOT + 0x404, vec![1]), (SLOT + 0xFEFF, vec![1])]);
    let found = "2 gaps inside the image, 64,254 bytes filled with 0xFF; 0 bytes after it stay erased";
    expect(&wide, &target(), "gaps", Verdict::Warn, found);
}

#[test]
fn doubled_bytes_are_counted() {
    let data = hex_record(4, 0, &[0x08, 0x01])
        + &hex_record(0, 0, &image(200))
        + &hex_record(0, 0, &image(120))
        + ":00000001FF\n";
    let build = read(data.as_bytes()).expect("the same bytes twice");
    let found = "120 bytes given more than once with the same values, from 0x08010000";
    expect(&build, &target(), "overlaps", Verdict::Warn, found);
}

#[test]
fn blank_images_are_seen() {
    expect(
        &raw(SLOT, &[0xFF; 64]),
        &target(),
        "blank",
        Verdict::Fail,
        "every byte is 0xFF, the erased value",
    );
    expect(
        &raw(SLOT, &[0x00; 64]),
        &target(),
        "blank",
        Verdict::Fail,
        "every byte is 0x00",
    );
    let mut almost = [0xFF; 64];
    almost[63] = 0xFE;
    expect(
        &raw(SLOT, &almost),
        &target(),
        "blank",
        Verdict::Pass,
        "different byte values",
    );
}

#[test]
fn an_earlier_image_is_recognised_whatever_its_format() {
    let segments = [(SLOT, image(0x400)), (SLOT + 0x440, vec![7; 16])];
    let mut flat = image(0x400);
    flat.resize(0x440, 0xFF);
    flat.extend([7; 16]);
    // Debian coreutils' sha256sum is an independent opinion on the digest.
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("image"), &flat).expect("a file");
    let printed = common::tools::SHA256SUM.run(folder.path(), &["image"]);
    let mut digest = [0; 32];
    for (byte, pair) in digest.iter_mut().zip(printed.as_bytes().chunks(2)) {
        *byte = u8::from_str_radix(std::str::from_utf8(pair).expect("ASCII"), 16).expect("digits");
    }
    let mut target = target();
    target.earlier.push(("2.1".into(), digest));
    let found = "byte for byte the image of 2.1";
    expect(&from_hex(&segments), &target, "repeat", Verdict::Fail, found);
    expect(&raw(SLOT, &flat), &target, "repeat", Verdict::Fail, found);
    flat[0x440] = 8;
    expect(
        &raw(SLOT, &flat),
        &target,
        "repeat",
        Verdict::Pass,
        "unlike any of 3 earlier",
    );
}

#[test]
fn targets_that_make_no_sense_fail_and_do_not_panic() {
    let build = raw(SLOT, &image(0x400));
    let top = raw(0xFFFF_FF00, &[1; 0x100]);
    let backwards = Range {
        start: u32::MAX,
        end: 0,
    };
    let slots = [
        0..0,
        backwards.clone(),
        SLOT..SLOT,
        0..u32::MAX,
        u32::MAX..u32::MAX,
        u32::MAX - 3..u32::MAX,
    ];
    for slot in slots {
        for usable in [0, 1, u32::MAX] {
            for core in [
                Core::RiscV,
                Core::CortexM {
                    architecture: Architecture::V6M,
                    interrupts: u16::MAX,
                },
            ] {
                let ram = vec![backwards.clone(), 0..0];
                let target = Target {
                    slot: slot.clone(),
                    usable,
                    ram,
                    core,
                    ..target()
                };
                for build in [&build, &top] {
                    assert_eq!(worst(&examine(build, &target)), Verdict::Fail, "{slot:X?}");
                }
            }
        }
    }
}
