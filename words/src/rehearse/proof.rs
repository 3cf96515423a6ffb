//! What a rehearsal proves, in sentences: for the maker, and for owners.

use super::record::{CaseRecord, Record, SettingsRecord};
use super::rows::{claims_of, counted, room, versions};
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::Faults;
use packstaff_rehearsal::picture::grouped;
use std::collections::BTreeSet;

/// The last words of a rehearsal's report.
pub fn conclusion(record: &Record) -> String {
    let broken: usize = record.cases.iter().map(|case| case.covered.broken.len()).sum();
    let lost: usize = record.keeping.iter().map(|case| case.broken.len()).sum();
    let unlike: usize = record
        .cases
        .iter()
        .flat_map(|case| &case.installs)
        .filter(|it| !it.holds)
        .count();
    let part = match record.part {
        [_, 1] => String::new(),
        [index, of] => format!(
            " This is part {index} of {of}, with {} of {} cases.",
            record.cases.len() + record.keeping.len(),
            record.cases_all.len()
        ),
    };
    if record.cases.is_empty() && record.keeping.is_empty() {
        return format!("No case falls to this part.{part}");
    }
    match broken + lost + unlike {
        0 => proof(record) + &part,
        1 => format!("One claim does not hold: see above.{part}"),
        count => format!("{count} claims do not hold: see above.{part}"),
    }
}

/// What was rehearsed, for the maker, in one honest sentence and what it rests on.
pub fn proof(record: &Record) -> String {
    let installs = (!record.cases.is_empty()).then(|| installs_proof(&record.cases));
    let under = left_out(&Faults::all(), &record.faults);
    let explored = record.keeping.iter().filter(|case| case.unexplored.is_none());
    let unexplored = record.keeping.iter().filter(|case| case.unexplored.is_some());
    let sentences = installs
        .into_iter()
        .chain(explored.map(settings_proof))
        .chain(unexplored.map(|case| format!("Not rehearsed: {}.", case.name)))
        .chain(record.left_out.iter().cloned())
        .chain(under)
        .chain(["What the model leaves out is told there.".to_owned()]);
    let sentences: Vec<String> = sentences.collect();
    sentences.join(" ")
}

/// What was rehearsed of settings.
fn settings_proof(case: &SettingsRecord) -> String {
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

fn installs_proof(cases: &[CaseRecord]) -> String {
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
pub fn owners_sentence(record: &Record) -> String {
    let cuts: u64 = record.cases.iter().map(|case| case.covered.cuts).sum();
    // What the keeper did in the place of other code says nothing about an owner's unit.
    let own = |case: &SettingsRecord| case.unexplored.is_none() && !case.own_code;
    let saved: u64 = record.keeping.iter().map(|case| case.cuts).sum();
    let kept = match !record.keeping.is_empty() && record.keeping.iter().all(own) {
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
