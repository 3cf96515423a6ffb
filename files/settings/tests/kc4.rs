//! The demo's three layouts against its firmware: the debug information of its builds, and its own carry-over.

mod common;

use common::{Numbers, kc4, kc4_history, kc4_layout, run};
use packstaff_settings::carry::{Carrier, Outcome};
use packstaff_settings::dump::{copies, from_text, image, read, seal};
use packstaff_settings::layout::{Group, Layout, Purpose, Shape};
use packstaff_settings::{carry_record, dwarf};
use std::io::Write;
use std::process::{Command, Stdio};

/// Names, offsets, sizes and types of everything, one line each: what two descriptions of one struct must agree in.
fn bones(group: &Group, path: &str, at: u32, lines: &mut Vec<String>) {
    for field in &group.fields {
        let own = format!("{path}{}", field.name);
        let at = at + field.at;
        let shape = match &field.shape {
            Shape::Number(number) => number.repr.word().to_owned(),
            Shape::Text { length, .. } => format!("text of {length}"),
            Shape::Bytes { length, .. } => format!("{length} bytes"),
            Shape::Group(inner) => format!("{} of {}, aligned to {}", inner.name, inner.size, inner.align),
        };
        let purpose = match field.purpose {
            Purpose::Crc { start, size } => format!(" crc of {size} from {start}"),
            _ => String::new(),
        };
        lines.push(format!("{at} {own} {shape} x{:?}{purpose}", field.count));
        if let Shape::Group(inner) = &field.shape {
            bones(inner, &format!("{own}."), at, lines);
        }
    }
}

fn bones_of(group: &Group) -> Vec<String> {
    let mut lines = vec![format!("{} of {}, aligned to {}", group.name, group.size, group.align)];
    bones(group, "", 0, &mut lines);
    lines
}

/// Outside: GCC's debug information in the committed builds.
#[test]
fn layouts_are_those_of_the_builds() {
    for version in ["1.8", "2.0", "2.1"] {
        let layout = kc4_layout(version);
        for board in ["c", "d"] {
            let elf = std::fs::read(kc4().join(format!("firmware/built/{version}/kc4-{board}.elf"))).unwrap();
            let name = &layout.record.name;
            let imported = dwarf::import(&elf, name).unwrap_or_else(|error| panic!("{error}"));
            assert_eq!(
                bones_of(&layout.record),
                bones_of(&imported.record),
                "{version}, board {board}"
            );
            // By the typedef's name too.
            let by_typedef = dwarf::import(&elf, "kc4_settings").unwrap_or_else(|error| panic!("{error}"));
            assert_eq!(by_typedef.record.size, layout.record.size);
        }
    }
}

#[test]
fn a_file_says_the_same_when_it_is_written_again() {
    for version in ["1.8", "2.0", "2.1"] {
        let layout = kc4_layout(version);
        let again = Layout::from_text("again", &layout.to_text()).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(layout, again);
    }
}

#[test]
fn the_history_is_what_the_firmware_tells() {
    let history = kc4_history();
    let matrix = history.matrix().unwrap();
    assert_eq!(matrix.plans.len(), 6);
    for version in ["1.8", "2.0", "2.1"] {
        let objections = matrix.objections(version, packstaff_settings::carry::Reach { oldest: None });
        assert!(objections.is_empty(), "{objections:?}");
    }
    let plan = matrix.plan("1.8", "2.0").unwrap();
    assert_eq!(plan.carrier, Carrier::Firmware);
    let fate = |field: &str| plan.fates.iter().find(|fate| fate.field == field).unwrap();
    let words = |field: &str| fate(field).changes.iter().map(ToString::to_string).collect::<Vec<_>>();
    assert_eq!(fate("calibration.offset_cdegc").outcome, Outcome::Converted);
    assert!(words("calibration.offset_cdegc").contains(&"°F become °C".to_owned()));
    assert!(words("calibration.offset_cdegc").contains(&"steps of 0.1 °F become steps of 0.01 °C".to_owned()));
    assert_eq!(fate("hold_back_cdegc").outcome, Outcome::Defaulted);
    assert!(plan.lost.is_empty());
    let plan = matrix.plan("2.0", "2.1").unwrap();
    let steps = plan
        .fates
        .iter()
        .find(|fate| fate.field == "programmes.steps.soak_min")
        .unwrap();
    assert!(
        steps
            .changes
            .iter()
            .any(|change| change.to_string() == "8 of them become 16")
    );
    assert!(matches!(
        &matrix.plan("2.1", "2.0").unwrap().carrier,
        Carrier::Nobody { because: Some(_) }
    ));
}

