//! The account, for the maker.

use super::contents::{codes, held, kept, on_stick};
use super::what_happened::happened;
use super::{inconsistency, letter};
use crate::reasons::{self, Language, explain};
use crate::text::{bytes, capital, visible};
use packstaff_bench::Bench;
use packstaff_bench::trace::{Sent, Traced};
use packstaff_installer::Reason;
use packstaff_trace::{Failure, Next, Outcome, Repair, Unseen};
use std::fmt::Write;

/// Characters in a line, where words can be broken.
const WIDTH: usize = 100;

/// The account as text, with the letter to the owner at its end.
pub fn account(bench: &Bench, traced: &Traced) -> String {
    let account = &traced.account;
    let mut out = format!(
        "{}, board {}: what happened to this unit\n",
        bench.product.name, account.board
    );
    section(&mut out, "Sent", &sent(&traced.sent));
    if let Some(flash) = &account.flash {
        section(&mut out, "What happened", &happened(flash));
        block(&mut out, "What flash holds", &held(flash));
    }
    if let Some(reason) = account.code {
        section(&mut out, "What the unit says", &[says(reason)]);
    }
    if let Some(stick) = &account.stick {
        section(&mut out, "What the stick holds", &on_stick(stick));
    }
    if let Some(settings) = &traced.settings {
        section(&mut out, "What the settings memory holds", &kept(settings, account));
    }
    if let Some(next) = &account.next {
        section(
            &mut out,
            "What it does next, switched on without a stick",
            &does_next(next),
        );
    }
    let tried = match account.flash {
        Some(_) => "What repairs it, tried on this very unit in the simulation",
        None => "What repairs it, tried on units of this board in the simulation: flash was not read",
    };
    block(&mut out, tried, &repairs(&account.repair));
    let found = account.inconsistencies.iter();
    let found = found.map(|found| {
        let what = inconsistency::what(found);
        capital(&format!("{what}: {}", inconsistency::explanation(found)))
    });
    section(&mut out, "What does not fit together", &found.collect::<Vec<_>>());
    let unseen = account.unseen.iter();
    let unseen = unseen.map(|unseen| format!("{}: would tell {}.", capital(what(*unseen)), would_tell(*unseen)));
    section(&mut out, "Not looked at", &unseen.collect::<Vec<_>>());
    out.push_str("\nA reply to the owner, to be read through before it is sent\n\n");
    for line in letter(bench, traced).lines() {
        out.push_str(if line.is_empty() { "" } else { "  " });
        let _ = writeln!(out, "{line}");
    }
    out
}

/// A title, and paragraphs that are broken into lines.
fn section(out: &mut String, title: &str, paragraphs: &[String]) {
    let lines: Vec<_> = paragraphs.iter().flat_map(|paragraph| hung(paragraph, WIDTH)).collect();
    block(out, title, &lines);
}

/// A title, and lines as they are; nothing if there are none.
fn block(out: &mut String, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    let _ = write!(out, "\n{title}\n");
    for line in lines {
        let _ = writeln!(out, "  {line}");
    }
}

/// Lines of a paragraph, all but the first set in.
fn hung(paragraph: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::<String>::new();
    for word in paragraph.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            Some(_) => lines.push(format!("  {word}")),
            None => lines.push(word.to_owned()),
        }
    }
    lines
}

/// What was sent, in words.
pub(super) fn sent(sent: &[Sent]) -> Vec<String> {
    let one = |sent: &Sent| match sent {
        Sent::Flash {
            name,
            bytes: count,
            first,
        } => format!("{}: flash, {} from {first:#010x}", visible(name), bytes(*count)),
        Sent::Stick { name, bytes: count } => format!("{}: the stick, {}", visible(name), bytes(*count)),
        Sent::Code(reason) => format!("the display shows {}", reason.code()),
        Sent::Settings { name } => format!("{}: the settings memory", visible(name)),
    };
    sent.iter().map(one).collect()
}

