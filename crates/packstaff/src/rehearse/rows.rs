//! What came of a rehearsal, as a table and in sentences.

use super::outcome::{Broken, CaseOutcome, InstallOutcome, Outcome};
use crate::report::{Cell, Report};
use crate::sheet::typical_and_longest;
use rehearsal::claims::Claim;
use rehearsal::explore::Faults;
use rehearsal::picture::grouped;
use std::collections::BTreeSet;

const SECTION: &str = "Rehearsal";

/// The report of a rehearsal.
pub fn report_of(outcome: &Outcome) -> Report {
    let part = match outcome.part {
        [_, 1] => String::new(),
        [index, of] => format!(", part {index} of {of}"),
    };
    let mut report = Report::new(format!("{}, rehearsed{part}", outcome.product), outcome.boards.clone());
    let mut targets = Vec::new();
    for case in &outcome.cases {
        if !targets.contains(&&case.to) {
            targets.push(&case.to);
        }
    }
    for target in &targets {
        let section = match targets.len() {
            1 => SECTION.to_owned(),
            _ => format!("{SECTION}, to {target}"),
        };
        let cases = || outcome.cases.iter().filter(|case| case.to == **target);
        for case in cases() {
            let Some(column) = outcome.boards.iter().position(|board| *board == case.board) else {
                continue;
            };
            for install in &case.installs {
                let (id, title) = match &install.from {
                    None => ("from-new".to_owned(), "New unit".to_owned()),
                    Some(from) => (format!("from-{from}"), format!("From {from}")),
                };
                install_row(&mut report, &section, &id, &title, column, install);
            }
        }
        for case in cases() {
            let Some(column) = outcome.boards.iter().position(|board| *board == case.board) else {
                continue;
            };
            // Cases that differ in where they begin only each have a row for what they covered.
            let alone = cases().filter(|other| other.board == case.board).count() == 1;
            set_case(&mut report, &section, case, column, alone);
        }
    }
    report.conclusion = conclusion(outcome);
    report
}

/// The row of an install without a cut.
pub(crate) fn install_row(
    report: &mut Report,
    section: &str,
    id: &str,
    title: &str,
    column: usize,
    install: &InstallOutcome,
) {
    let cell = match install.holds {
        true => Cell::pass(typical_and_longest(install.typical_s, install.longest_s)),
        false => Cell::fail(
            install.seen.clone(),
            "what was picked runs, and nothing else has changed",
            "This is without any cut or fault. The update file or the memory map is at fault, or the installer: please report it.",
        ),
    };
    report.set(section, id, title, column, cell);
}

/// The rows of an exploration: what it covered, and each claim.
pub(crate) fn set_case(report: &mut Report, section: &str, case: &CaseOutcome, column: usize, alone: bool) {
    let figure = format!("{} worlds, {} cuts", grouped(case.worlds as u64), grouped(case.cuts));
    let (id, title) = match alone {
        true => ("worlds".to_owned(), "Every world, every cut".to_owned()),
        false => (
            format!("worlds-from-{}", case.from.join("-")),
            format!("Every world from {}, every cut", case.from.join(", ")),
        ),
    };
    let found = format!(
        "{figure}, from {}, with {}",
        case.from.join(", "),
        case.sticks.join(", ")
    );
    let covered = Cell {
        found,
        ..Cell::pass(figure)
    };
    report.set(section, &id, &title, column, covered);
    for claim in claims_of(case) {
        let id = format!("claim-{}", claim.id());
        report.set_worst(section, &id, claim.title(), column, claim_cell(case, claim));
    }
}

/// The claims that a case was judged by. Settings are out of an installer's reach: installs without a cut look at them.
pub(super) fn claims_of(case: &CaseOutcome) -> impl Iterator<Item = Claim> + '_ {
    let applies = |claim: &Claim| match claim {
        Claim::StandsAlone => case.two_places && !case.from.iter().any(|from| from == "new"),
        Claim::SettingsKept => !case.installs.is_empty(),
        _ => true,
    };
    Claim::ALL.into_iter().filter(applies)
}

/// How a case breaks a claim, if it does.
pub(super) fn broken(case: &CaseOutcome, claim: Claim) -> Option<&Broken> {
    case.broken.iter().find(|broken| broken.claim == claim.id())
}

