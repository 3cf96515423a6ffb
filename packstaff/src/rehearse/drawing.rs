//! The pictures of a rehearsal, in a folder.

use super::outcome::{Broken, Covered, Outcome};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_rehearsal::explore::Coverage;
use packstaff_rehearsal::picture::{CoverageOf, coverage_page};
use std::path::Path;

/// What is drawn of one case.
pub(super) struct Drawn<'a> {
    /// What covers it, as one of the pages' parts.
    pub(super) coverage: CoverageOf,
    /// What the names of its pages begin with.
    pub(super) file: String,
    /// The claims that do not hold.
    pub(super) broken: &'a [Broken],
}

/// Draws what was covered, and the story of each claim that does not hold. Gives the names of the files.
///
/// # Errors
/// A file cannot be written.
pub fn draw(folder: &Path, outcome: &Outcome) -> Result<Vec<String>> {
    let drawn = outcome.cases.iter().map(|case| Drawn {
        coverage: coverage(case.name(), &case.covered),
        file: format!("case-{}-board-{}", case.index + 1, case.board),
        broken: &case.covered.broken,
    });
    draw_all(folder, &outcome.product, drawn.collect())
}

/// The same of any cases, under a title.
pub(super) fn draw_all(folder: &Path, title: &str, cases: Vec<Drawn<'_>>) -> Result<Vec<String>> {
    std::fs::create_dir_all(folder)
        .into_diagnostic()
        .wrap_err_with(|| format!("{} cannot be made", folder.display()))?;
    let mut written = Vec::new();
    let mut write = |name: &str, page: &str| -> Result<()> {
        let path = folder.join(name);
        packstaff_product::write_whole(&path, page.as_bytes(), packstaff_product::Access::Shared).into_diagnostic()?;
        written.push(path.display().to_string());
        Ok(())
    };
    let (coverage, stories): (Vec<_>, Vec<_>) = cases
        .into_iter()
        .map(|case| (case.coverage, (case.file, case.broken)))
        .unzip();
    write("coverage.html", &coverage_page(title, &coverage))?;
    for (file, all_broken) in stories {
        for broken in all_broken {
            // Versions and revisions are the maker's words; a file's name keeps to letters that every system takes.
            let name = format!("{file}-{}", broken.claim);
            let plain = |char: char| if char.is_ascii_alphanumeric() { char } else { '-' };
            write(
                &format!("{}.html", name.chars().map(plain).collect::<String>()),
                &broken.page,
            )?;
        }
    }
    Ok(written)
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
