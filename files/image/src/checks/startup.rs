//! How the image starts: the first words, and where they lead.
//!
//! Source for Cortex-M: ARMv7-M Architecture Reference Manual (DDI 0403), B1.5.2 and B1.5.3: word 0
//! of the vector table is the initial main stack pointer, word n the address of the handler of
//! exception n, whose bit 0 must be 1 (Thumb state), else the first instruction faults. Stack
//! alignment: Procedure Call Standard for the Arm Architecture (AAPCS32), 8 bytes at public
//! interfaces. Source for RISC-V: The RISC-V Instruction Set Manual, volume I, 1.5: encodings whose
//! first 16 bits are all zero, and of all ones, are illegal. All from memory.

use super::{Architecture, Check, Core, Question, Target, Verdict, range};
use crate::build::{Build, Machine};

/// The system vectors: the initial stack pointer and exceptions 1 to 15.
const SYSTEM_VECTORS: u32 = 16;
/// The most interrupts that the M-profile architecture allows: 496 less the system exceptions.
const MOST_INTERRUPTS: u16 = 480;
/// How many bad vectors are named one by one.
const NAMED: usize = 6;

pub(super) fn machine(build: &Build, target: &Target) -> Check {
    let expected = match target.core {
        Core::CortexM { .. } => Machine::Arm,
        Core::RiscV => Machine::RiscV,
    };
    let verdict = match build.machine() {
        Some(found) if found != expected => Verdict::Fail,
        _ => Verdict::Pass,
    };
    let advice = if verdict == Verdict::Fail {
        " Give the build for this board."
    } else {
        ""
    };
    Check {
        question: Question::Machine,
        verdict,
        found: build.machine().map_or_else(
            || format!("not stated in {}", build.format()),
            |found| found.to_string(),
        ),
        expected: expected.to_string(),
        explanation: format!(
            "Code for another processor cannot run, and only the linker's own file names its \
             processor.{advice}"
        ),
    }
}

pub(super) fn stack_top(build: &Build, target: &Target) -> Check {
    let word = build.word(target.slot.start);
    let inside = |stack: u32| target.ram.iter().any(|ram| ram.start < stack && stack <= ram.end);
    let (found, fault) = match word {
        None => (
            "no word at the slot's start".to_owned(),
            Some("there is no vector table"),
        ),
        Some(stack) => {
            let fault = if !inside(stack) {
                Some("it points to no RAM of this board")
            } else if stack % 8 != 0 {
                Some("it is not a multiple of 8")
            } else {
                None
            };
            (format!("0x{stack:08X}"), fault)
        }
    };
    let ram: Vec<String> = target.ram.iter().map(range).collect();
    Check {
        question: Question::StackTop,
        verdict: verdict(fault),
        found,
        expected: format!(
            "a multiple of 8 above the start and up to the end of {}",
            ram.join(" or ")
        ),
        explanation: explain(
            "The first word of the image is the initial stack pointer. The first push stores \
             below it, so it may equal the end of RAM.",
            fault,
            "check the RAM region in the linker script, and that the vector table is the first \
             thing in the image",
        ),
    }
}

pub(super) fn reset_vector(build: &Build, target: &Target) -> Check {
    let (found, fault) = match build.word(target.slot.start.saturating_add(4)) {
        None => ("no second word".to_owned(), Some("there is no vector table")),
        Some(vector) => (format!("0x{vector:08X}"), code_fault(build, target, vector)),
    };
    Check {
        question: Question::ResetVector,
        verdict: verdict(fault),
        found,
        expected: format!(
            "an odd address of a byte in the image, behind the system vectors, inside {}",
            range(&target.usable_range())
        ),
        explanation: explain(
            "The second word of the image is where execution begins; bit 0 says that Thumb \
             instructions follow.",
            fault,
            "check the FLASH origin in the linker script, and that the vector table is the first \
             thing in the image",
        ),
    }
}

pub(super) fn handlers(build: &Build, target: &Target, architecture: Architecture) -> Check {
    let named = architecture.system_exceptions();
    let vectors = named.iter().map(|&(number, name)| (number, name.to_owned()));
    let (bad, used) = bad_vectors(build, target, vectors);
    let fault = (!bad.is_empty()).then_some("these handlers cannot run");
    Check {
        question: Question::Handlers,
        verdict: verdict(fault),
        found: if bad.is_empty() {
            format!("{used} of {} set, all in the image", named.len())
        } else {
            listed(&bad)
        },
        expected: "for each system exception zero, or an odd address of a byte in the image".to_owned(),
        explanation: explain(
            "A fault or a timer tick that leads nowhere locks the processor up, often long after \
             the start.",
            fault,
            "check that the start-up file belongs to this core and that the whole image is linked \
             for this slot",
        ),
    }
}