fn claim_cell(case: &CaseOutcome, claim: Claim) -> Cell {
    if claim == Claim::SettingsKept {
        return match case.installs.iter().find(|install| !install.holds) {
            None => Cell::pass(""),
            Some(install) => Cell::fail(install.seen.clone(), claim.statement(), claim.consequence()),
        };
    }
    match broken(case, claim) {
        None if claim == Claim::Arrives => Cell::pass(format!("at most {} changes", case.changes_max)),
        None => Cell::pass(""),
        Some(broken) => broken.cell(&case.name(), claim.wording()),
    }
}

/// The last words of a rehearsal's report.
pub fn conclusion(outcome: &Outcome) -> String {
    let broken: usize = outcome.cases.iter().map(|case| case.broken.len()).sum();
    let unlike: usize = outcome
        .cases
        .iter()
        .flat_map(|case| &case.installs)
        .filter(|it| !it.holds)
        .count();
    let part = match outcome.part {
        [_, 1] => String::new(),
        [index, of] => format!(
            " This is part {index} of {of}, with {} of {} cases.",
            outcome.cases.len(),
            outcome.cases_all.len()
        ),
    };
    if outcome.cases.is_empty() {
        return format!("No case falls to this part.{part}");
    }
    match broken + unlike {
        0 => proof(&outcome.cases, &outcome.faults) + &part,
        1 => format!("One claim does not hold: see above.{part}"),
        count => format!("{count} claims do not hold: see above.{part}"),
    }
}

/// What was rehearsed, for the maker, in one honest sentence and what it rests on.
pub fn proof(cases: &[CaseOutcome], faults: &[String]) -> String {
    let worlds: usize = cases.iter().map(|case| case.worlds).sum();
    let cuts: u64 = cases.iter().map(|case| case.cuts).sum();
    let changes = cases.iter().map(|case| case.changes_max).max().unwrap_or(0);
    let claims: BTreeSet<_> = cases.iter().flat_map(claims_of).collect();
    let boards: BTreeSet<_> = cases.iter().map(|case| &case.board).collect();
    let targets: BTreeSet<_> = cases.iter().map(|case| case.to.as_str()).collect();
    let under = left_out(&Faults::all(), faults);
    let after = match cuts {
        0 => "without any cut".to_owned(),
        _ => format!(
            "after each of {} cuts, any number of them one after another",
            grouped(cuts)
        ),
    };
    let each = match cases.len() > boards.len() {
        true => format!("{} cases, with", cases.len()),
        false => "each of the".to_owned(),
    };
    format!(
        "Rehearsed, in the model of docs/src/rehearsal.md: {} claims hold on {}, in {each} {} worlds that an install to {} can \
         come to, {after}; and from each of these, with a good stick and no further cut, the version runs after at most {} \
         changes of flash.{under} What the model leaves out is told there.",
        claims.len(),
        counted(boards.len(), "board revision"),
        grouped(worlds as u64),
        targets.into_iter().collect::<Vec<_>>().join(" or "),
        grouped(changes as u64),
    )
}

/// The sentence that says which faults were left out, of those that could be looked at; nothing if none was.
pub(super) fn left_out(all: &Faults, looked_at: &[String]) -> String {
    let is_missing = |name: &&str| !looked_at.iter().any(|on| on == name);
    let missing: Vec<_> = all.names().into_iter().filter(is_missing).collect();
    match missing.is_empty() {
        true => String::new(),
        false => format!(" Faults that were left out: {}.", missing.join(", ")),
    }
}

/// The same in an owner's words, for the sheet.
pub fn owners_sentence(cases: &[CaseOutcome]) -> String {
    let cuts: u64 = cases.iter().map(|case| case.cuts).sum();
    format!(
        "A computer went through this update in a model of your unit, with the power failing {} times: before, during and after \
         every single write, and again while the unit recovered from that; with the stick pulled out, swapped or damaged. Every \
         time the unit started a complete version that we released, or waited for a stick; and a good stick always brought it \
         to the end.",
        grouped(cuts),
    )
}

fn counted(count: usize, what: &str) -> String {
    match count {
        1 => format!("1 {what}"),
        _ => format!("{count} {what}s"),
    }
}
