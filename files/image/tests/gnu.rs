//! The readers against programs that nobody here wrote: GNU ld makes the ELF file; GNU objcopy
//! (Debian binutils-arm-none-eabi) and srec_cat (Debian srecord) convert it and each other's
//! output.

mod common;

use common::tools::Firmware;
use common::{content, read};
use packstaff_image::{Build, Format, Machine, Note, ReadOptions};

const ERASED: u8 = 0xFF;

/// The usual start of the slot, and one at which GNU ld lets the first segment reach over the ELF
/// headers.
const ORIGINS: [&str; 2] = ["0x08010000", "0x08010100"];

fn flat(build: &Build) -> Vec<u8> {
    let span = build.span();
    build
        .flatten(span.start as u32..span.end as u32, ERASED)
        .expect("the span holds the build")
}

#[test]
fn every_format_of_one_build_gives_the_same_bytes() {
    for origin in ORIGINS {
        let firmware = Firmware::linked_at(origin);
        let elf = read(&firmware.file("kiln.elf")).expect("ELF");
        let hex = read(&firmware.objcopy("kiln.hex", &["-O", "ihex"])).expect("Intel HEX");
        let srec = read(&firmware.objcopy("kiln.srec", &["-O", "srec"])).expect("S-record");
        let long = read(&firmware.objcopy("long.srec", &["-O", "srec", "--srec-forceS3", "--srec-len=200"]))
            .expect("S-record with long records");
        let binary = firmware.objcopy("kiln.bin", &["-O", "binary", "--gap-fill", "0xFF"]);
        let base = u32::from_str_radix(&origin[2..], 16).expect("a number");
        let raw = packstaff_image::read(&binary, &ReadOptions { raw_base: Some(base) }).expect("raw");

        let formats = [
            Format::Elf,
            Format::IntelHex,
            Format::SRecord,
            Format::SRecord,
            Format::Raw,
        ];
        assert_eq!([&elf, &hex, &srec, &long, &raw].map(|build| build.format()), formats);
        assert_eq!(content(&elf), content(&hex), "{origin}");
        assert_eq!(content(&elf), content(&srec), "{origin}");
        assert_eq!(content(&elf), content(&long), "{origin}");
        assert_eq!(flat(&elf), binary, "{origin}");
        assert_eq!(flat(&raw), binary, "{origin}");
        assert_eq!(elf.digest(), hex.digest());
        assert_eq!(elf.digest(), srec.digest());

        assert_eq!(elf.segments().len(), 3, "code, constants with initial values, trailer");
        assert_eq!(elf.machine(), Some(Machine::Arm));
        assert_eq!(elf.entry(), hex.entry());
        assert_eq!(elf.entry(), srec.entry());
        assert_eq!(
            elf.entry(),
            elf.word(base + 4),
            "the linker and the vector table agree where to start"
        );
    }
}

#[test]
fn what_gnu_ld_adds_to_segments_is_left_out_and_noted() {
    let plain = read(&Firmware::linked_at(ORIGINS[0]).file("kiln.elf")).expect("ELF");
    assert!(
        matches!(plain.notes(), [Note::PaddingLeftOut { .. }]),
        "{:?}",
        plain.notes()
    );
    let headers = read(&Firmware::linked_at(ORIGINS[1]).file("kiln.elf")).expect("ELF");
    // The segment starts at file offset 0 and the first section at 0x100, as readelf shows.
    let notes = headers.notes();
    assert!(
        matches!(
            notes,
            [Note::HeadersLeftOut { len: 0x100 }, Note::PaddingLeftOut { .. }]
        ),
        "{notes:?}"
    );
}

#[test]
fn without_a_section_table_whole_segments_are_loaded() {
    let firmware = Firmware::linked_at(ORIGINS[0]);
    let binary = firmware.objcopy("kiln.bin", &["-O", "binary"]);
    let mut file = firmware.file("kiln.elf");
    file[32..36].fill(0); // e_shoff
    file[48..52].fill(0); // e_shnum, e_shstrndx
    let build = read(&file).expect("ELF");
    assert_eq!(
        build.segments().len(),
        2,
        "code with its padding meets the initial values; trailer"
    );
    let span = build.span();
    // objcopy fills gaps with zero when not told otherwise.
    assert_eq!(
        build.flatten(span.start as u32..span.end as u32, 0).expect("flat"),
        binary
    );
}

