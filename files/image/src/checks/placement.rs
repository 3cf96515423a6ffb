//! Where the bytes go: inside the slot and nowhere else.

use std::ops::Range;

use super::{Check, Question, Target, Verdict, bytes, range};
use crate::build::Build;
use crate::note::Note;

/// How many of the places that a build hits by mistake are named one by one.
const NAMED: usize = 6;

pub(super) fn fits(build: &Build, target: &Target) -> Check {
    let usable = u64::from(target.usable_range().end - target.usable_range().start);
    let expected = format!("at most {}", bytes(usable));
    let end = end_in_slot(build, target);
    // A build that is wholly elsewhere is measured by what it holds; that it is elsewhere is the
    // next check.
    let size = end.map_or_else(|| build.byte_count(), |end| end - u64::from(target.slot.start));
    let (verdict, found, advice) = if size > usable {
        let over = format!("{}, {} too many", bytes(size), bytes(size - usable));
        let advice = " Optimise for size, move data out of the image, or leave a feature out; a \
            larger slot needs a new first load.";
        (Verdict::Fail, over, advice)
    } else {
        (
            Verdict::Pass,
            format!("{}, {} free", bytes(size), bytes(usable - size)),
            "",
        )
    };
    Check {
        question: Question::Fits,
        verdict,
        found,
        expected,
        explanation: format!("{}{advice}", target.limit.reason()),
    }
}

pub(super) fn outside(build: &Build, target: &Target) -> Check {
    let usable = target.usable_range();
    let usable_wide = u64::from(usable.start)..u64::from(usable.end);
    let strays: Vec<Range<u64>> = build
        .segments()
        .iter()
        .flat_map(|segment| without(&segment.range(), &usable_wide))
        .filter(|part| !part.is_empty())
        .collect();
    let expected = format!("every byte inside {}", range(&usable));
    let explanation = "An install writes only its slot. Bytes elsewhere would never arrive, or \
        would destroy what must survive every update.";
    if strays.is_empty() {
        let found = format!("{} in {}", bytes(build.byte_count()), range(&build.span()));
        return check_outside(Verdict::Pass, found, expected, explanation.to_owned());
    }
    let mut named: Vec<String> = strays
        .iter()
        .take(NAMED)
        .map(|stray| {
            format!(
                "{} at {} ({})",
                bytes(stray.end - stray.start),
                range(stray),
                hit(stray, target)
            )
        })
        .collect();
    if let Some(more) = strays.len().checked_sub(NAMED).filter(|&more| more > 0) {
        named.push(format!("and {more} more places"));
    }
    let advice = "Correct the FLASH origin and the load addresses in the linker script, and keep \
        configuration words and initial settings out of the build: they belong to the first load.";
    check_outside(
        Verdict::Fail,
        named.join("; "),
        expected,
        format!("{explanation} {advice}"),
    )
}

fn check_outside(verdict: Verdict, found: String, expected: String, explanation: String) -> Check {
    Check {
        question: Question::Outside,
        verdict,
        found,
        expected,
        explanation,
    }
}

pub(super) fn start(build: &Build, target: &Target) -> Check {
    let first = build.span().start;
    let begins = first == u64::from(target.slot.start);
    let advice = if begins {
        ""
    } else {
        " Set the FLASH origin in the linker script to the slot's start, keep the vector table or \
         start code first, and link again."
    };
    Check {
        question: Question::Start,
        verdict: if begins { Verdict::Pass } else { Verdict::Fail },
        found: format!("first byte at 0x{first:08X}"),
        expected: format!("first byte at 0x{:08X}", target.slot.start),
        explanation: format!(
            "The installer hands over to what lies at the slot's start. A build linked for \
             another address may even begin to run there and fail later.{advice}"
        ),
    }
}

