//! The checks before a release: does this build belong in that place, and can it start there?
//!
//! [`examine`] asks every question that applies, in a fixed order, and never stops at the first bad
//! answer. Numbers in [`Check::found`] and [`Check::expected`] are decimal for sizes and
//! hexadecimal for addresses.

mod content;
mod core;
mod placement;
mod startup;
mod target;

use std::fmt;

pub use core::{Architecture, Core, UnknownCore};
pub use target::{Limit, Target};

use crate::build::Build;

/// The answer of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    /// As it should be.
    Pass,
    /// Can be right, and is more often a mistake: somebody should look.
    Warn,
    /// A unit with this build would not work, or would lose something.
    Fail,
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Verdict::Pass => "pass",
            Verdict::Warn => "warn",
            Verdict::Fail => "fail",
        })
    }
}

/// What is asked about a build, in the order in which [`examine`] asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Question {
    /// The bytes from the slot's start to the build's end fit its usable part.
    Fits,
    /// Every byte lies in the usable part of the slot.
    Outside,
    /// The first byte is the slot's first.
    Start,
    /// No byte is given twice.
    Overlaps,
    /// How much the file leaves out between its bytes.
    Gaps,
    /// The machine that the file names is the target's.
    Machine,
    /// The first word is an address that a stack can begin at. Cortex-M.
    StackTop,
    /// The second word is the address of code in the image. Cortex-M.
    ResetVector,
    /// The vectors of system exceptions. Cortex-M.
    Handlers,
    /// The vectors of interrupts. Cortex-M.
    Interrupts,
    /// The first 16 bits are no illegal instruction. RISC-V.
    FirstInstruction,
    /// The start address that the file states, if it does, is where units start.
    Entry,
    /// The bytes are not all the same.
    Blank,
    /// No earlier release has this image.
    Repeat,
}

impl Question {
    /// A short name that stays the same from release to release.
    #[must_use]
    pub const fn id(self) -> &'static str {
        match self {
            Self::Fits => "fits",
            Self::Outside => "outside",
            Self::Start => "start",
            Self::Overlaps => "overlaps",
            Self::Gaps => "gaps",
            Self::Machine => "machine",
            Self::StackTop => "stack-top",
            Self::ResetVector => "reset-vector",
            Self::Handlers => "handlers",
            Self::Interrupts => "interrupts",
            Self::FirstInstruction => "first-instruction",
            Self::Entry => "entry",
            Self::Blank => "blank",
            Self::Repeat => "repeat",
        }
    }

    /// Its subject, for people.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Fits => "The image fits its slot",
            Self::Outside => "Nothing outside the slot is touched",
            Self::Start => "The image begins where the slot begins",
            Self::Overlaps => "Each byte is given once",
            Self::Gaps => "Gaps are few and filled",
            Self::Machine => "The build is for this processor",
            Self::StackTop => "The stack begins in RAM",
            Self::ResetVector => "The reset vector leads into the image",
            Self::Handlers => "The system handlers are in the image",
            Self::Interrupts => "The interrupt handlers are in the image",
            Self::FirstInstruction => "The image begins with an instruction",
            Self::Entry => "The file's start address agrees",
            Self::Blank => "The image is not blank",
            Self::Repeat => "The image is new",
        }
    }
}

/// One question about a build, and its answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// What was asked.
    pub question: Question,
    /// The answer.
    pub verdict: Verdict,
    /// What the build has.
    pub found: String,
    /// What the target needs.
    pub expected: String,
    /// Why it matters and, unless the check passed, what to do.
    pub explanation: String,
}

/// Asks every question that applies to the target's core.
///
/// The order is that of [`Question`]: where the bytes go, how they start, and what they are. The questions about a Cortex-M's
/// vectors are asked for those alone, and the one about the first instruction for RISC-V alone.
#[must_use]
pub fn examine(build: &Build, target: &Target) -> Vec<Check> {
    let mut checks = vec![
        placement::fits(build, target),
        placement::outside(build, target),
        placement::start(build, target),
        placement::overlaps(build),
        placement::gaps(build, target),
        startup::machine(build, target),
    ];
    match target.core {
        Core::CortexM {
            architecture,
            interrupts,
        } => {
            checks.push(startup::stack_top(build, target));
            checks.push(startup::reset_vector(build, target));
            checks.push(startup::handlers(build, target, architecture));
            checks.push(startup::interrupts(build, target, interrupts));
        }
        Core::RiscV => checks.push(startup::first_instruction(build, target)),
    }
    checks.push(startup::entry(build, target));
    checks.push(content::blank(build, target));
    checks.push(content::repeat(build, target));
    checks
}

/// The gravest verdict, which is that of the whole list.
#[must_use]
pub fn worst(checks: &[Check]) -> Verdict {
    checks.iter().map(|check| check.verdict).max().unwrap_or(Verdict::Pass)
}

/// Thousands set apart by commas, for sizes.
fn count(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::with_capacity(digits.len() * 4 / 3);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// A size with its unit.
fn bytes(number: u64) -> String {
    format!("{} {}", count(number), if number == 1 { "byte" } else { "bytes" })
}

fn range<T: fmt::UpperHex>(range: &std::ops::Range<T>) -> String {
    format!("0x{:08X}..0x{:08X}", range.start, range.end)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_easy_to_read() {
        assert_eq!(bytes(0), "0 bytes");
        assert_eq!(bytes(1), "1 byte");
        assert_eq!(bytes(999), "999 bytes");
        assert_eq!(bytes(1_000), "1,000 bytes");
        assert_eq!(bytes(1_234_567), "1,234,567 bytes");
    }

    #[test]
    fn the_gravest_verdict_wins() {
        assert!(Verdict::Fail > Verdict::Warn && Verdict::Warn > Verdict::Pass);
        assert_eq!(worst(&[]), Verdict::Pass);
    }
}
