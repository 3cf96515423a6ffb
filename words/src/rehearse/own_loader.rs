//! The rehearsal of a maker's own loader, told as every other.

use super::junit::{End, Suite, Test, document};
use super::pages::{Drawn, Page, coverage, pages_of};
use super::proof::left_out;
use super::record::{BrokenClaim, Covered, by_id};
use super::told;
use crate::remedy::Remedy;
use crate::report::{Cell, Report};
use packstaff_bench::rehearse::own_loader::{Case, RehearsalError, Report as Rehearsed, wording};
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::Faults;
use packstaff_rehearsal::picture::grouped;
use serde::{Serialize, Serializer};
use std::path::Path;

impl Remedy for RehearsalError {
    fn remedy(&self) -> Option<String> {
        Some(self.help())
    }
}

/// What came of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LoaderRecord {
    /// The folder of its `unit.toml`.
    pub folder: String,
    /// Names of the faults that were looked at.
    pub faults: Vec<String>,
    /// The claims that were judged.
    #[serde(serialize_with = "ids")]
    pub judged: Vec<Claim>,
    /// Those that were not, and why.
    pub not_judged: Vec<NotJudged>,
    /// Whether every world was looked at: not so if the rehearsal ended at the first claim that does not hold.
    pub to_the_end: bool,
    /// Images that would have been come to after that.
    pub not_begun: Vec<String>,
    /// The explorations.
    pub cases: Vec<LoaderCaseRecord>,
}

/// A claim that was not judged.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NotJudged {
    /// The claim, by its short name.
    #[serde(serialize_with = "by_id::serialize")]
    pub claim: Claim,
    /// Why not.
    pub why: String,
}

/// What came of the exploration towards one image.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LoaderCaseRecord {
    /// The image that must run in the end.
    pub to: String,
    /// The stick that is in place then.
    pub stick: String,
    /// Whether every world was looked at.
    pub to_the_end: bool,
    /// What was covered, and found.
    #[serde(flatten)]
    pub covered: Covered,
}

fn ids<S: Serializer>(claims: &[Claim], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(claims.iter().map(|claim| claim.id()))
}

impl LoaderRecord {
    /// What is kept of a rehearsal of the loader in a folder.
    pub fn of(folder: &Path, rehearsed: &Rehearsed) -> Self {
        let folder = folder.display().to_string();
        let not_judged = rehearsed.judged.left_out.iter().map(|(claim, why)| NotJudged {
            claim: *claim,
            why: (*why).to_owned(),
        });
        Self {
            faults: rehearsed.faults.names().into_iter().map(str::to_owned).collect(),
            judged: rehearsed.judged.claims.clone(),
            not_judged: not_judged.collect(),
            to_the_end: rehearsed.to_the_end,
            not_begun: rehearsed.not_begun.clone(),
            cases: rehearsed
                .cases
                .iter()
                .map(|case| LoaderCaseRecord::of(&folder, rehearsed, case))
                .collect(),
            folder,
        }
    }

    /// The report.
    pub fn report(&self) -> Report {
        let columns = self.cases.iter().map(|case| case.to.clone()).collect();
        let mut report = Report::new(self.title() + ", rehearsed", columns);
        report.column_word = "to";
        for (column, case) in self.cases.iter().enumerate() {
            let figure = format!(
                "{} worlds, {} cuts",
                grouped(case.covered.worlds as u64),
                grouped(case.covered.cuts)
            );
            let covered = Cell {
                found: format!("{figure}, with {} in place in the end", case.stick),
                ..Cell::pass(figure)
            };
            // Where one ended early, it is the last: the others are complete.
            let title = match self.cases.iter().all(|case| case.to_the_end) {
                true => "Every world, every cut",
                false => "Worlds and cuts, up to there",
            };
            report.set("Rehearsal", "worlds", title, column, covered);
            for claim in &self.judged {
                let cell = match case.broken(*claim) {
                    Some(broken) => broken.cell(&format!("to {}", case.to), wording(*claim)),
                    None if !case.to_the_end => continue,
                    None if *claim == Claim::Arrives => {
                        Cell::pass(format!("at most {} changes", case.covered.changes_max))
                    }
                    None => Cell::pass(""),
                };
                let id = format!("claim-{}", claim.id());
                report.set("Rehearsal", &id, wording(*claim).title, column, cell);
            }
        }
        report.conclusion = self.conclusion();
        report
    }

    fn title(&self) -> String {
        format!("The loader of {}", self.folder)
    }

    fn conclusion(&self) -> String {
        let not_judged = self
            .not_judged
            .iter()
            .map(|one| format!("{} ({})", one.claim.id(), one.why));
        let not_judged = not_judged.collect::<Vec<_>>().join("; ");
        let broken: usize = self.cases.iter().map(|case| case.covered.broken.len()).sum();
        let head = match broken {
            0 => self.proof(),
            1 => "One claim does not hold: the shortest way to it is told above.".to_owned(),
            broken => format!("{broken} claims do not hold: the shortest way to each is told above."),
        };
        let end = self.not_done().map_or(String::new(), |what| {
            format!(" {what}: stop_at_first = false, under [limits] in unit.toml, goes on to the end.")
        });
        let faults = left_out(&every_fault(), &self.faults);
        let faults = faults.map_or(String::new(), |told| format!(" {told}"));
        format!("{head}{end}{faults} Not judged: {not_judged}.")
    }

