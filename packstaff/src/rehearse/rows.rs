//! What came of a rehearsal, as a table and in sentences.

use super::outcome::{Broken, CaseOutcome, InstallOutcome, KeepingOutcome, Outcome};
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::Faults;
use packstaff_rehearsal::picture::grouped;
use packstaff_words::report::{Cell, Report, Verdict};
use packstaff_words::sheet::typical_and_longest;
use std::collections::BTreeSet;

const SECTION: &str = "Rehearsal";
const KEEPING: &str = "Keeping settings";

/// The claims that settings are judged by; where they could not be kept at all, there is one alone.
pub(super) fn keeping_claims(case: &KeepingOutcome) -> &'static [Claim] {
    match case.worlds {
        0 => &[Claim::SettingsKept],
        _ => &[Claim::SettingsKept, Claim::Sane],
    }
}

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
    for case in &outcome.keeping {
        set_keeping(&mut report, case);
    }
    report.conclusion = conclusion(outcome);
    report
}

/// The rows of an exploration of settings, in the column of each board that it is about.
pub(crate) fn set_keeping(report: &mut Report, case: &KeepingOutcome) {
    let of_case = |column: &String| case.boards.contains(column);
    let columns: Vec<usize> = (0..)
        .zip(&report.columns)
        .filter(|(_, it)| of_case(it))
        .map(|(at, _)| at)
        .collect();
    for column in columns {
        if let Some(why) = &case.unexplored {
            let cell = Cell {
                verdict: Verdict::Warn,
                ..Cell::fail(
                    why.clone(),
                    "settings that can be rehearsed",
                    "What a cut does to settings is not known.",
                )
            };
            report.set(KEEPING, "settings-worlds", "Rehearsed", column, cell);
            continue;
        }
        let figure = format!("{} worlds, {} cuts", grouped(case.worlds as u64), grouped(case.cuts));
        let (id, title) = match case.cuts_max {
            None => ("settings-worlds".to_owned(), "Every world, every cut".to_owned()),
            Some(most) => (
                format!("settings-worlds-{most}"),
                format!("Every world, at most {} in a row", counted(usize::from(most), "cut")),
            ),
        };
        let covered = Cell {
            found: format!("{figure}: {}, in {}", versions(&case.versions), room(case)),
            explanation: if case.own_code {
                STAND_IN.to_owned()
            } else {
                String::new()
            },
            ..Cell::pass(figure)
        };
        if case.worlds > 0 {
            report.set(KEEPING, &id, &title, column, covered);
        }
        for claim in keeping_claims(case).iter().copied() {
            let holds = match claim {
                Claim::Sane => Cell::pass(format!("at most {} writes", case.changes_max)),
                _ => Cell::pass(""),
            };
            let id = format!("settings-claim-{}", claim.id());
            let cell = broken(&case.broken, claim).map_or(holds, |broken| broken.cell(&case.name, claim.wording()));
            report.set_worst(KEEPING, &id, keeping_title(claim), column, cell);
        }
    }
}

const STAND_IN: &str =
    "This firmware keeps settings by its own code, which is not rehearsed: the keeper stood in for it.";

/// Settings are not judged by what an installer does, so that claims read otherwise.
fn keeping_title(claim: Claim) -> &'static str {
    match claim {
        Claim::Sane => "The settings memory can do what is asked",
        claim => claim.title(),
    }
}

/// Where records were, and in how many places.
fn room(case: &KeepingOutcome) -> String {
    let places = match case.places == case.places_all {
        true => counted(case.places as usize, "place"),
        false => format!("{} of {} places", case.places, case.places_all),
    };
    format!("{places} of {}", case.memory_name)
}

fn versions(versions: &[String]) -> String {
    match versions {
        [one] => format!("version {one}"),
        several => format!("versions {}, put on in any order", several.join(", ")),
    }
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
    let figure = format!(
        "{} worlds, {} cuts",
        grouped(case.covered.worlds as u64),
        grouped(case.covered.cuts)
    );
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
        Claim::StandsAlone => case.two_places,
        Claim::SettingsKept => !case.installs.is_empty(),
        _ => true,
    };
    Claim::ALL.into_iter().filter(applies)
}

/// How a case breaks a claim, if it does.
pub(super) fn broken(all: &[Broken], claim: Claim) -> Option<&Broken> {
    all.iter().find(|broken| broken.claim == claim.id())
}

fn claim_cell(case: &CaseOutcome, claim: Claim) -> Cell {
    if claim == Claim::SettingsKept {
        return match case.installs.iter().find(|install| !install.holds) {
            None => Cell::pass(""),
            Some(install) => Cell::fail(install.seen.clone(), claim.statement(), claim.consequence()),
        };
    }
    match broken(&case.covered.broken, claim) {
        None if claim == Claim::Arrives => Cell::pass(format!("at most {} changes", case.covered.changes_max)),
        None => Cell::pass(""),
        Some(broken) => broken.cell(&case.name(), claim.wording()),
    }
}