#[test]
fn srec_cat_output_of_every_width_reads_the_same() {
    let firmware = Firmware::linked_at(ORIGINS[0]);
    let expected = content(&read(&firmware.objcopy("kiln.hex", &["-O", "ihex"])).expect("Intel HEX"));
    let moved: Vec<(u32, Vec<u8>)> = expected
        .iter()
        .map(|(at, data)| (at - 0x0801_0000, data.clone()))
        .collect();

    for (name, kind) in [("a.hex", "-intel"), ("a.srec", "-motorola")] {
        for length in ["-line-length=44", "-line-length=80", "-line-length=250"] {
            let file = firmware.srec_cat(name, &["kiln.hex", "-intel", "-o", name, kind, length]);
            assert_eq!(content(&read(&file).expect(name)), expected, "{name} {length}");
        }
        // Moved down so that the trailer, at 0x12340, needs more than 16 bits: S2, or segment
        // records.
        for width in ["-address-length=3", "-address-length=4"] {
            let arguments = ["kiln.hex", "-intel", "-offset", "-0x08010000", "-o", name, kind, width];
            let file = firmware.srec_cat(name, &arguments);
            assert_eq!(content(&read(&file).expect(name)), moved, "{name} {width}");
            let text = String::from_utf8(file).expect("ASCII");
            match (kind, width) {
                ("-intel", "-address-length=3") => {
                    assert!(text.contains(":02000002"), "segment base records")
                }
                ("-motorola", "-address-length=3") => {
                    assert!(text.contains("\nS2"), "24-bit records")
                }
                _ => {}
            }
        }
    }
    let narrow = [
        "kiln.hex",
        "-intel",
        "-offset",
        "-0x08010000",
        "-crop",
        "0",
        "0x8000",
        "-o",
        "n.srec",
        "-motorola",
    ];
    let build = read(&firmware.srec_cat("n.srec", &narrow)).expect("16-bit S-records");
    assert_eq!(content(&build), moved[..2], "the trailer is cropped away");
}

#[test]
fn srec_cat_and_we_agree_where_addresses_wrap() {
    use common::writers::hex_record;
    let bytes: Vec<u8> = (1..=16).collect();
    let cases = [
        ("before any base record, past 64 KiB", vec![]),
        ("linear base, past 64 KiB", vec![hex_record(4, 0, &[0x08, 0x00])]),
        (
            "segment base, wraps in its segment",
            vec![hex_record(2, 0, &[0x10, 0x00])],
        ),
        ("linear base, wraps at 4 GiB", vec![hex_record(4, 0, &[0xFF, 0xFF])]),
        (
            "segment base of zero replaced by a linear one",
            vec![hex_record(2, 0, &[0, 0]), hex_record(4, 0, &[8, 0])],
        ),
    ];
    let folder = Firmware::linked_at(ORIGINS[0]);
    for (name, bases) in cases {
        let file = bases.concat() + &hex_record(0, 0xFFF8, &bytes) + ":00000001FF\n";
        std::fs::write(folder.path("wrap.hex"), &file).expect("a file");
        let rewritten = folder.srec_cat("wrap.srec", &["wrap.hex", "-intel", "-o", "wrap.srec", "-motorola"]);
        let ours = read(file.as_bytes()).expect(name);
        let theirs = read(&rewritten).expect(name);
        assert_eq!(content(&ours), content(&theirs), "{name}");
        assert_eq!(ours.byte_count(), 16, "{name}");
    }
}

#[test]
fn our_test_writers_write_what_gnu_reads() {
    use common::tools::{OBJCOPY, READELF};
    use common::writers::{Program, elf, hex, s_records};
    let segments = vec![
        (0x0800_FFF0, (0..64).collect::<Vec<u8>>()),
        (0x0801_2345, vec![0xA5; 300]),
    ];
    let firmware = Firmware::linked_at(ORIGINS[0]);
    let mut span = vec![0u8; 0x0801_2345 + 300 - 0x0800_FFF0];
    for (address, data) in &segments {
        span[(address - 0x0800_FFF0) as usize..][..data.len()].copy_from_slice(data);
    }
    for (kind, text) in [("ihex", hex(&segments, 16)), ("srec", s_records(&segments, 16))] {
        std::fs::write(firmware.path("written"), &text).expect("a file");
        assert_eq!(content(&read(text.as_bytes()).expect(kind)), segments, "{kind}");
        OBJCOPY.run(firmware.folder(), &["-I", kind, "-O", "binary", "written", "out.bin"]);
        assert_eq!(firmware.file("out.bin"), span, "{kind}");
    }
    let programs: Vec<Program> = segments.iter().map(|(at, data)| Program::at(*at, data)).collect();
    for (machine, name) in [(40, "ARM"), (243, "RISC-V")] {
        let file = elf(machine, 0, &programs);
        std::fs::write(firmware.path("written"), &file).expect("a file");
        assert_eq!(content(&read(&file).expect(name)), segments, "{name}");
        let listing = READELF.run(firmware.folder(), &["-hlW", "written"]);
        let fields: Vec<&str> = listing.split_whitespace().collect();
        assert!(
            listing.contains(&format!("Machine:                           {name}\n")),
            "{listing}"
        );
        for (address, data) in &segments {
            let (address, len) = (format!("0x{address:08x}"), format!("0x{:05x}", data.len()));
            assert!(
                fields
                    .windows(4)
                    .any(|four| four == [&*address, &*address, &*len, &*len]),
                "{listing}"
            );
        }
    }
}