    /// What was not done, because the rehearsal ended at the first claim that does not hold.
    fn not_done(&self) -> Option<String> {
        let ended = self.cases.iter().any(|case| !case.to_the_end);
        let images = self.not_begun.join(", ");
        match (ended, images.is_empty()) {
            (false, true) => None,
            (true, true) => Some("The rest was not looked at to the end".to_owned()),
            (true, false) => Some(format!(
                "The rest was not looked at to the end, and the way to {images} not at all"
            )),
            (false, false) => Some(format!("The way to {images} was not looked at")),
        }
    }

    fn proof(&self) -> String {
        let worlds: usize = self.cases.iter().map(|case| case.covered.worlds).sum();
        let cuts: u64 = self.cases.iter().map(|case| case.covered.cuts).sum();
        let changes = self
            .cases
            .iter()
            .map(|case| case.covered.changes_max)
            .max()
            .unwrap_or(0);
        let after = match cuts {
            0 => "without any cut".to_owned(),
            _ => format!(
                "after each of {} cuts, any number of them one after another",
                grouped(cuts)
            ),
        };
        format!(
            "Rehearsed, in the model of docs/src/rehearsal.md: {} claims hold in each of {} worlds, {after}; and from each of these a \
             good stick and no further cut lead to a running image after at most {changes} changes of flash.",
            self.judged.len(),
            grouped(worlds as u64),
        )
    }

    /// The results in the XML that build servers read.
    pub fn junit(&self) -> String {
        let class = Path::new(&self.folder).file_name();
        let class = class.map_or("loader".to_owned(), |name| name.to_string_lossy().into_owned());
        let suite = |to: &str, stick: Option<&str>, end: &dyn Fn(Claim) -> End| Suite {
            name: match stick {
                Some(stick) => format!("to {to}, with {stick}"),
                None => format!("to {to}"),
            },
            class: class.clone(),
            tests: self
                .judged
                .iter()
                .map(|claim| Test {
                    name: format!("{}: {}", claim.id(), wording(*claim).statement),
                    end: end(*claim),
                })
                .collect(),
        };
        let skipped = |what: &str| {
            End::Skipped(format!(
                "{what}: the rehearsal ended at the first claim that does not hold"
            ))
        };
        let begun = self.cases.iter().map(|case| {
            let end = |claim| match case.broken(claim) {
                Some(broken) => End::of(broken),
                None if case.to_the_end => End::Holds,
                None => skipped("not looked at to the end"),
            };
            suite(&case.to, Some(&case.stick), &end)
        });
        let not_begun = self
            .not_begun
            .iter()
            .map(|to| suite(to, None, &|_| skipped("not begun")));
        let suites: Vec<_> = begun.chain(not_begun).collect();
        document(&(self.title() + ", rehearsed"), &suites)
    }

    /// What was covered, and the story of each claim that does not hold.
    pub fn pages(&self) -> Vec<Page> {
        let ended = |case: &LoaderCaseRecord| match case.to_the_end {
            true => "",
            false => ", up to the first claim that does not hold",
        };
        let cases = self.cases.iter().enumerate().map(|(index, case)| Drawn {
            coverage: coverage(
                format!("Towards {}, with {}{}", case.to, case.stick, ended(case)),
                &case.covered,
            ),
            file: format!("case-{}-to-{}", index + 1, case.to),
            broken: &case.covered.broken,
        });
        pages_of(&self.title(), cases.collect())
    }
}

/// All faults that a loader which asks its owner nothing can meet, but for those of a worn part.
fn every_fault() -> Faults {
    Faults {
        any_choice: false,
        ..Faults::all()
    }
}

impl LoaderCaseRecord {
    fn of(folder: &str, rehearsed: &Rehearsed, case: &Case) -> Self {
        let target = rehearsed.images.iter().position(|image| image.name == case.image);
        let scene = told::Scene {
            heading: format!("The loader of {folder}: to {}, with {}", case.image, case.stick),
            wording,
            areas: &rehearsed.areas,
            images: &rehearsed.images,
            target: target.unwrap_or(rehearsed.images.len()),
        };
        let found = &case.found;
        Self {
            to: case.image.clone(),
            stick: case.stick.clone(),
            to_the_end: found.to_the_end,
            covered: Covered::of(found, scene.broken(found, &case.worlds)),
        }
    }

    fn broken(&self, claim: Claim) -> Option<&BrokenClaim> {
        self.covered.broken.iter().find(|broken| broken.claim == claim)
    }
}