pub(super) fn interrupts(build: &Build, target: &Target, interrupts: u16) -> Check {
    let numbers = 0..u32::from(interrupts.min(MOST_INTERRUPTS));
    let total = numbers.len();
    let vectors = numbers.map(|number| (SYSTEM_VECTORS + number, format!("interrupt {number}")));
    let (bad, used) = bad_vectors(build, target, vectors);
    // A handler may be copied to RAM or lie in a part's ROM, and a table may be cut short on
    // purpose.
    let verdict = if bad.is_empty() { Verdict::Pass } else { Verdict::Warn };
    let advice = if bad.is_empty() {
        ""
    } else {
        " Handlers in RAM or ROM are legal; otherwise check that the start-up file belongs to \
         this part. A table that ends early must not have later interrupts enabled."
    };
    Check {
        question: Question::Interrupts,
        verdict,
        found: match (total, bad.is_empty()) {
            (0, _) => "not checked: the product does not say how many interrupts the part has".to_owned(),
            (_, true) => format!("{used} of {total} set, all in the image"),
            (_, false) => listed(&bad),
        },
        expected: "for each interrupt zero, or an odd address of a byte in the image".to_owned(),
        explanation: format!(
            "An interrupt whose vector is not the address of a handler stops the unit when it \
             first occurs.{advice}"
        ),
    }
}

pub(super) fn first_instruction(build: &Build, target: &Target) -> Check {
    let parcel = build
        .bytes_from(target.slot.start)
        .first_chunk()
        .map(|bytes| u16::from_le_bytes(*bytes));
    let (found, fault) = match parcel {
        None => (
            "no instruction at the slot's start".to_owned(),
            Some("there is nothing to run"),
        ),
        Some(parcel @ (0 | 0xFFFF)) => (
            format!("0x{parcel:04X}"),
            Some("the architecture keeps this encoding illegal"),
        ),
        Some(parcel) => (format!("0x{parcel:04X}"), None),
    };
    Check {
        question: Question::FirstInstruction,
        verdict: verdict(fault),
        found,
        expected: "first 16 bits neither 0x0000 nor 0xFFFF".to_owned(),
        explanation: explain(
            "The installer jumps to the slot's start, so an instruction must be there.",
            fault,
            "place the start code first in the linker script, and data or tables behind it",
        ),
    }
}

pub(super) fn entry(build: &Build, target: &Target) -> Check {
    let (really, name) = match target.core {
        Core::CortexM { .. } => (build.word(target.slot.start.saturating_add(4)), "the reset vector"),
        Core::RiscV => (Some(target.slot.start), "the slot's start"),
    };
    let really_text = really.map_or_else(|| "missing".to_owned(), |address| format!("0x{address:08X}"));
    // Converters drop or keep the Thumb bit, so it does not count.
    let thumb = if matches!(target.core, Core::CortexM { .. }) {
        1
    } else {
        0
    };
    let differs = build
        .entry()
        .is_some_and(|entry| really.is_none_or(|really| really | thumb != entry | thumb));
    let advice = if differs {
        " Execution will begin elsewhere than the file says: check the ENTRY of the linker script \
         and the order of its sections."
    } else {
        ""
    };
    Check {
        question: Question::Entry,
        verdict: if differs { Verdict::Warn } else { Verdict::Pass },
        found: build
            .entry()
            .map_or_else(|| "not stated".to_owned(), |entry| format!("0x{entry:08X}")),
        expected: format!("{name}, {really_text}, or not stated"),
        explanation: format!(
            "A debugger starts at the file's start address, a unit at {name}: if they differ, \
             what was tested is not what owners run.{advice}"
        ),
    }
}

/// Why `vector` is not the address of Thumb code in the image.
fn code_fault(build: &Build, target: &Target, vector: u32) -> Option<&'static str> {
    let usable = target.usable_range();
    let address = vector & !1;
    if vector & 1 == 0 {
        Some("bit 0 is not set, so the processor would fault at once")
    } else if !usable.contains(&address) || build.bytes_from(address).is_empty() {
        Some("it leads to no byte of the image")
    } else if address - usable.start < 4 * SYSTEM_VECTORS {
        Some("it leads into the system vectors themselves")
    } else {
        None
    }
}

/// Of the given exceptions those whose vector is missing or wrong, and how many vectors are not
/// zero.
fn bad_vectors(
    build: &Build,
    target: &Target,
    exceptions: impl Iterator<Item = (u32, String)>,
) -> (Vec<String>, usize) {
    let mut bad = Vec::new();
    let mut used = 0;
    for (number, name) in exceptions {
        match build.word(target.slot.start.saturating_add(4 * number)) {
            None => bad.push(format!("{name} missing")),
            Some(0) => {}
            Some(vector) => {
                used += 1;
                if code_fault(build, target, vector).is_some() {
                    bad.push(format!("{name} 0x{vector:08X}"));
                }
            }
        }
    }
    (bad, used)
}

fn listed(bad: &[String]) -> String {
    let named = bad.get(..NAMED).unwrap_or(bad).join(", ");
    match bad.len().saturating_sub(NAMED) {
        0 => named,
        more => format!("{named}, and {more} more"),
    }
}

fn verdict(fault: Option<&str>) -> Verdict {
    if fault.is_some() { Verdict::Fail } else { Verdict::Pass }
}

fn explain(why: &str, fault: Option<&str>, advice: &str) -> String {
    match fault {
        None => why.to_owned(),
        Some(fault) => format!("{why} Here {fault}: {advice}."),
    }
}
