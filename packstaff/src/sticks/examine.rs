//! An image, a folder, an archive or a stick, examined with what the product folder knows.

use super::report::Report;
use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr, miette};
use packstaff_bench::open::{Bench, EXTENSION};
use packstaff_product::Keyring;
use packstaff_stick::SeekSource;
use packstaff_stick::examine::bundle::{Unpacked, archive, folder};
use packstaff_stick::examine::{Examination, Medium, Options, Original, UnitKind, Verdict};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Which units are asked about.
#[derive(Clone, Debug, Default)]
pub struct Ask {
    /// Board revisions; all, if there are none.
    pub boards: Vec<String>,
    /// Generations of keys; all that are served, if there are none.
    pub generations: Vec<String>,
    /// The highest issue that they have installed.
    pub floor: u64,
}

/// Examines what is at a path. With a bench and its keyring, the product's units are asked too.
///
/// # Errors
/// It cannot be read at all, or a board or generation is not known.
pub fn examine(path: &Path, product: Option<(&Bench, &Keyring)>, ask: &Ask) -> Result<Report> {
    let units = product.map_or(Ok(Vec::new()), |(bench, keyring)| units(bench, keyring, ask))?;
    let originals = product.map_or(Ok(Vec::new()), |(bench, _)| originals(bench))?;
    let options = |medium| Options {
        medium,
        ending: EXTENSION,
        units: &units,
        originals: &originals,
    };
    let unreadable = || format!("{} cannot be read", path.display());
    let metadata = std::fs::metadata(path).into_diagnostic().wrap_err_with(unreadable)?;
    let (what, found) = if metadata.is_dir() {
        let files = folder(path).into_diagnostic()?;
        ("a folder".to_owned(), files_of(files, &options(Medium::Files))?)
    } else {
        let mut file = File::open(path).into_diagnostic().wrap_err_with(unreadable)?;
        if metadata.is_file() && begins_like_an_archive(&mut file) {
            match archive(path).into_diagnostic()? {
                Unpacked::Files(files) => ("a zip archive".to_owned(), files_of(files, &options(Medium::Files))?),
                Unpacked::Image { name, mut image } => {
                    let found =
                        packstaff_stick::examine::examine(&mut image, &options(Medium::Image)).into_diagnostic()?;
                    (format!("a zip archive with the image {name}"), found)
                }
            }
        } else {
            let medium = if metadata.is_file() {
                Medium::Image
            } else {
                Medium::Stick
            };
            let mut source = SeekSource::new(file).into_diagnostic().wrap_err_with(|| {
                format!(
                    "{} is neither a file nor a stick: its length cannot be found",
                    path.display()
                )
            })?;
            let what = if medium == Medium::Image { "an image" } else { "a stick" };
            (
                what.to_owned(),
                packstaff_stick::examine::examine(&mut source, &options(medium)).into_diagnostic()?,
            )
        }
    };
    Ok(Report::new(path.display().to_string(), what, found, !units.is_empty()))
}

fn files_of(files: Vec<packstaff_stick::examine::LooseFile>, options: &Options<'_>) -> Result<Examination> {
    packstaff_stick::examine::examine_files(files, options).into_diagnostic()
}

fn begins_like_an_archive(file: &mut File) -> bool {
    let mut start = [0; 4];
    file.read_exact(&mut start).is_ok() && start == *b"PK\x03\x04"
}

fn units(bench: &Bench, keyring: &Keyring, ask: &Ask) -> Result<Vec<UnitKind>> {
    let mut units = Vec::new();
    let boards: Vec<_> = match ask.boards.as_slice() {
        [] => bench.product.boards.iter().collect(),
        named => named
            .iter()
            .map(|name| bench.board(name))
            .collect::<Result<_, _>>()
            .told()?,
    };
    for name in &ask.generations {
        if !bench
            .product
            .keys
            .generations
            .iter()
            .any(|generation| generation.id == *name)
        {
            let known: Vec<_> = bench
                .product
                .keys
                .generations
                .iter()
                .map(|generation| generation.id.as_str())
                .collect();
            return Err(miette!(
                "there is no generation {name:?} in product.toml, which has {}",
                known.join(", ")
            ));
        }
    }
    let generations = if ask.generations.is_empty() {
        &bench.product.keys.serve
    } else {
        &ask.generations
    };
    for board in boards {
        for generation in generations {
            units.push(UnitKind {
                name: format!("board {}, generation {generation}", board.revision),
                board: format!("board {}", board.revision),
                blueprint: bench.blueprint(board, keyring, generation).told()?,
                floor: ask.floor,
            });
        }
    }
    Ok(units)
}

/// Every file of the ledger, to compare damaged ones with.
fn originals(bench: &Bench) -> Result<Vec<Original>> {
    let mut originals = Vec::new();
    for release in bench.ledger.releases() {
        for board in &release.record.boards {
            originals.push(Original {
                name: format!("{} of {}", board.file, release.record.version),
                bytes: release.update_file(board).into_diagnostic()?,
            });
        }
    }
    Ok(originals)
}

/// One word for a verdict.
#[must_use]
pub const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Ready => "ready",
        Verdict::Doubtful => "doubtful",
        Verdict::NotReady => "not ready",
    }
}
