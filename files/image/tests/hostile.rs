//! Files that are damaged, contradictory or malicious: each gets a clear error, and none costs much
//! memory.

mod common;

use common::writers::{Program, Section, elf, hex, hex_record, s_record, s_records, with_sections};
use common::{content, read};
use packstaff_image::{Build, ElfFault, Note, ReadError, ReadOptions, RecordFault};

const END: &str = ":00000001FF\n";

fn refused(file: impl AsRef<[u8]>) -> ReadError {
    match read(file.as_ref()) {
        Err(error) => error,
        Ok(build) => panic!("accepted as {} with {:?}", build.format(), build.notes()),
    }
}

/// The line, column and fault of a record error.
fn fault(file: impl AsRef<[u8]>) -> (usize, usize, RecordFault) {
    match refused(file) {
        ReadError::Record { position, fault, .. } => (position.line, position.column, fault),
        other => panic!("another kind of error: {other}"),
    }
}

fn elf_fault(file: &[u8]) -> ElfFault {
    match refused(file) {
        ReadError::Elf(fault) => fault,
        other => panic!("another kind of error: {other}"),
    }
}

fn accepted(file: impl AsRef<[u8]>) -> Build {
    read(file.as_ref()).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn messages_say_what_where_and_what_to_do() {
    let damaged = ":0400000001020304F2\n:04000400050607089E\n:00000001FF\n";
    let cases: [(&[u8], &str); 8] = [
        (
            b"",
            "the file is empty; a build was expected: check that the linker or the conversion \
             step succeeded",
        ),
        (
            damaged.as_bytes(),
            "Intel HEX, line 2, column 18 (byte 37): the checksum is 0x9E, the record's bytes \
             give 0xDE: the record is damaged; copy or convert the file again",
        ),
        (
            b":0400000001020304F2",
            "Intel HEX, line 1, column 20 (byte 19): the file ends without an end of file record \
             (:00000001FF): it has probably been cut short; copy or convert it again",
        ),
        (
            b":04000000010203",
            "Intel HEX, line 1, column 16 (byte 15): the file ends here, 2 digits before the \
             record does by its own length field: the file has been cut or re-wrapped; copy or \
             convert it again",
        ),
        (
            b"S1060000010203F3\nS9030000FC\nS1060000010203F3\n",
            "S-record, line 3, column 1 (byte 28): found 'S' (0x53) after the ending record of \
             line 2, which ends the file; expected nothing: two builds may have been joined; give \
             the one that is meant",
        ),
        (
            b"S1060000010203F3\nS5030002FA\nS9030000FC\n",
            "S-record, line 2, column 1 (byte 17): the count record says 2 data records, the file \
             has 1 before it: records are missing or doubled; convert the build again",
        ),
        (
            b":0400000001020304F2\n:04000200FF0405F4FE\n:00000001FF\n",
            "the record on line 1 (byte 0) puts 0x03 at address 0x00000002 and the record on line \
             2 (byte 20) puts 0xFF there; one value was expected: two builds may have been \
             joined, or two output sections share load addresses",
        ),
        (
            b"\x00\x00\x02\x20\xC1\x01\x01\x08\x00",
            "the file begins with 00 00 02 20 C1 01 01 08, which is none of ELF, Intel HEX and \
             S-record, so it is taken for a raw binary, and a raw binary does not say where it \
             belongs: state its base address, or give the ELF file instead",
        ),
    ];
    for (file, message) in cases {
        assert_eq!(refused(file).to_string(), message);
    }
}

#[test]
fn a_hex_file_cut_anywhere_is_refused() {
    let file = hex(&[(0x0800_FFF0, (0..=99).collect())], 16);
    accepted(&file);
    // Without its last line end it is still whole.
    accepted(file.trim_end());
    for len in 3..file.trim_end().len() {
        let (line, ..) = fault(&file[..len]);
        assert_eq!(line, file[..len].split('\n').count(), "cut to {len}");
    }
}

#[test]
fn an_s_record_file_cut_anywhere_is_refused_or_proved_whole_by_its_count() {
    let file = s_records(&[(0x0800_FFF0, (0..=99).collect())], 16);
    let whole = content(&accepted(&file));
    let counted = file.find("S5").expect("a count") + "S503000700".len();
    for len in 4..file.trim_end().len() {
        match read(&file.as_bytes()[..len]) {
            Err(error) => assert!(matches!(error, ReadError::Record { .. }), "cut to {len}: {error}"),
            Ok(build) => {
                assert!(len == counted || len == counted + 1, "cut to {len}");
                assert_eq!(content(&build), whole);
                assert!(build.notes().contains(&Note::EndedByCount));
            }
        }
    }
}

#[test]
fn any_single_damaged_character_is_refused_or_harmless() {
    // A changed letter case or line end is harmless. The type digit of an S-record is the one thing
    // that its checksum does not cover: a changed width is accepted, since programs mix widths, but
    // noted. Everything else must be seen.
    for file in [
        hex(&[(0x1234, vec![0xAB; 40])], 16),
        s_records(&[(0x1234, vec![0xAB; 40])], 16),
    ] {
        let whole = content(&accepted(&file));
        for at in 0..file.len() {
            for bit in 0..8 {
                let mut damaged = file.clone().into_bytes();
                damaged[at] ^= 1 << bit;
                if let Ok(build) = read(&damaged) {
                    let noted = build
                        .notes()
                        .iter()
                        .any(|note| matches!(note, Note::MixedWidths { .. }));
                    let type_digit = file.as_bytes()[at - usize::from(at > 0)] == b'S';
                    assert!(
                        content(&build) == whole || noted && type_digit,
                        "bit {bit} of byte {at}"
                    );
                }
            }
        }
    }
}

#[test]
fn hex_records_of_the_wrong_shape() {
    let data = hex_record(0, 0, &[1]);
    let on_line_2 = |record: &str| fault(format!("{data}{record}{END}"));
    assert_eq!(
        on_line_2(":00000006FA\n"),
        (
            2,
            1,
            RecordFault::Type {
                found: "06".into(),
                expected: "00 to 05"
            }
        )
    );
    let length = |kind, found, expected| RecordFault::Length { kind, found, expected };
    assert_eq!(
        on_line_2(&hex_record(1, 0, &[1])),
        (2, 1, length("end of file", 1, "0"))
    );
    assert_eq!(
        on_line_2(&hex_record(2, 0, &[1])),
        (2, 1, length("base address", 1, "2"))
    );
    assert_eq!(
        on_line_2(&hex_record(4, 0, &[1, 2, 3])),
        (2, 1, length("base address", 3, "2"))
    );
    assert_eq!(
        on_line_2(&hex_record(3, 0, &[])),
        (2, 1, length("start address", 0, "4"))
    );
    assert_eq!(
        on_line_2(&hex_record(5, 0, &[1; 255])),
        (2, 1, length("start address", 255, "4"))
    );
    let offset = RecordFault::Offset {
        kind: "base address",
        found: 0x1234,
    };
    assert_eq!(on_line_2(&hex_record(4, 0x1234, &[8, 0])), (2, 1, offset));
    assert_eq!(
        on_line_2(":0000000 1FF\n"),
        (2, 9, RecordFault::NotADigit { found: b' ' })
    );
    assert_eq!(
        on_line_2(":0100000\n001FE\n"),
        (
            2,
            9,
            RecordFault::Shorter {
                missing: 1,
                file_ends: false
            }
        )
    );
    assert_eq!(
        on_line_2(":0100000001FE00\n"),
        (2, 14, RecordFault::Longer { found: b'0' })
    );
    assert_eq!(
        on_line_2(":0100000001FE:00000001FF\n"),
        (2, 14, RecordFault::Longer { found: b':' })
    );
    assert_eq!(
        on_line_2("; by hand\n"),
        (2, 1, RecordFault::NotARecord { found: b';', mark: ':' })
    );
}

#[test]
fn s_records_of_the_wrong_shape() {
    let data = s_record(1, 2, 0, &[1]);
    let on_line_2 = |record: &str| fault(format!("{data}{record}S9030000FC\n"));
    let expected = "S0 to S3 or S5 to S9";
    assert_eq!(
        on_line_2("S4030000FC\n"),
        (
            2,
            1,
            RecordFault::Type {
                found: "S4".into(),
                expected
            }
        )
    );
    assert_eq!(
        on_line_2("S\n"),
        (
            2,
            1,
            RecordFault::Type {
                found: "S\\n".into(),
                expected
            }
        )
    );
    let length = |kind, found, expected| RecordFault::Length { kind, found, expected };
    assert_eq!(on_line_2("S10200FD\n"), (2, 1, length("S1", 2, "3 or more")));
    assert_eq!(on_line_2("S300FF\n"), (2, 1, length("S3", 0, "5 or more")));
    assert_eq!(on_line_2(&s_record(5, 2, 1, &[1])), (2, 1, length("S5", 4, "3")));
    assert_eq!(on_line_2(&s_record(7, 4, 1, &[1, 2])), (2, 1, length("S7", 7, "5")));
    assert_eq!(
        on_line_2("S1FF0000\n"),
        (
            2,
            9,
            RecordFault::Shorter {
                missing: 504,
                file_ends: false
            }
        )
    );
    assert_eq!(
        on_line_2("s1030000FC\n"),
        (2, 1, RecordFault::NotARecord { found: b's', mark: 'S' })
    );
    let huge = RecordFault::Count {
        stated: 0xFF_FFFF,
        counted: 1,
    };
    assert_eq!(on_line_2(&s_record(6, 3, 0xFF_FFFF, &[])), (2, 1, huge));
}

#[test]
fn formats_mixed_in_one_file() {
    let s_first = format!("{}{}", s_record(1, 2, 0, &[1]), hex_record(0, 1, &[2]));
    assert_eq!(
        fault(s_first),
        (2, 1, RecordFault::NotARecord { found: b':', mark: 'S' })
    );
    let hex_first = format!("{}{}", hex_record(0, 1, &[2]), s_record(1, 2, 0, &[1]));
    assert_eq!(
        fault(hex_first),
        (2, 1, RecordFault::NotARecord { found: b'S', mark: ':' })
    );
    let elf_behind = [hex(&[(0, vec![1])], 16).as_bytes(), b"\x7FELF"].concat();
    assert_eq!(
        fault(elf_behind),
        (
            3,
            1,
            RecordFault::AfterEnd {
                found: 0x7F,
                end: "end of file",
                line: 2
            }
        )
    );
}

#[test]
fn foreign_lines_and_other_encodings() {
    let whole = hex(&[(0, vec![1])], 16);
    let commented = format!("# made on a Tuesday\n{whole}");
    assert_eq!(
        fault(commented),
        (1, 1, RecordFault::NotARecord { found: b'#', mark: ':' })
    );
    let wide: Vec<u8> = [0xFF, 0xFE]
        .into_iter()
        .chain(whole.bytes().flat_map(|byte| [byte, 0]))
        .collect();
    assert!(matches!(refused(wide), ReadError::WideText { .. }));
    assert_eq!(
        content(&accepted([b"\xEF\xBB\xBF", whole.as_bytes()].concat())),
        [(0, vec![1])]
    );
}

#[test]
fn nulls_where_text_should_be() {
    let whole = hex(&[(0, vec![1])], 16);
    assert_eq!(
        fault(format!("{whole}\0\0\0")),
        (
            3,
            1,
            RecordFault::AfterEnd {
                found: 0,
                end: "end of file",
                line: 2
            }
        )
    );
    assert_eq!(
        fault(whole.replace("01FE", "\0\0\0\0")),
        (1, 10, RecordFault::NotADigit { found: 0 })
    );
    assert!(matches!(refused([0u8; 4096]), ReadError::NoRawBase { .. }));
}

#[test]
fn start_addresses_that_disagree() {
    let file = |second| {
        hex_record(0, 0, &[1]) + &hex_record(5, 0, &[0, 0, 1, 0]) + &hex_record(5, 0, &[0, 0, 1, second]) + END
    };
    assert_eq!(accepted(file(0)).entry(), Some(0x100));
    assert_eq!(
        fault(file(8)),
        (3, 1, RecordFault::SecondStart { was: 0x100, now: 0x108 })
    );
}

#[test]
fn bases_of_both_kinds_at_once() {
    let linear = hex_record(4, 0, &[0x08, 0]);
    let no_linear = hex_record(4, 0, &[0, 0]);
    let segment = hex_record(2, 0, &[0x10, 0]);
    let data = hex_record(0, 0, &[1]);
    let mixed = RecordFault::MixedBases {
        found: "segment",
        new: 0x1_0000,
        other: "linear",
        old: 0x0800_0000,
    };
    assert_eq!(fault(format!("{linear}{segment}{data}{END}")), (2, 1, mixed));
    assert!(matches!(
        fault(format!("{segment}{linear}{data}{END}")),
        (2, 1, RecordFault::MixedBases { .. })
    ));
    assert_eq!(
        accepted(format!("{linear}{no_linear}{segment}{data}{END}")).span(),
        0x1_0000..0x1_0001
    );
}

#[test]
fn far_apart_addresses_do_not_allocate_the_gap() {
    // 65,536 records, one for each upper half: flattened they would need 4 GiB.
    let mut file = String::new();
    for upper in 0..=u16::MAX {
        file += &hex_record(4, 0, &upper.to_be_bytes());
        file += &hex_record(0, 0xFFF0, &[upper as u8]);
    }
    let build = accepted(file + END);
    assert_eq!((build.segments().len(), build.byte_count()), (65_536, 65_536));
    assert_eq!(build.span(), 0xFFF0..0xFFFF_FFF1);
    assert!(build.segments().iter().all(|segment| segment.data.capacity() <= 64));
}

#[test]
fn the_last_address_may_be_used_and_nothing_beyond() {
    let at_top = |data: &[u8]| s_record(3, 4, 0xFFFF_FFFF, data) + &s_record(7, 4, 0, &[]);
    assert_eq!(accepted(at_top(&[1])).span(), 0xFFFF_FFFF..0x1_0000_0000);
    assert_eq!(fault(at_top(&[1, 2])), (1, 1, RecordFault::PastEnd { beyond: 1 }));

    let program = |data: &[u8]| elf(40, 0, &[Program::at(0xFFFF_FFFF, data)]);
    assert_eq!(accepted(program(&[1])).span(), 0xFFFF_FFFF..0x1_0000_0000);
    let expected = ElfFault::PastEnd {
        index: 0,
        address: 0xFFFF_FFFF,
        len: 3,
        beyond: 2,
    };
    assert_eq!(elf_fault(&program(&[1, 2, 3])), expected);

    let raw = |base| packstaff_image::read(&[0, 1], &ReadOptions { raw_base: Some(base) });
    assert_eq!(raw(0xFFFF_FFFE).expect("fits").span(), 0xFFFF_FFFE..0x1_0000_0000);
    assert_eq!(
        raw(0xFFFF_FFFF),
        Err(ReadError::RawPastEnd {
            base: 0xFFFF_FFFF,
            len: 2,
            beyond: 1
        })
    );
}

#[test]
fn giant_lines_and_files_without_data() {
    let giant = format!(":01000000{}\n{END}", "0".repeat(8 << 20));
    assert!(matches!(
        fault(giant),
        (
            1,
            12,
            RecordFault::Checksum {
                found: 0,
                expected: 0xFF
            }
        )
    ));
    let blank = format!("{}{END}", " ".repeat(8 << 20));
    assert!(matches!(
        refused(blank),
        ReadError::NoData { .. } | ReadError::NoRawBase { .. }
    ));
    assert!(matches!(refused(END), ReadError::NoData { .. }));
    assert!(matches!(refused("S9030000FC\n"), ReadError::NoData { .. }));
    assert!(matches!(refused(elf(40, 0, &[])), ReadError::NoData { .. }));
    let empty_records = hex_record(0, 0, &[]).repeat(100) + END;
    assert!(matches!(refused(empty_records), ReadError::NoData { .. }));
}

#[test]
fn overlaps_in_elf() {
    let same = [Program::at(0x100, &[1, 2, 3, 4]), Program::at(0x102, &[3, 4, 5])];
    let build = accepted(elf(40, 0, &same));
    assert_eq!(content(&build), [(0x100, vec![1, 2, 3, 4, 5])]);
    assert_eq!(build.notes(), [Note::Overlap { address: 0x102, len: 2 }]);
    let other = [Program::at(0x100, &[1, 2, 3, 4]), Program::at(0x102, &[3, 9, 5])];
    let message = refused(elf(40, 0, &other)).to_string();
    assert!(
        message.starts_with("program header 0 puts 0x04 at address 0x00000103 and program header 1 puts 0x09 there"),
        "{message}"
    );
}

#[test]
fn elf_addresses() {
    // ELF leaves p_paddr unused where physical addressing is irrelevant, and some linkers then
    // write zero.
    let mut programs = vec![Program::at(0x0800_0000, &[1, 2]), Program::at(0x0800_0010, &[3])];
    programs.iter_mut().for_each(|program| program.physical = 0);
    let build = accepted(elf(243, 0x0800_0000, &programs));
    assert_eq!(content(&build), [(0x0800_0000, vec![1, 2]), (0x0800_0010, vec![3])]);
    assert_eq!(build.notes(), [Note::VirtualAddresses]);
    // Where one is set, all count: initial values stored behind the code.
    let programs = [
        Program::at(0x0800_0000, &[1, 2]),
        Program {
            physical: 0x0800_0002,
            virtual_: 0x2000_0000,
            data: vec![3],
            cleared: 1 << 30,
        },
    ];
    assert_eq!(
        content(&accepted(elf(40, 0, &programs))),
        [(0x0800_0000, vec![1, 2, 3])]
    );
}

#[test]
fn elf_headers_that_lie() {
    let whole = elf(40, 0, &[Program::at(0x100, &[1, 2, 3, 4])]);
    accepted(&whole);
    for len in 4..whole.len() {
        elf_fault(&whole[..len]);
    }
    let with = |at: usize, bytes: &[u8]| {
        let mut file = whole.clone();
        file[at..at + bytes.len()].copy_from_slice(bytes);
        elf_fault(&file)
    };
    let field = |fault, expected| match fault {
        ElfFault::Field { field, .. } => assert_eq!(field, expected),
        other => panic!("another fault: {other}"),
    };
    field(with(4, &[2]), "EI_CLASS");
    field(with(5, &[2]), "EI_DATA");
    field(with(6, &[0]), "EI_VERSION");
    field(with(16, &[1, 0]), "e_type");
    field(with(16, &[3, 0]), "e_type");
    field(with(18, &[62, 0]), "e_machine");
    assert!(matches!(with(28, &[0xFF; 4]), ElfFault::Table { .. }), "e_phoff");
    assert!(
        matches!(with(44, &[0xFE, 0xFF]), ElfFault::Table { .. }),
        "e_phnum, huge"
    );
    assert!(
        matches!(with(44, &[0xFF, 0xFF]), ElfFault::Table { .. }),
        "e_phnum, kept in a section that is not there"
    );
    assert!(matches!(with(42, &[31, 0]), ElfFault::Table { .. }), "e_phentsize");
    let mut sections = whole.clone();
    sections[32..36].fill(0xF0); // e_shoff
    sections[48] = 1; // e_shnum
    assert!(matches!(
        elf_fault(&sections),
        ElfFault::Table {
            what: "the section header table",
            ..
        }
    ));
    assert!(matches!(with(52 + 4, &[0xFF; 4]), ElfFault::Cut { .. }), "p_offset");
    assert!(
        matches!(with(52 + 16, &[0xFF; 8]), ElfFault::Cut { .. }),
        "p_filesz and p_memsz"
    );
    assert_eq!(
        with(52 + 20, &[3, 0, 0, 0]),
        ElfFault::Larger {
            index: 0,
            file: 4,
            memory: 3
        }
    );
}

#[test]
fn an_elf_file_that_loads_itself_again_and_again() {
    // 1,000 program headers, each with the same megabyte of the file at an address of its own.
    let programs: Vec<Program> = (0..1000).map(|index| Program::at(index << 20, &[])).collect();
    let mut file = elf(40, 0, &programs);
    let offset = file.len() as u32;
    for index in 0..programs.len() {
        let at = 52 + 32 * index;
        file[at + 4..at + 8].copy_from_slice(&offset.to_le_bytes());
        file[at + 16..at + 20].copy_from_slice(&(1u32 << 20).to_le_bytes());
        file[at + 20..at + 24].copy_from_slice(&(1u32 << 20).to_le_bytes());
    }
    file.resize(file.len() + (1 << 20), 0xA5);
    assert!(matches!(elf_fault(&file), ElfFault::Claims { claimed, .. } if claimed == 1000 << 20));
}

#[test]
fn what_is_in_no_section_of_an_elf_file() {
    // 4 bytes in a section, 4 zeros, 2 in another section, 2 zeros, 3 that are not zero.
    let data = [1, 2, 3, 4, 0, 0, 0, 0, 5, 6, 0, 0, 0, 7, 0];
    let start = 52u32 + 32;
    let file = elf(40, 0, &[Program::at(0x100, &data)]);
    let section = |kind, flags, offset, len| Section {
        kind,
        flags,
        offset: start + offset,
        len,
    };
    // SHT_PROGBITS 1, SHT_NOBITS 8, SHF_ALLOC 2: TIS ELF 1.2, figures 1-10 and 1-12.
    let used = || vec![section(1, 2, 0, 4), section(1, 2, 8, 2)];
    let whole = content(&accepted(&file));
    assert_eq!(whole, [(0x100, data.to_vec())], "without a table everything is loaded");

    let build = accepted(with_sections(file.clone(), &used()));
    let expected = [(0x100, vec![1, 2, 3, 4]), (0x108, vec![5, 6, 0, 0, 0, 7, 0])];
    assert_eq!(
        content(&build),
        expected,
        "zeros between sections are padding, other bytes are not"
    );
    assert_eq!(build.notes(), [Note::PaddingLeftOut { len: 4 }]);

    // A section without bytes in the file, and one that takes no memory, say nothing about the bytes there.
    for silent in [section(8, 2, 4, 4), section(1, 0, 4, 4), section(1, 2, 4, 0)] {
        let mut sections = used();
        sections.push(silent);
        assert_eq!(content(&accepted(with_sections(file.clone(), &sections))), expected);
    }
    let mut filled = used();
    filled.push(section(1, 2, 4, 4));
    assert_eq!(
        content(&accepted(with_sections(file.clone(), &filled))),
        whole,
        "zeros in a section are content"
    );
    let elsewhere = [section(1, 2, 4000, 4)];
    assert_eq!(
        content(&accepted(with_sections(file, &elsewhere))),
        whole,
        "a table that lists other things"
    );
}

#[test]
fn notes_are_sentences_for_people() {
    let wrapped = hex_record(2, 0, &[0x10, 0]) + &hex_record(0, 0xFFFF, &[1, 2]) + END;
    let texts: Vec<String> = accepted(wrapped).notes().iter().map(ToString::to_string).collect();
    let expected = [
        "the addresses do not ascend: 0x00010000, in the record on line 2 (byte 16), is the first that goes back",
        "the record on line 2 (byte 16) passes the end of the 64 KiB segment at 0x00010000; by the format's rule its later \
         bytes go to the start of that segment",
    ];
    assert_eq!(texts, expected);
    let header = s_record(0, 2, 0, b"kiln\x1B[2J") + &s_record(1, 2, 0, &[1]) + "S5030001FB\n";
    let texts: Vec<String> = accepted(header).notes().iter().map(ToString::to_string).collect();
    let expected = [
        "the header record says \"kiln\\x1b[2J\"",
        "the file has no ending record; its count record shows that nothing is missing",
    ];
    assert_eq!(texts, expected);
}
