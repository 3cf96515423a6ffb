//! Worked records of the format descriptions, each with its source.

mod common;

use common::{content, read};
use hex_literal::hex;
use packstaff_image::{Note, ReadError, RecordFault};

/// Debian srec_intel(5), section EXAMPLE (a rendering of Intel's specification, Revision A, 1988).
#[test]
fn intel_example_of_the_manual_page() {
    let build = read(b":0D00000048656C6C6F2C20576F726C640AA1\n:00000001FF\n").expect("a whole file");
    assert_eq!(content(&build), [(0, b"Hello, World\n".to_vec())]);
    assert_eq!((build.entry(), build.notes()), (None, &[][..]));
}

/// Debian srec_motorola(5), section EXAMPLE.
#[test]
fn motorola_example_of_the_manual_page() {
    let file = b"S00600004844521B\nS110000048656C6C6F2C20576F726C640A9D\nS5030001FB\nS9030000FC\n";
    let build = read(file).expect("a whole file");
    assert_eq!(content(&build), [(0, b"Hello, World\n".to_vec())]);
    assert_eq!(
        (build.entry(), build.notes()),
        (None, &[Note::Header("HDR".into())][..])
    );
}

/// Motorola, M68000 Family Programmer's Reference Manual (M68000PM/AD), appendix C, the example of
/// an S-record file. From memory; every record carries its own checksum.
#[test]
fn motorola_example_of_the_m68000_manual() {
    let file = b"S00600004844521B\r\n\
        S1130000285F245F2212226A000424290008237C2A\r\n\
        S11300100002000800082629001853812341001813\r\n\
        S113002041E900084E42234300182342000824A952\r\n\
        S107003000144ED492\r\n\
        S9030000FC\r\n";
    let expected = hex!(
        "285F245F2212226A000424290008237C 00020008000826290018538123410018"
        "41E900084E42234300182342000824A9 00144ED4"
    );
    assert_eq!(content(&read(file).expect("a whole file")), [(0, expected.to_vec())]);
}

/// Common examples of each Intel record type, as encyclopaedias print them. From memory; every
/// record carries its own checksum.
#[test]
fn one_record_of_each_intel_type() {
    let data = ":10010000214601360121470136007EFE09D2190140\n\
        :100110002146017E17C20001FF5F16002148011928\n\
        :10012000194E79234623965778239EDA3F01B2CAA7\n\
        :100130003F0156702B5E712B722B732146013421C7\n";
    let end = ":00000001FF\n";
    let expected = hex!(
        "214601360121470136007EFE09D21901 2146017E17C20001FF5F160021480119"
        "194E79234623965778239EDA3F01B2CA 3F0156702B5E712B722B732146013421"
    );
    let at = |bases: &str| {
        let build = read(format!("{bases}{data}{end}").as_bytes()).expect("a whole file");
        let found = content(&build);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].1, expected);
        (found[0].0, build.entry())
    };
    assert_eq!(at(""), (0x0100, None));
    assert_eq!(
        at(":020000021200EA\n"),
        (0x1_2100, None),
        "type 02: segment 1200h is base 12000h"
    );
    assert_eq!(
        at(":0400000300003800C1\n"),
        (0x0100, Some(0x3800)),
        "type 03: CS:IP 0000h:3800h"
    );
    assert_eq!(
        at(":020000040800F2\n"),
        (0x0800_0100, None),
        "type 04: upper half 0800h"
    );
    assert_eq!(
        at(":02000004FFFFFC\n"),
        (0xFFFF_0100, None),
        "type 04: upper half FFFFh"
    );
    assert_eq!(
        at(":04000005000000CD2A\n"),
        (0x0100, Some(0xCD)),
        "type 05: EIP 000000CDh"
    );
}

/// Intel's rule for segment bases, `SBA + ((DRLO + DRI) MOD 64K)`: srec_intel(5), "Extended Segment
/// Address Record".
#[test]
fn a_record_wraps_inside_its_segment() {
    let file = [
        common::writers::hex_record(2, 0, &[0x10, 0x00]),
        common::writers::hex_record(0, 0xFFFE, &[1, 2, 3, 4]),
        ":00000001FF\n".into(),
    ];
    let build = read(file.concat().as_bytes()).expect("a whole file");
    assert_eq!(content(&build), [(0x1_0000, vec![3, 4]), (0x1_FFFE, vec![1, 2])]);
    assert!(
        build
            .notes()
            .iter()
            .any(|note| matches!(note, Note::SegmentWrap { base: 0x1_0000, .. }))
    );
}

/// Intel's rule for linear bases, `(LBA + DRLO + DRI) MOD 4G`: srec_intel(5), "Extended Linear
/// Address Record".
#[test]
fn a_record_wraps_at_the_end_of_the_address_space() {
    let file = [
        common::writers::hex_record(4, 0, &[0xFF, 0xFF]),
        common::writers::hex_record(0, 0xFFFE, &[1, 2, 3, 4]),
        ":00000001FF\n".into(),
    ];
    let build = read(file.concat().as_bytes()).expect("a whole file");
    assert_eq!(content(&build), [(0, vec![3, 4]), (0xFFFF_FFFE, vec![1, 2])]);
    assert!(build.notes().iter().any(|note| matches!(note, Note::LinearWrap { .. })));
}

/// "The last byte makes the sum zero" and "makes the sum 0xFF": no other checksum value is taken,
/// in either format.
#[test]
fn only_one_checksum_in_256_is_right() {
    for (before, right, after) in [
        (":0D00000048656C6C6F2C20576F726C640A", 0xA1, "\n:00000001FF\n"),
        ("S1060000010203", 0xF3, "\nS9030000FC\n"),
    ] {
        for checksum in 0..=255u8 {
            let result = read(format!("{before}{checksum:02X}{after}").as_bytes());
            if checksum == right {
                result.expect("the right checksum");
                continue;
            }
            let ReadError::Record { position, fault, .. } = result.expect_err("a wrong checksum") else {
                panic!("another kind of error");
            };
            assert_eq!(
                fault,
                RecordFault::Checksum {
                    found: checksum,
                    expected: right
                }
            );
            assert_eq!((position.line, position.offset), (1, before.len()));
        }
    }
}

/// An S7, S8 or S9 address is where control passes to, and zero stands for none: srec_motorola(5),
/// "S7" to "S9".
#[test]
fn start_addresses_of_every_width() {
    use common::writers::s_record;
    for (data, end, len) in [(1, 9, 2), (2, 8, 3), (3, 7, 4)] {
        let text = |entry| s_record(data, len, 0x1234, &[1]) + &s_record(end, len, entry, &[]);
        assert_eq!(
            read(text(0x1234).as_bytes()).expect("a whole file").entry(),
            Some(0x1234)
        );
        assert_eq!(read(text(0).as_bytes()).expect("a whole file").entry(), None);
    }
}
