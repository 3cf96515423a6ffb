//! Modules that are no loaders, or bad ones: each is told apart, in words that help.

use packstaff_installer::Region;
use packstaff_loader::description::{UnitKind, read};
use packstaff_loader::{Limits, LoaderFault, RehearsalError, Sandbox, rehearse_kind};
use packstaff_unit::flash::FlashFault;
use std::path::Path;

const PART: Region = Region {
    base: 0x0800_0000,
    size: 1024,
};

/// A module with these declarations, a memory, and this body of `loader_boot`.
fn module(declarations: &str, body: &str) -> Vec<u8> {
    let text = format!(
        r#"(module {declarations}
            (memory (export "memory") 1)
            (func $boot (export "loader_boot") {body}))"#
    );
    wat::parse_str(text).unwrap()
}

fn sandbox(module: &[u8]) -> LoaderFault {
    let limits = Limits::default();
    match Sandbox::new(module, limits, PART) {
        Err(fault) => fault,
        Ok(_) => panic!("the module is taken"),
    }
}

fn example() -> UnitKind {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/own-loader");
    let mut kind = read(&folder).unwrap();
    kind.beginnings.retain(|beginning| beginning.after_stick.is_none());
    kind.limits.instructions = 1_000_000;
    kind.limits.calls = 200;
    kind
}

/// What a rehearsal of this body says.
fn rehearsed(declarations: &str, body: &str) -> LoaderFault {
    let kind = UnitKind {
        module: module(declarations, body),
        ..example()
    };
    let error = rehearse_kind(&kind).unwrap_err();
    assert!(!error.help().is_empty());
    match error {
        RehearsalError::Loader { fault, unit, .. } => {
            assert_eq!(unit, "new");
            *fault
        }
        other => panic!("{other}"),
    }
}

const READ: &str = r#"(import "packstaff" "flash_read" (func $read (param i32 i32 i32) (result i32)))"#;
const ERASE: &str = r#"(import "packstaff" "flash_erase" (func $erase (param i32) (result i32)))"#;
const PROGRAM: &str = r#"(import "packstaff" "flash_program" (func $program (param i32 i32 i32) (result i32)))"#;
const WAIT: &str = r#"(import "packstaff" "wait" (func $wait (param i32)))"#;
const BLOCKS: &str = r#"(import "packstaff" "stick_blocks" (func $blocks (result i32)))"#;

#[test]
fn no_module() {
    for bytes in [
        &b""[..],
        b"\x7fELF\x01\x01\x01\0",
        b"\0asm",
        b"\0asm\x01\0\0\0\xff\xff\xff",
    ] {
        let fault = sandbox(bytes);
        assert!(matches!(fault, LoaderFault::NotWebAssembly { .. }), "{fault}");
        assert!(fault.help().contains("clang"), "{}", fault.help());
    }
    assert!(sandbox(b"\x7fELF").to_string().contains("7f 45 4c 46"));
}

#[test]
fn features_that_are_left_out() {
    let vector = module("", "(drop (i8x16.splat (i32.const 0)))");
    assert!(matches!(sandbox(&vector), LoaderFault::NotWebAssembly { .. }));
}

