//! What came of a rehearsal, as a table.

use super::proof::conclusion;
use super::record::{BrokenClaim, CaseRecord, InstallRecord, Record, SettingsRecord};
use crate::report::{Cell, Report, Verdict};
use crate::sheet::typical_and_longest;
use packstaff_bench::rehearse::Rehearsal;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::picture::grouped;
use thiserror::Error;

const SECTION: &str = "Rehearsal";
const SETTINGS: &str = "Keeping settings";

/// The claims that settings are judged by; where they could not be kept at all, there is one alone.
pub(super) fn settings_claims(case: &SettingsRecord) -> &'static [Claim] {
    match case.worlds {
        0 => &[Claim::SettingsKept],
        _ => &[Claim::SettingsKept, Claim::Sane],
    }
}

/// A case of a board that the report has no column for.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("a case is about board {board}, and the report is about {known}")]
pub struct UnknownBoard {
    /// The board revision.
    pub board: String,
    /// Those that there are.
    pub known: String,
}

/// The report of a rehearsal.
///
/// # Errors
/// A case is about a board that is not among the record's own.
pub fn report_of(record: &Record) -> Result<Report, UnknownBoard> {
    let part = match record.part {
        [_, 1] => String::new(),
        [index, of] => format!(", part {index} of {of}"),
    };
    let mut report = Report::new(format!("{}, rehearsed{part}", record.product), record.boards.clone());
    let mut targets = Vec::new();
    for case in &record.cases {
        if !targets.contains(&&case.to) {
            targets.push(&case.to);
        }
    }
    for target in &targets {
        let section = match targets.len() {
            1 => SECTION.to_owned(),
            _ => format!("{SECTION}, to {target}"),
        };
        let cases: Vec<&CaseRecord> = record.cases.iter().filter(|case| case.to == **target).collect();
        for case in &cases {
            let column = column_of(&report, &case.board)?;
            for install in &case.installs {
                let row = InstallRow::from(install.from.as_deref());
                report.set(&section, &row.id, &row.title, column, install_cell(install));
            }
        }
        for case in &cases {
            // Cases that differ in where they begin only each have a row for what they covered.
            let rows = match cases.iter().filter(|other| other.board == case.board).count() {
                1 => CoveredRow::OnlyOne,
                _ => CoveredRow::ByBeginning,
            };
            case_rows(&mut report, &section, case, rows)?;
        }
    }
    for case in &record.keeping {
        settings_rows(&mut report, case);
    }
    report.conclusion = conclusion(record);
    Ok(report)
}

/// The rows of a release about its rehearsal. `version` is the one released: others are gone back to.
///
/// # Errors
/// A case is about a board that the report has no column for.
pub fn release_rows(report: &mut Report, rehearsal: &Rehearsal, version: &str) -> Result<(), UnknownBoard> {
    for (index, outcome) in &rehearsal.installs {
        let column = column_of(report, &outcome.case.board)?;
        for install in &outcome.installs {
            let row = match install.to == version {
                true => InstallRow::from(install.from.version()),
                false => InstallRow::back_to(&install.to),
            };
            let cell = install_cell(&InstallRecord::of(install));
            report.set(SECTION, &row.id, &row.title, column, cell);
        }
        let case = CaseRecord::of(&rehearsal.product, *index, outcome);
        case_rows(report, SECTION, &case, CoveredRow::OnlyOne)?;
    }
    for (index, outcome) in &rehearsal.settings {
        settings_rows(report, &SettingsRecord::of(*index, outcome));
    }
    Ok(())
}

fn column_of(report: &Report, board: &str) -> Result<usize, UnknownBoard> {
    let column = report.columns.iter().position(|column| column == board);
    column.ok_or_else(|| UnknownBoard {
        board: board.to_owned(),
        known: report.columns.join(", "),
    })
}

/// The name and the title of an install's row.
struct InstallRow {
    id: String,
    title: String,
}

impl InstallRow {
    /// An install to the version that the report is about; `None` is a new unit.
    fn from(from: Option<&str>) -> Self {
        match from {
            None => Self {
                id: "from-new".to_owned(),
                title: "New unit".to_owned(),
            },
            Some(from) => Self {
                id: format!("from-{from}"),
                title: format!("From {from}"),
            },
        }
    }

    /// An install of an older version over it.
    fn back_to(to: &str) -> Self {
        Self {
            id: format!("back-to-{to}"),
            title: format!("Back to {to}"),
        }
    }
}

