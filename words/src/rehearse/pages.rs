//! The pictures of a rehearsal, as pages of HTML.

use super::record::{BrokenClaim, Covered, Record};
use packstaff_rehearsal::explore::Coverage;
use packstaff_rehearsal::picture::{CoverageOf, coverage_page};

/// A page for a folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page {
    /// The file's name.
    pub name: String,
    /// The page, in HTML.
    pub html: String,
}

/// What is drawn of one case.
pub(super) struct Drawn<'a> {
    /// What covers it, as one of the pages' parts.
    pub(super) coverage: CoverageOf,
    /// What the names of its pages begin with.
    pub(super) file: String,
    /// The claims that do not hold.
    pub(super) broken: &'a [BrokenClaim],
}

/// What was covered, and the story of each claim that does not hold.
pub fn pages(record: &Record) -> Vec<Page> {
    let drawn = record.cases.iter().map(|case| Drawn {
        coverage: coverage(case.name(), &case.covered),
        file: format!("case-{}-board-{}", case.index + 1, case.board),
        broken: &case.covered.broken,
    });
    pages_of(&record.product, drawn.collect())
}

/// The same of any cases, under a title.
pub(super) fn pages_of(title: &str, cases: Vec<Drawn<'_>>) -> Vec<Page> {
    let stories: Vec<_> = cases
        .iter()
        .flat_map(|case| case.broken.iter().map(|broken| story(&case.file, broken)))
        .collect();
    let coverage: Vec<_> = cases.into_iter().map(|case| case.coverage).collect();
    let coverage = Page {
        name: "coverage.html".to_owned(),
        html: coverage_page(title, &coverage),
    };
    [coverage].into_iter().chain(stories).collect()
}

fn story(file: &str, broken: &BrokenClaim) -> Page {
    // Versions and revisions are the maker's words; a file's name keeps to letters that every system takes.
    let plain = |char: char| if char.is_ascii_alphanumeric() { char } else { '-' };
    let name = format!("{file}-{}", broken.claim.id());
    Page {
        name: format!("{}.html", name.chars().map(plain).collect::<String>()),
        html: broken.page.clone(),
    }
}

/// The part of a page that shows what one case covered.
pub(super) fn coverage(heading: String, covered: &Covered) -> CoverageOf {
    let phases = covered.phases.iter().map(|counts| {
        let coverage = Coverage {
            powered: counts.powered,
            cuts: counts.cuts,
            worlds: counts.worlds,
        };
        (counts.doing.clone(), coverage)
    });
    CoverageOf {
        heading,
        worlds: covered.worlds,
        powered: covered.powered,
        cuts: covered.cuts,
        phases: phases.collect(),
    }
}
