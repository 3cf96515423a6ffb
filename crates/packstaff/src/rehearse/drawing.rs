//! The pictures of a rehearsal, in a folder.

use super::outcome::{CaseOutcome, Outcome};
use miette::{IntoDiagnostic, Result, WrapErr};
use rehearsal::explore::Coverage;
use rehearsal::picture::{CoverageOf, coverage_page};
use std::path::Path;

/// Draws what was covered, and the story of each claim that does not hold. Gives the names of the files.
///
/// # Errors
/// A file cannot be written.
pub fn draw(folder: &Path, outcome: &Outcome) -> Result<Vec<String>> {
    std::fs::create_dir_all(folder)
        .into_diagnostic()
        .wrap_err_with(|| format!("{} cannot be made", folder.display()))?;
    let mut written = Vec::new();
    let mut write = |name: &str, page: &str| -> Result<()> {
        let path = folder.join(name);
        product::write_whole(&path, page.as_bytes(), product::Access::Shared).into_diagnostic()?;
        written.push(path.display().to_string());
        Ok(())
    };
    let coverage: Vec<_> = outcome.cases.iter().map(coverage).collect();
    write("coverage.html", &coverage_page(&outcome.product, &coverage))?;
    for case in &outcome.cases {
        for broken in &case.broken {
            // Versions and revisions are the maker's words; a file's name keeps to letters that every system takes.
            let name = format!("case-{}-board-{}-{}", case.index + 1, case.board, broken.claim);
            let plain = |char: char| if char.is_ascii_alphanumeric() { char } else { '-' };
            write(
                &format!("{}.html", name.chars().map(plain).collect::<String>()),
                &broken.page,
            )?;
        }
    }
    Ok(written)
}

fn coverage(case: &CaseOutcome) -> CoverageOf {
    let phases = case.phases.iter().map(|counts| {
        let coverage = Coverage {
            powered: counts.powered,
            cuts: counts.cuts,
            worlds: counts.worlds,
        };
        (counts.doing.clone(), coverage)
    });
    CoverageOf {
        heading: case.name(),
        worlds: case.worlds,
        powered: case.powered,
        cuts: case.cuts,
        phases: phases.collect(),
    }
}
