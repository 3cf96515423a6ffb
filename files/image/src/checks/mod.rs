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

/// One question about a build, and its answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// A short name that stays the same from release to release.
    pub id: &'static str,
    /// The question's subject, for people.
    pub title: &'static str,
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
/// The order is that of [`Check::id`]: `fits`, `outside`, `start`, `overlaps`, `gaps`; then how it
/// starts: `machine`, and for Cortex-M `stack-top`, `reset-vector`, `handlers`, `interrupts`, for
/// RISC-V `first-instruction`; then `entry`, `blank`, `repeat`.
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