/// A record with every number in its range, some at an end of it, and every text of ASCII letters, sealed.
fn random_record(layout: &Layout, numbers: &mut Numbers) -> Vec<u8> {
    let mut record = vec![0; layout.record.size as usize];
    for leaf in layout.leaves() {
        if !matches!(leaf.purpose, Purpose::Setting(_)) {
            continue;
        }
        let bytes = match &leaf.field.shape {
            Shape::Number(number) => {
                let (lowest, highest) = number.repr.limits().unwrap();
                let bound = |stored, otherwise| match stored {
                    Some(packstaff_settings::layout::Stored::Integer(value)) => value,
                    _ => otherwise,
                };
                let (low, high) = (bound(number.lowest, lowest), bound(number.highest, highest));
                let (low, high) = match &number.meaning {
                    packstaff_settings::layout::Meaning::Names(names) => (0, names.len() as i128 - 1),
                    _ => (low, high),
                };
                let value = match numbers.below(8) {
                    0 => low,
                    1 => high,
                    _ => low + i128::from(numbers.next()) % (high - low + 1),
                };
                value.to_le_bytes()[..leaf.size as usize].to_vec()
            }
            Shape::Text { length, .. } => {
                let used = numbers.below(u64::from(*length) + 1);
                let mut text: Vec<u8> = (0..used)
                    .map(|_| b'a' + u8::try_from(numbers.below(26)).unwrap())
                    .collect();
                text.resize(*length as usize, 0);
                text
            }
            _ => continue,
        };
        record[leaf.at as usize..][..bytes.len()].copy_from_slice(&bytes);
    }
    seal(layout, &mut record, 7);
    record
}

/// The firmware's `carry_over` as a host program: records in, records out.
const HARNESS: &str = r#"
#include <stdio.h>
#include <string.h>
#include "carry_over.h"
int main(int argc, char **argv)
{
    static unsigned char record[2048];
    static kc4_settings out;
    unsigned layout, length;
    if (argc != 3 || sscanf(argv[1], "%x", &layout) != 1 || sscanf(argv[2], "%u", &length) != 1 || length > sizeof record)
        return 2;
    while (fread(record, 1, length, stdin) == length) {
        memset(&out, 0, sizeof out);
        if (!carry_over((uint16_t)layout, record, length, &out) || fwrite(&out, 1, sizeof out, stdout) != sizeof out)
            return 1;
    }
    return 0;
}
"#;

fn firmware(version: &str, number: u32, folder: &std::path::Path) -> std::path::PathBuf {
    let source = folder.join("harness.c");
    std::fs::write(&source, HARNESS).unwrap();
    let program = folder.join(format!("carry-{version}"));
    let src = kc4().join("firmware/src");
    let mut gcc = Command::new("gcc");
    gcc.args(["-std=gnu11", "-O1", "-Wall", "-Wextra", "-Werror"])
        .arg(format!("-DKC4_VERSION={number}"))
        .arg("-I")
        .arg(&src)
        .arg(&source)
        .args(["carry_over.c", "crc32.c"].map(|file| src.join(file)))
        .arg("-o")
        .arg(&program);
    run("gcc", &mut gcc);
    program
}

