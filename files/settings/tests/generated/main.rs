//! The generated C beside the Rust crate, on random tables, records and memories; and that it compiles for units.
//!
//! Compilers: Debian `gcc` and `gcc-arm-none-eabi`.

mod cases;
mod harness;

use cases::{Boot, Unit, ops, record, table};
use harness::{Answer, Harness};
use packstaff_keeper::carry::{Aside, CarryFault, Happened, carry};
use packstaff_keeper::table::Table;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

fn fault_number(fault: CarryFault) -> u32 {
    match fault {
        CarryFault::Malformed { .. } => 1,
        CarryFault::Length { .. } => 2,
        CarryFault::Beyond { .. } => 3,
        CarryFault::Refused { .. } => 4,
        CarryFault::Endless => 5,
    }
}

/// What Rust makes of a carry-over: the fault, whether something was given back, and the record where there is one.
fn in_rust(bytes: &[u8], from: &[u8], aside: Option<(&[u8], &[u8])>, len: usize) -> (u32, bool, Vec<u8>) {
    let Some(table) = Table::new(bytes) else {
        return (1, false, Vec::new());
    };
    let aside = aside.map(|(newer, left)| Aside { newer, left });
    let mut made = vec![0; len];
    let mut given_back = false;
    let notice = |notice: packstaff_keeper::carry::Notice| given_back |= notice.what == Happened::GivenBack;
    match carry(&table, from, aside, &mut made, notice) {
        Ok(()) => (0, given_back, made),
        Err(fault) => (fault_number(fault), false, Vec::new()),
    }
}

fn compare(harness: &Harness, cases: &[cases::Case]) {
    let answers = harness.carry(cases);
    assert_eq!(answers.len(), cases.len());
    for (case, answer) in cases.iter().zip(answers) {
        let aside = case.aside.as_ref().map(|(newer, left)| (&newer[..], &left[..]));
        let rust = in_rust(&case.table, &case.from, aside, case.to_len);
        let Answer {
            fault,
            given_back,
            record,
        } = answer;
        let c = match fault {
            0 => (0, given_back, record),
            fault => (fault, false, Vec::new()),
        };
        assert_eq!(c, rust, "{case:02x?}");
    }
}

/// Well-formed tables of every operation, on random records.
#[test]
fn c_and_rust_carry_over_alike() {
    let harness = Harness::build();
    let mut runner = TestRunner::deterministic();
    let mut done = 0;
    let mut carried = 0;
    for _ in 0..8 {
        let all = proptest::collection::vec((ops(), record(), record(), record(), any::<bool>()), 250);
        let drawn = all.new_tree(&mut runner).unwrap().current();
        let cases: Vec<_> = drawn
            .into_iter()
            .map(|(ops, from, newer, left, aside)| cases::Case {
                table: table(&ops),
                from,
                aside: aside.then_some((newer, left)),
                to_len: cases::LEN,
            })
            .collect();
        compare(&harness, &cases);
        done += cases.len();
        carried += cases
            .iter()
            .filter(|case| in_rust(&case.table, &case.from, None, case.to_len).0 == 0)
            .count();
    }
    println!("{done} tables, of which {carried} make a record");
    assert!(
        carried * 3 > done && carried < done,
        "both ends are tried: {carried} of {done}"
    );
}

/// Damaged tables: both notice, in the same way.
#[test]
fn c_and_rust_refuse_alike() {
    let harness = Harness::build();
    let mut runner = TestRunner::deterministic();
    let all = proptest::collection::vec(
        (
            ops(),
            record(),
            any::<prop::sample::Index>(),
            any::<u8>(),
            any::<bool>(),
        ),
        2000,
    );
    let drawn = all.new_tree(&mut runner).unwrap().current();
    let damaged = drawn.into_iter().map(|(ops, from, at, byte, cut)| {
        let mut table = table(&ops);
        let at = at.index(table.len());
        table[at] = byte;
        if cut {
            table.truncate(at);
        }
        cases::Case {
            table,
            from,
            aside: None,
            to_len: cases::LEN,
        }
    });
    compare(&harness, &damaged.collect::<Vec<_>>());
}