/// The rows of an exploration of settings, in the column of each board that it is about.
fn settings_rows(report: &mut Report, case: &SettingsRecord) {
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
            report.set(SETTINGS, "settings-worlds", "Rehearsed", column, cell);
            continue;
        }
        if case.worlds > 0 {
            let (id, title) = match case.cuts_max {
                None => ("settings-worlds".to_owned(), "Every world, every cut".to_owned()),
                Some(most) => (
                    format!("settings-worlds-{most}"),
                    format!("Every world, at most {} in a row", counted(usize::from(most), "cut")),
                ),
            };
            report.set(SETTINGS, &id, &title, column, settings_covered(case));
        }
        for claim in settings_claims(case).iter().copied() {
            let holds = match claim {
                Claim::Sane => Cell::pass(format!("at most {} writes", case.changes_max)),
                _ => Cell::pass(""),
            };
            let id = format!("settings-claim-{}", claim.id());
            let cell = broken(&case.broken, claim).map_or(holds, |broken| broken.cell(&case.name, claim.wording()));
            report.set_worst(SETTINGS, &id, settings_title(claim), column, cell);
        }
    }
}

/// What an exploration of settings covered.
fn settings_covered(case: &SettingsRecord) -> Cell {
    let figure = format!("{} worlds, {} cuts", grouped(case.worlds as u64), grouped(case.cuts));
    Cell {
        found: format!("{figure}: {}, in {}", versions(&case.versions), room(case)),
        explanation: match case.own_code {
            true => STAND_IN.to_owned(),
            false => String::new(),
        },
        ..Cell::pass(figure)
    }
}

const STAND_IN: &str =
    "This firmware keeps settings by its own code, which is not rehearsed: the keeper stood in for it.";

/// Settings are not judged by what an installer does, so that claims read otherwise.
fn settings_title(claim: Claim) -> &'static str {
    match claim {
        Claim::Sane => "The settings memory can do what is asked",
        claim => claim.title(),
    }
}

/// Where records were, and in how many places.
pub(super) fn room(case: &SettingsRecord) -> String {
    let places = match case.places == case.places_all {
        true => counted(case.places as usize, "place"),
        false => format!("{} of {} places", case.places, case.places_all),
    };
    format!("{places} of {}", case.memory_name)
}

/// Versions, as owners may put them on.
pub(super) fn versions(versions: &[String]) -> String {
    match versions {
        [one] => format!("version {one}"),
        several => format!("versions {}, put on in any order", several.join(", ")),
    }
}

/// What came of an install without a cut.
fn install_cell(install: &InstallRecord) -> Cell {
    match install.holds {
        true => Cell::pass(typical_and_longest(install.typical_s, install.longest_s)),
        false => Cell::fail(
            install.seen.clone(),
            "what was picked runs, and nothing else has changed",
            "This is without any cut or fault. The update file or the memory map is at fault, or the installer: please report it.",
        ),
    }
}

/// Which row says what a case covered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum CoveredRow {
    /// The board has this case alone.
    OnlyOne,
    /// It has others, which differ in where they begin.
    ByBeginning,
}

/// The rows of an exploration: what it covered, and each claim.
fn case_rows(report: &mut Report, section: &str, case: &CaseRecord, row: CoveredRow) -> Result<(), UnknownBoard> {
    let column = column_of(report, &case.board)?;
    let figure = format!(
        "{} worlds, {} cuts",
        grouped(case.covered.worlds as u64),
        grouped(case.covered.cuts)
    );
    let (id, title) = match row {
        CoveredRow::OnlyOne => ("worlds".to_owned(), "Every world, every cut".to_owned()),
        CoveredRow::ByBeginning => (
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
    Ok(())
}

/// The claims that a case was judged by. Settings are out of an installer's reach: installs without a cut look at them.
pub(super) fn claims_of(case: &CaseRecord) -> impl Iterator<Item = Claim> + '_ {
    let applies = |claim: &Claim| match claim {
        Claim::StandsAlone => case.two_places,
        Claim::SettingsKept => !case.installs.is_empty(),
        _ => true,
    };
    Claim::ALL.into_iter().filter(applies)
}

/// How a case breaks a claim, if it does.
pub(super) fn broken(all: &[BrokenClaim], claim: Claim) -> Option<&BrokenClaim> {
    all.iter().find(|broken| broken.claim == claim)
}

fn claim_cell(case: &CaseRecord, claim: Claim) -> Cell {
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

/// A number of things, in words.
pub(super) fn counted(count: usize, what: &str) -> String {
    match count {
        1 => format!("1 {what}"),
        _ => format!("{count} {what}s"),
    }
}