/// The last words of a rehearsal's report.
pub fn conclusion(outcome: &Outcome) -> String {
    let broken: usize = outcome.cases.iter().map(|case| case.covered.broken.len()).sum();
    let lost: usize = outcome.keeping.iter().map(|case| case.broken.len()).sum();
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
            outcome.cases.len() + outcome.keeping.len(),
            outcome.cases_all.len()
        ),
    };
    if outcome.cases.is_empty() && outcome.keeping.is_empty() {
        return format!("No case falls to this part.{part}");
    }
    match broken + lost + unlike {
        0 => proof(outcome) + &part,
        1 => format!("One claim does not hold: see above.{part}"),
        count => format!("{count} claims do not hold: see above.{part}"),
    }
}

/// What was rehearsed, for the maker, in one honest sentence and what it rests on.
pub fn proof(outcome: &Outcome) -> String {
    let installs = (!outcome.cases.is_empty()).then(|| installs_proof(&outcome.cases));
    let under = left_out(&Faults::all(), &outcome.faults);
    let explored = outcome.keeping.iter().filter(|case| case.unexplored.is_none());
    let unexplored = outcome.keeping.iter().filter(|case| case.unexplored.is_some());
    let sentences = installs
        .into_iter()
        .chain(explored.map(keeping_proof))
        .chain(unexplored.map(|case| format!("Not rehearsed: {}.", case.name)))
        .chain(outcome.left_out.iter().cloned())
        .chain(under)
        .chain(["What the model leaves out is told there.".to_owned()]);
    let sentences: Vec<String> = sentences.collect();
    sentences.join(" ")
}

/// What was rehearsed of settings.
fn keeping_proof(case: &KeepingOutcome) -> String {
    let through = match (case.cuts, case.cuts_max) {
        (0, _) => "without any cut".to_owned(),
        (cuts, None) => format!(
            "through each of {} cuts, any number of them one after another",
            grouped(cuts)
        ),
        (cuts, Some(most)) => format!(
            "through each of {} cuts, at most {most} of them one after another",
            grouped(cuts)
        ),
    };
    let who = match case.own_code {
        true => " The keeper stood in for the firmware's own code, which is not rehearsed.",
        false => "",
    };
    format!(
        "Settings and calibration of {} in {} stay as they should, {through}, in each of {} worlds.{who}",
        versions(&case.versions),
        room(case),
        grouped(case.worlds as u64),
    )
}

fn installs_proof(cases: &[CaseOutcome]) -> String {
    let worlds: usize = cases.iter().map(|case| case.covered.worlds).sum();
    let cuts: u64 = cases.iter().map(|case| case.covered.cuts).sum();
    let changes = cases.iter().map(|case| case.covered.changes_max).max().unwrap_or(0);
    let mut claims: BTreeSet<_> = cases.iter().flat_map(claims_of).collect();
    let boards: BTreeSet<_> = cases.iter().map(|case| case.board.as_str()).collect();
    // That no stick is needed is claimed of boards with two places alone.
    let two_places = cases.iter().filter(|case| case.two_places);
    let two_places: BTreeSet<_> = two_places.map(|case| case.board.as_str()).collect();
    let mut more = String::new();
    if two_places != boards && claims.remove(&Claim::StandsAlone) {
        let there = two_places.into_iter().collect::<Vec<_>>().join(", ");
        more = format!(", and one more on board {there}");
    }
    let targets: BTreeSet<_> = cases.iter().map(|case| case.to.as_str()).collect();
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
        "Rehearsed, in the model of docs/src/rehearsal.md: {} claims hold on {}{more}, in {each} {} worlds that an install to {} can \
         come to, {after}; and from each of these, with a good stick and no further cut, the version runs after at most {} \
         changes of flash.",
        claims.len(),
        counted(boards.len(), "board revision"),
        grouped(worlds as u64),
        targets.into_iter().collect::<Vec<_>>().join(" or "),
        grouped(changes as u64),
    )
}

/// The sentence that says which faults were left out, of those that could be looked at, if any was.
pub(super) fn left_out(all: &Faults, looked_at: &[String]) -> Option<String> {
    let is_missing = |name: &&str| !looked_at.iter().any(|on| on == name);
    let missing: Vec<_> = all.names().into_iter().filter(is_missing).collect();
    (!missing.is_empty()).then(|| format!("Faults that were left out: {}.", missing.join(", ")))
}

/// The same in an owner's words, for the sheet.
pub fn owners_sentence(outcome: &Outcome) -> String {
    let cuts: u64 = outcome.cases.iter().map(|case| case.covered.cuts).sum();
    // What the keeper did in the place of other code says nothing about an owner's unit.
    let own = |case: &KeepingOutcome| case.unexplored.is_none() && !case.own_code;
    let saved: u64 = outcome.keeping.iter().map(|case| case.cuts).sum();
    let kept = match !outcome.keeping.is_empty() && outcome.keeping.iter().all(own) {
        false => String::new(),
        true => format!(
            " Your settings and the calibration were followed in the same way, with the power failing {} times: they were never \
             lost.",
            grouped(saved)
        ),
    };
    format!(
        "A computer went through this update in a model of your unit, with the power failing {} times: before, during and after \
         every single write, and again while the unit recovered from that; with the stick pulled out, swapped or damaged. Every \
         time the unit started a complete version that we released, or waited for a stick; and a good stick always brought it \
         to the end.{kept}",
        grouped(cuts),
    )
}

fn counted(count: usize, what: &str) -> String {
    match count {
        1 => format!("1 {what}"),
        _ => format!("{count} {what}s"),
    }
}
