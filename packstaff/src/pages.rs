//! Pages of HTML, written into a folder.

use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_words::rehearse::Page;
use std::path::Path;

/// Writes pages into a folder, which is made if it is not there. Gives the names of the files.
///
/// # Errors
/// The folder cannot be made, or a file not be written.
pub(crate) fn write(folder: &Path, pages: &[Page]) -> Result<Vec<String>> {
    std::fs::create_dir_all(folder)
        .into_diagnostic()
        .wrap_err_with(|| format!("{} cannot be made", folder.display()))?;
    let written = pages.iter().map(|page| {
        let path = folder.join(&page.name);
        packstaff_product::write_whole(&path, page.html.as_bytes(), packstaff_product::Access::Shared)
            .into_diagnostic()?;
        Ok(path.display().to_string())
    });
    written.collect()
}