pub(super) fn overlaps(build: &Build) -> Check {
    let doubled: Vec<(u32, u64)> = build
        .notes()
        .iter()
        .filter_map(|note| match note {
            Note::Overlap { address, len } => Some((*address, *len)),
            _ => None,
        })
        .collect();
    let total: u64 = doubled.iter().map(|&(_, len)| len).sum();
    let (verdict, found, advice) = match doubled.first() {
        None => (Verdict::Pass, "none".to_owned(), ""),
        Some((address, _)) => (
            Verdict::Warn,
            format!(
                "{} given more than once with the same values, from 0x{address:08X}",
                bytes(total)
            ),
            " Here the values agree; see why the build names them twice before they stop agreeing.",
        ),
    };
    Check {
        question: Question::Overlaps,
        verdict,
        found,
        expected: "none".to_owned(),
        explanation: format!(
            "A file that gives two values for one address is refused when it is read, since \
             nobody can tell which is meant.{advice}"
        ),
    }
}

pub(super) fn gaps(build: &Build, target: &Target) -> Check {
    let usable = target.usable_range();
    let inner: Vec<u64> = build
        .segments()
        .windows(2)
        .filter(|pair| within(&pair[0].range(), &usable) && within(&pair[1].range(), &usable))
        .map(|pair| u64::from(pair[1].address) - pair[0].end())
        .collect();
    let filled: u64 = inner.iter().sum();
    let trailing = end_in_slot(build, target).map_or(0, |end| u64::from(usable.end).saturating_sub(end));
    let too_much = filled > build.byte_count();
    let between = match inner.len() {
        0 => "no gaps inside the image".to_owned(),
        1 => format!(
            "1 gap inside the image, {} filled with 0x{:02X}",
            bytes(filled),
            target.erased
        ),
        many => format!(
            "{many} gaps inside the image, {} filled with 0x{:02X}",
            bytes(filled),
            target.erased
        ),
    };
    let advice = if too_much {
        " More of this image is filling than content, which often means a section placed at a \
         wrong address; every filled byte costs the owner time and the flash wear."
    } else {
        ""
    };
    Check {
        question: Question::Gaps,
        verdict: if too_much { Verdict::Warn } else { Verdict::Pass },
        found: format!("{between}; {} after it stay erased", bytes(trailing)),
        expected: "less filling than content".to_owned(),
        explanation: format!(
            "The signed digest covers every byte of the image, so bytes between sections need a \
             value: the erased one, which a flash holds anyway.{advice}"
        ),
    }
}

/// One past the last byte of what begins inside the slot; it may lie beyond the slot.
fn end_in_slot(build: &Build, target: &Target) -> Option<u64> {
    build
        .segments()
        .iter()
        .rev()
        .find(|segment| target.slot.contains(&segment.address))
        .map(|segment| segment.end())
}

fn within(inner: &Range<u64>, outer: &Range<u32>) -> bool {
    u64::from(outer.start) <= inner.start && inner.end <= u64::from(outer.end)
}

/// The parts of `whole` below and above `hole`; either may be empty.
fn without(whole: &Range<u64>, hole: &Range<u64>) -> [Range<u64>; 2] {
    if hole.is_empty() {
        return [whole.clone(), 0..0];
    }
    [
        whole.start..whole.end.min(hole.start),
        whole.start.max(hole.end)..whole.end,
    ]
}

/// What lies at `stray`, by the names that the target gives.
fn hit(stray: &Range<u64>, target: &Target) -> String {
    let touches = |other: &Range<u32>| stray.start < u64::from(other.end) && u64::from(other.start) < stray.end;
    let mut names: Vec<&str> = Vec::new();
    if touches(&(target.usable_range().end..target.slot.end)) {
        names.push(target.limit.behind());
    }
    names.extend(
        target
            .reserved
            .iter()
            .filter(|(_, other)| touches(other))
            .map(|(name, _)| name.as_str()),
    );
    if target.ram.iter().any(touches) {
        names.push("RAM, so its load address is missing");
    }
    if names.is_empty() {
        "nothing that the product names".to_owned()
    } else {
        names.join(", ")
    }
}