#[test]
fn calls_that_no_unit_has() {
    let fault = sandbox(&module(
        r#"(import "env" "memcpy" (func (param i32 i32 i32) (result i32)))"#,
        "",
    ));
    let LoaderFault::UnknownCall { module: from, name } = &fault else {
        panic!("{fault}");
    };
    assert_eq!((from.as_str(), name.as_str()), ("env", "memcpy"));
    assert!(fault.help().contains("nostdlib"), "{}", fault.help());

    let fault = sandbox(&module(r#"(import "packstaff" "flash_reed" (func (result i32)))"#, ""));
    assert!(fault.help().contains("spelt"), "{}", fault.help());

    let fault = sandbox(&module(r#"(import "packstaff" "flash_erase" (func (param i64)))"#, ""));
    assert_eq!(
        fault.to_string(),
        "the loader declares flash_erase as a function (i64) -> (); the header has it as a function (i32) -> (i32)"
    );
    let fault = sandbox(&module(r#"(import "packstaff" "wait" (global i32))"#, ""));
    assert!(fault.to_string().contains("a variable"), "{fault}");
}

#[test]
fn no_entry_and_no_memory() {
    let bare = wat::parse_str(r#"(module (memory (export "memory") 1))"#).unwrap();
    assert_eq!(sandbox(&bare), LoaderFault::NoBoot { found: None });
    let other = wat::parse_str(r#"(module (memory (export "memory") 1) (func (export "loader_boot") (param i32)))"#);
    let fault = sandbox(&other.unwrap());
    assert!(fault.to_string().contains("it is a function (i32) -> ()"), "{fault}");
    let without = wat::parse_str(r#"(module (func (export "loader_boot")))"#).unwrap();
    assert_eq!(sandbox(&without), LoaderFault::NoMemory);
    let large = wat::parse_str(r#"(module (memory (export "memory") 17) (func (export "loader_boot")))"#).unwrap();
    let asked = 17 * 65_536;
    assert_eq!(
        sandbox(&large),
        LoaderFault::TooMuchMemory {
            asked,
            allowed: 1 << 20
        }
    );
}

#[test]
fn initialised_data_outside_memory() {
    let text = r#"(module (memory (export "memory") 1) (data (i32.const 65535) "ab") (func (export "loader_boot")))"#;
    let kind = UnitKind {
        module: wat::parse_str(text).unwrap(),
        ..example()
    };
    let error = rehearse_kind(&kind).unwrap_err();
    let told = match &error {
        RehearsalError::Loader { fault, .. } => matches!(**fault, LoaderFault::NotLoaded { .. }),
        _ => false,
    };
    assert!(told, "{error}");
}

#[test]
fn traps_say_what_and_where() {
    let helper = "(func $crc_of (drop (i32.load (i32.const 70000))))";
    let fault = rehearsed(helper, "(call $crc_of)");
    let words = fault.to_string();
    assert!(words.starts_with("the loader breaks off in crc_of, byte 0x"), "{words}");
    assert!(words.contains("called by boot: memory outside its own"), "{words}");

    let fault = rehearsed("", "(drop (i32.div_u (i32.const 1) (i32.const 0)))");
    assert!(fault.to_string().contains("divided by zero"), "{fault}");
    let fault = rehearsed("", "(unreachable)");
    assert!(fault.to_string().contains("unreachable"), "{fault}");
    let fault = rehearsed("(func $deep (call $deep))", "(call $deep)");
    assert!(fault.to_string().contains("too deeply"), "{fault}");
}

#[test]
fn loops_are_ended() {
    let fault = rehearsed("", "(loop $again (br $again))");
    let LoaderFault::Endless { instructions, way } = &fault else {
        panic!("{fault}");
    };
    assert_eq!(*instructions, 1_000_000);
    assert_eq!(way.0[0].function.as_deref(), Some("boot"));
    let fault = rehearsed(BLOCKS, "(loop $again (drop (call $blocks)) (br $again))");
    assert_eq!(fault, LoaderFault::TooManyCalls { calls: 200 });
}

#[test]
fn memory_may_grow_up_to_the_limit_only() {
    // Growing beyond the limit gives -1, which C's callers have to expect; this loader breaks off if growing worked.
    let body =
        "(if (i32.ne (memory.grow (i32.const 64)) (i32.const -1)) (then (unreachable))) (call $wait (i32.const 1))";
    let kind = UnitKind {
        module: module(WAIT, body),
        ..example()
    };
    // It waits for ever, so that it does not arrive; but it is run to the end.
    let report = rehearse_kind(&kind).unwrap();
    assert!(!report.holds());
}

#[test]
fn buffers_and_addresses_out_of_range() {
    let fault = rehearsed(
        READ,
        "(drop (call $read (i32.const 0x08000000) (i32.const 65530) (i32.const 8)))",
    );
    assert_eq!(
        fault,
        LoaderFault::Buffer {
            call: "flash_read",
            pointer: 65_530,
            len: 8,
            memory: 65_536
        }
    );
    let fault = rehearsed(
        PROGRAM,
        "(drop (call $program (i32.const 0x08000200) (i32.const -1) (i32.const -1)))",
    );
    assert!(
        matches!(fault, LoaderFault::Buffer { pointer: u32::MAX, .. }),
        "{fault}"
    );
    let fault = rehearsed(
        READ,
        "(drop (call $read (i32.const 0x080003fc) (i32.const 0) (i32.const 8)))",
    );
    assert_eq!(
        fault.to_string(),
        "flash_read asks for 8 bytes at 0x080003fc, outside the part's flash from 0x08000000 to 0x080003ff"
    );
}

#[test]
fn changes_that_the_part_does_not_carry_out() {
    let fault = rehearsed(ERASE, "(drop (call $erase (i32.const 0x08000210)))");
    assert_eq!(
        fault,
        LoaderFault::Refused(FlashFault::NotASector { address: 0x0800_0210 })
    );
    let fault = rehearsed(
        PROGRAM,
        "(drop (call $program (i32.const 0x08000200) (i32.const 0) (i32.const 12)))",
    );
    assert!(
        matches!(fault, LoaderFault::Refused(FlashFault::NotWholeGranules { .. })),
        "{fault}"
    );
}

#[test]
fn returning_and_unknown_reasons() {
    assert_eq!(rehearsed("", ""), LoaderFault::Returned);
    assert_eq!(
        rehearsed(WAIT, "(call $wait (i32.const 77))"),
        LoaderFault::NoReason { found: 77 }
    );
}

/// A loader that trips only over what a cut has left is found in the exploration, with a story.
#[test]
fn a_trap_after_a_cut_has_a_story() {
    // It reads the slot's first byte, and takes it for granted that it is erased or zero.
    let declarations = format!(
        "{READ}{PROGRAM}{ERASE}{WAIT}\
         (import \"packstaff\" \"start\" (func $start (param i32)))"
    );
    let body = "
        (drop (call $read (i32.const 0x08000200) (i32.const 0) (i32.const 8)))
        (if (i32.eq (i32.load8_u (i32.const 0)) (i32.const 0xff)) (then
            (i64.store (i32.const 8) (i64.const 0))
            (drop (call $program (i32.const 0x08000200) (i32.const 8) (i32.const 8)))
            (call $wait (i32.const 1))))
        (if (i32.ne (i32.load8_u (i32.const 0)) (i32.const 0)) (then (unreachable)))
        (call $wait (i32.const 2))";
    let mut kind = example();
    kind.module = module(&declarations, body);
    kind.limits.stop_at_first = false;
    let report = rehearse_kind(&kind).unwrap();
    let sane = report
        .violations()
        .into_iter()
        .find(|violation| violation.claim == packstaff_rehearsal::claims::Claim::Sane)
        .unwrap_or_else(|| panic!("{report}"));
    assert!(sane.seen.contains("unreachable"), "{}", sane.seen);
    assert_eq!(sane.story.len(), 4, "{report}");
    assert!(sane.story.to_string().contains("the loader fails"), "{report}");
}

#[test]
fn an_exploration_that_grows_too_large() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/own-loader");
    let mut kind = read(&folder).unwrap();
    kind.limits.nodes = 50;
    let error = rehearse_kind(&kind).unwrap_err();
    assert!(matches!(error, RehearsalError::Unfinished(_)), "{error}");
    assert!(error.help().contains("smaller"), "{}", error.help());
}

#[test]
fn a_wrong_declaration_does_not_go_unnoticed() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/own-loader");
    let mut kind = read(&folder).unwrap();
    // This loader reads the slot only after it has asked for a stick: don't-care cells are read then.
    let declarations = format!("{READ}{BLOCKS}{WAIT}");
    let body = "(drop (call $blocks))
        (drop (call $read (i32.const 0x08000200) (i32.const 0) (i32.const 8)))
        (call $wait (i32.const 1))";
    kind.module = module(&declarations, body);
    kind.beginnings.retain(|beginning| beginning.after_stick.is_none());
    kind.erased_before_read = vec![kind.slot];
    let error = rehearse_kind(&kind).unwrap_err();
    assert!(error.help().contains("erased_before_read"), "{error}");
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(400))]

    /// A damaged loader is refused, or rehearsed to an end: nothing panics, hangs, or takes more than it may.
    #[test]
    fn damaged_modules_come_to_an_end(
        damage in proptest::collection::vec((proptest::num::usize::ANY, proptest::num::u8::ANY), 1..4)
    ) {
        let mut kind = example();
        for (place, byte) in damage {
            let place = place % kind.module.len();
            kind.module[place] = byte;
        }
        kind.limits.nodes = 500;
        match rehearse_kind(&kind) {
            Ok(report) => proptest::prop_assert!(!report.cases.is_empty()),
            Err(error) => proptest::prop_assert!(!error.help().is_empty()),
        }
    }
}