/// Whole lives of units, with updates there and back: the same results, and the same bytes in the memory after every power-up.
#[test]
fn c_and_rust_keep_alike() {
    let harness = Harness::build();
    let mut runner = TestRunner::deterministic();
    let lives = (
        any::<u8>(),
        any::<bool>(),
        proptest::collection::vec((any::<bool>(), proptest::option::of(any::<[u8; 4]>())), 1..12),
    );
    let mut given_back = 0;
    for _ in 0..60 {
        let (kind, aside, boots) = lives.new_tree(&mut runner).unwrap().current();
        let mut unit = Unit::new(kind % 3, aside);
        let boots: Vec<Boot> = boots.into_iter().map(|(newer, save)| Boot::new(newer, save)).collect();
        let c = harness.live(&unit, &boots);
        assert_eq!(c.len(), boots.len());
        for (boot, c) in boots.iter().zip(c) {
            let rust = unit.power_up(boot);
            given_back += usize::from(rust.given_back);
            assert_eq!(c, rust, "{kind} {aside} {boot:02x?}");
        }
    }
    assert!(given_back > 0, "going there and back is among them");
}

/// The KC-4's generated code for its own processor and for a Cortex-M0, with every warning an error, and the tables run by the C
/// on the KC-4's records.
#[test]
fn the_kilns_code_compiles_for_units() {
    let folder = tempfile::tempdir().unwrap();
    let files = harness::kiln_files();
    for file in &files {
        std::fs::write(folder.path().join(&file.name), &file.text).unwrap();
    }
    for processor in ["-mcpu=cortex-m4", "-mcpu=cortex-m0"] {
        for source in ["kc4_settings.c", "keeper_carry.c", "keeper_store.c"] {
            let arguments = ["-Os", "-mthumb", "-ffreestanding", processor, "-c", source];
            let arguments = [&harness::STRICT[..], &arguments].concat();
            harness::compile("arm-none-eabi-gcc", "gcc-arm-none-eabi", &arguments, folder.path());
        }
    }
    let rust = files.iter().find(|file| file.name == "kc4_settings.rs").unwrap();
    std::fs::write(folder.path().join("lib.rs"), &rust.text).unwrap();
    let arguments = ["--crate-type=lib", "--edition=2024", "-Dwarnings", "lib.rs"];
    harness::compile("rustc", "rustc", &arguments, folder.path());
}

/// A million lives would not find a table that is never tried: the KC-4's own are.
#[test]
fn the_kilns_tables_run_alike() {
    let harness = Harness::build();
    let history = harness::kiln();
    let mut cases = Vec::new();
    for (from, to) in [
        ("1.8", "2.0"),
        ("1.8", "2.1"),
        ("2.0", "2.1"),
        ("2.1", "2.0"),
        ("2.1", "1.8"),
        ("2.0", "1.8"),
    ] {
        let plan = history.plan(from, to).unwrap();
        let (old, new) = (history.layout(from).unwrap(), history.layout(to).unwrap());
        for seed in 0..40_u32 {
            // Bytes from a small generator (xorshift32, Marsaglia 2003).
            let mut state = seed * 2 + 1;
            let mut draw = || {
                state ^= state << 13;
                state ^= state >> 17;
                state ^= state << 5;
                // Often small, as settings are.
                if state & 1 == 0 {
                    (state >> 24) as u8
                } else {
                    (state >> 9) as u8 & 3
                }
            };
            cases.push(cases::Case {
                table: plan.table.clone(),
                from: (0..old.record.size).map(|_| draw()).collect(),
                aside: None,
                to_len: new.record.size as usize,
            });
        }
    }
    compare(&harness, &cases);
}