/// Outside: the demo's firmware carries settings over by code of its own, written by hand. On the same records it must make the
/// same bytes as our table, but for what its store fills in (generation and check values).
#[test]
fn carry_over_gives_the_bytes_that_the_firmware_gives() {
    let folder = tempfile::tempdir().unwrap();
    let history = kc4_history();
    let mut numbers = Numbers(0x1234_5678_9abc_def1);
    for (from, to, number) in [("1.8", "2.0", 200), ("2.0", "2.1", 201), ("1.8", "2.1", 201)] {
        let (old, new) = (kc4_layout(from), kc4_layout(to));
        let program = firmware(to, number, folder.path());
        let records: Vec<Vec<u8>> = (0..200).map(|_| random_record(&old, &mut numbers)).collect();
        let mut child = Command::new(&program)
            .args([format!("{:x}", old.number), old.record.size.to_string()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut input = child.stdin.take().unwrap();
        let all = records.concat();
        let feeder = std::thread::spawn(move || input.write_all(&all));
        let output = child.wait_with_output().unwrap();
        feeder.join().unwrap().unwrap();
        assert!(output.status.success());
        let theirs: Vec<&[u8]> = output.stdout.chunks(new.record.size as usize).collect();
        assert_eq!(theirs.len(), records.len());
        let plan = history.plan(from, to).unwrap();
        for (record, theirs) in records.iter().zip(theirs) {
            let mut ours = carry_record(&plan, record).unwrap().record;
            let mut theirs = theirs.to_vec();
            seal(&new, &mut ours, 1);
            seal(&new, &mut theirs, 1);
            let differing: Vec<String> = new
                .leaves()
                .iter()
                .filter(|leaf| {
                    let range = leaf.at as usize..(leaf.at + leaf.size) as usize;
                    ours[range.clone()] != theirs[range]
                })
                .map(|leaf| leaf.path.clone())
                .collect();
            assert!(differing.is_empty(), "{from} to {to}: {differing:?}");
            assert_eq!(ours, theirs);
        }
    }
}

/// What 1.8 holds is the same again after going up and back.
#[test]
fn up_and_back_is_the_identity_on_what_both_hold() {
    let history = kc4_history();
    let mut numbers = Numbers(99);
    for (low, high) in [("1.8", "2.0"), ("2.0", "2.1"), ("1.8", "2.1")] {
        let (up, down) = (history.plan(low, high).unwrap(), history.plan(high, low).unwrap());
        let layout = kc4_layout(low);
        for _ in 0..60 {
            let record = random_record(&layout, &mut numbers);
            let there = carry_record(&up, &record).unwrap().record;
            let mut back = carry_record(&down, &there).unwrap().record;
            seal(&layout, &mut back, 7);
            // All that the earlier version has is in the later one too; but hours that are more minutes than 32 bits hold are held
            // to that on the way up.
            for leaf in layout.leaves() {
                let range = leaf.at as usize..(leaf.at + leaf.size) as usize;
                let saturated = leaf.path == "hrs10"
                    && u32::from_le_bytes(record[range.clone()].try_into().unwrap()) > u32::MAX / 6;
                let check = matches!(leaf.purpose, Purpose::Crc { .. });
                if !saturated && !check {
                    assert_eq!(back[range.clone()], record[range], "{low} {high} {}", leaf.path);
                }
            }
        }
    }
}

#[test]
fn a_dump_is_read_and_written_again() {
    let layout = kc4_layout("2.1");
    let record = random_record(&layout, &mut Numbers(5));
    let dump = image(&layout, &record, 41, Some(32768)).unwrap();
    assert_eq!(dump.len(), 32768);
    let reading = read(&layout, &dump).unwrap();
    assert_eq!(reading.chosen, Some(1), "the second copy has the higher generation");
    assert_eq!(reading.copies[1].generation, Some(42));
    let text = reading.settings.to_toml();
    let again = from_text(&layout, "values", &text, None).unwrap_or_else(|error| panic!("{error}\n{text}"));
    let mut again = again;
    seal(&layout, &mut again, 42);
    // Steps that are not in use are not written out.
    let shown = |bytes: &[u8]| packstaff_settings::dump::read_record(&layout, bytes).unwrap().settings;
    assert_eq!(shown(&again), shown(&reading.record));
}

#[test]
fn of_a_damaged_dump_is_saved_what_can_be() {
    let layout = kc4_layout("2.1");
    let record = random_record(&layout, &mut Numbers(6));
    let mut dump = image(&layout, &record, 41, None).unwrap();
    // Copy A: a bit turned over in a programme. Copy B: erased from the middle of its programmes on.
    dump[68 + 3] ^= 0x20;
    let middle = 0x4000 + 700;
    dump[middle..].fill(0xff);
    let reading = read(&layout, &dump).unwrap();
    assert_eq!(reading.chosen, None);
    let values = reading.settings.values();
    let value = |path: &str| *values.iter().find(|value| value.path == path).unwrap();
    let doubt = |path: &str| value(path).doubt.as_ref().map(ToString::to_string);
    assert_eq!(
        doubt("calibration.channel[1].gain_ppm"),
        None,
        "a CRC of its own proves it"
    );
    assert_eq!(
        doubt("limit_cdegc").as_deref(),
        Some("not proven, but two copies say the same")
    );
    assert_eq!(
        doubt("programmes[0].name").as_deref(),
        Some("not proven, and the copies differ")
    );
    assert_eq!(copies(&layout, &dump).iter().filter(|copy| copy.is_whole()).count(), 0);
    let text = reading.settings.to_toml();
    assert!(text.contains("DOUBTFUL: not proven, and the copies differ"), "{text}");
    // Another version's dump is told from a damaged one.
    let error = read(&kc4_layout("1.8"), &dump).unwrap_err().to_string();
    assert!(error.contains("header.layout is 0x201 and should be 0x108"), "{error}");
}

#[test]
fn a_layout_that_would_lose_the_calibration_is_refused() {
    let text = std::fs::read_to_string(kc4().join("settings/2.1.toml")).unwrap();
    let planted = text.replace(r#"pair = [{ old = "calibration", new = "calibration.channel" }]"#, "");
    assert_ne!(planted, text);
    let planted = Layout::from_text("2.1.toml", &planted).unwrap_or_else(|error| panic!("{error}"));
    let history = packstaff_settings::carry::History::new(vec![kc4_layout("1.8"), kc4_layout("2.0"), planted]).unwrap();
    let objections = history
        .matrix()
        .unwrap()
        .objections("2.1", packstaff_settings::carry::Reach { oldest: Some("1.8") });
    let words: Vec<String> = objections.iter().map(ToString::to_string).collect();
    assert!(
        words.contains(
            &"from 2.0 to 2.1, the calibration calibration.gain_ppm would be lost, and no reason is given".to_owned()
        ),
        "{words:?}"
    );
    assert!(
        words
            .iter()
            .any(|line| line.starts_with("from 1.8 to 2.1, the calibration tc.ofs")),
        "{words:?}"
    );
    assert!(objections[0].advice().contains("[[from.loss]] field = \""));
}

/// Outside: the definition of the scales, for every temperature that 1.8 can hold and 2.0 allows.
#[test]
fn every_temperature_of_1_8() {
    let history = kc4_history();
    let plan = history.plan("1.8", "2.0").unwrap();
    let (old, new) = (kc4_layout("1.8"), kc4_layout("2.0"));
    let mut record = random_record(&old, &mut Numbers(3));
    let places = |layout: &Layout, name: &str| -> Vec<usize> {
        let leaves = layout.leaves();
        leaves
            .iter()
            .filter(|leaf| leaf.name == name)
            .map(|leaf| leaf.at as usize)
            .collect()
    };
    let (from, to) = (
        places(&old, "prog.seg.temp"),
        places(&new, "programmes.steps.target_cdegc"),
    );
    assert_eq!((from.len(), to.len()), (48, 48));
    let all: Vec<i16> = (i16::MIN..=24080).collect();
    // As many at once as a record has places.
    for some in all.chunks(48) {
        for (tenths, at) in some.iter().zip(&from) {
            record[*at..at + 2].copy_from_slice(&tenths.to_le_bytes());
        }
        let made = carry_record(&plan, &record).unwrap().record;
        for (tenths, at) in some.iter().zip(&to) {
            let hundredths = i32::from_le_bytes(made[*at..at + 4].try_into().unwrap());
            // t/°C = (t/°F - 32) / 1.8 (NIST SP 811, B.8): hundredths = (tenths - 320) * 50 / 9, nearest.
            let ninths = (i32::from(*tenths) - 320) * 50;
            assert!((hundredths * 9 - ninths).abs() * 2 <= 9, "{tenths}");
        }
    }
}
