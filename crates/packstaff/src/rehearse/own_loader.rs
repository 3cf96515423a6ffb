//! The rehearsal of a maker's own loader, told as every other report.

use crate::report::{Cell, Report};
use loader::{RehearsalError, Report as Rehearsed};
use miette::{Result, miette};
use rehearsal::picture::grouped;
use std::path::Path;

/// Rehearses the loader that a folder's `unit.toml` describes.
///
/// # Errors
/// There is no answer: the description is wrong, or the exploration was given up. A loader that breaks a claim is an answer.
pub fn rehearse_own_loader(folder: &Path) -> Result<Report> {
    let told = |error: RehearsalError| miette!(help = error.help(), "{error}");
    loader::rehearse(folder)
        .map(|rehearsed| report(folder, &rehearsed))
        .map_err(told)
}

fn report(folder: &Path, rehearsed: &Rehearsed) -> Report {
    let columns = rehearsed.cases.iter().map(|case| case.image.clone()).collect();
    let mut report = Report::new(format!("The loader of {}, rehearsed", folder.display()), columns);
    report.column_word = "to";
    for (column, case) in rehearsed.cases.iter().enumerate() {
        let found = &case.found;
        let mut cell = Cell::pass(format!(
            "{} worlds, {} cuts",
            grouped(found.worlds as u64),
            grouped(found.cuts)
        ));
        cell.explanation = format!("With {} in place in the end.", case.stick);
        report.set("Rehearsal", "explored", "Every world, every cut", column, cell);
        for claim in &rehearsed.judged.claims {
            let broken = found.violations.iter().find(|violation| violation.claim == *claim);
            let cell = match broken {
                Some(violation) => Cell::fail(&violation.seen, claim.statement(), violation.story.to_string()),
                None if rehearsed.to_the_end => Cell::pass(""),
                None => continue,
            };
            report.set("Rehearsal", claim.id(), claim.title(), column, cell);
        }
    }
    report.conclusion = conclusion(rehearsed);
    report
}

fn conclusion(rehearsed: &Rehearsed) -> String {
    let left_out: Vec<_> = rehearsed
        .judged
        .left_out
        .iter()
        .map(|(claim, why)| format!("{} ({why})", claim.id()))
        .collect();
    let worlds: usize = rehearsed.cases.iter().map(|case| case.found.worlds).sum();
    let cuts: u64 = rehearsed.cases.iter().map(|case| case.found.cuts).sum();
    let (worlds, cuts) = (grouped(worlds as u64), grouped(cuts));
    let changes = rehearsed
        .cases
        .iter()
        .map(|case| case.found.changes_max)
        .max()
        .unwrap_or(0);
    let head = match rehearsed.holds() {
        true => format!(
            "Rehearsed, in the model of docs/src/rehearsal.md: {} claims hold in each of {worlds} worlds, after each of {cuts} cuts, any \
             number of them one after another; and from each of these a good stick and no further cut lead to a running image after at \
             most {changes} changes of flash.",
            rehearsed.judged.claims.len()
        ),
        false => "A claim does not hold: the shortest way to it is told above.".to_owned(),
    };
    format!("{head} Not judged: {}.", left_out.join("; "))
}