/// Something that was not looked at.
pub(super) const fn what(unseen: Unseen) -> &'static str {
    match unseen {
        Unseen::Flash => "flash",
        Unseen::PartOfFlash => "part of flash",
        Unseen::Stick => "the stick",
        Unseen::Code => "the reason code on the display",
        Unseen::Settings => "settings and calibration",
    }
}

/// What it would tell.
pub(super) const fn would_tell(unseen: Unseen) -> &'static str {
    match unseen {
        Unseen::Flash => "which version the unit holds, how far an install came, and what the next start does",
        Unseen::PartOfFlash => "whether what was not read is as it should be",
        Unseen::Stick => "what the unit could have installed, and whether the stick itself is at fault",
        Unseen::Code => "what the unit itself found",
        Unseen::Settings => "whether they are whole; an install never touches them",
    }
}

/// What a code means, where the fault lies, and what to do.
fn says(reason: Reason) -> String {
    let explained = explain(reason, Language::English);
    format!(
        "{}: {}. At fault: {}. The sheet tells the owner: {} {}",
        reason.code(),
        explained.maker.cause.full,
        reasons::at_fault(explained.at_fault, Language::English),
        explained.owner.remedy.line,
        explained.maker.remedy.full
    )
}

fn does_next(next: &Next) -> Vec<String> {
    if next.certain {
        let by_itself = match (next.changes, &next.at_best) {
            (0, _) => String::new(),
            (changes, Outcome::Starts { .. }) => {
                format!(" It makes {changes} changes of flash before: it finishes by itself what was begun.")
            }
            (changes, _) => format!(" It makes {changes} changes of flash before."),
        };
        return vec![format!("{}{by_itself}", capital(&outcome(&next.at_best)))];
    }
    vec![
        "That depends on what was not read.".to_owned(),
        format!("If that is as it should be: {}", outcome(&next.at_best)),
        format!("If it is not: {}", outcome(&next.at_worst)),
    ]
}

fn outcome(outcome: &Outcome) -> String {
    match outcome {
        Outcome::Starts {
            release: Some(release), ..
        } => format!("it starts {release}."),
        Outcome::Starts { address, .. } => {
            format!("it starts the image at {address:#010x}, which is in no record of the ledger.")
        }
        Outcome::Waits { reason } => format!(
            "it waits for a stick and shows {}: {}.",
            reason.code(),
            explain(*reason, Language::English).maker.cause.line
        ),
        Outcome::Fails { how } => format!(
            "the installer fails: {}. This must not be: please report it.",
            failure(*how)
        ),
    }
}

/// How the installer fails.
pub(super) fn failure(how: Failure) -> String {
    match how {
        Failure::Endless => "it does not come to an end".to_owned(),
        Failure::Impossible(fault) => fault.to_string(),
    }
}

fn repairs(repair: &Repair) -> Vec<String> {
    let mut lines = match repair.needed {
        Some(false) => vec!["No stick is needed. If the unit waits all the same, the first of these helps:".to_owned()],
        Some(true) => vec!["A stick is needed:".to_owned()],
        None => vec!["Whether a stick is needed cannot be told; if the unit waits:".to_owned()],
    };
    let width = repair
        .tried
        .iter()
        .map(|fix| fix.file.chars().count())
        .max()
        .unwrap_or(0);
    for fix in &repair.tried {
        let intended = match (fix.intended, repair.needed) {
            (false, _) => "",
            (true, Some(false)) => ", the version that it has",
            (true, _) => ", the version that was being installed",
        };
        let works = match fix.works_for.as_slice() {
            [] => "does not help".to_owned(),
            works => format!("works (keys of {}){intended}", works.join(", ")),
        };
        let fails = fix.fails_for.iter().map(|refused| {
            format!(
                "; with keys of {} it shows {}",
                refused.generation,
                codes(&refused.shows)
            )
        });
        lines.push(format!("{:<width$}  {works}{}", fix.file, fails.collect::<String>()));
    }
    if repair.tried.is_empty() {
        lines.push("The ledger has no release that owners may go to.".to_owned());
    }
    lines
}
