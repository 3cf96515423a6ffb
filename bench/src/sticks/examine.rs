//! An image, a folder, an archive or a stick, examined with what the product folder knows.

use super::ExamineError;
use crate::{Bench, EXTENSION};
use packstaff_product::Keyring;
use packstaff_stick::SeekSource;
use packstaff_stick::examine::bundle::{Unpacked, archive, folder};
use packstaff_stick::examine::{Examination, Medium, Options, Original, UnitKind, examine_files};
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
    /// The highest issue that they have installed; 0 for none.
    pub floor: u64,
}

/// What is at the path.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// A folder of files.
    Folder,
    /// A zip archive of files.
    Archive,
    /// A zip archive with the image of a stick.
    ArchivedImage {
        /// The image's name in it.
        name: String,
    },
    /// The image of a stick.
    Image,
    /// A stick.
    Stick,
}

/// What an examination found, and where.
#[derive(Clone, Debug)]
pub struct Examined {
    /// What was examined.
    pub what: What,
    /// What was found.
    pub found: Examination,
    /// Whether units of a product were asked.
    pub units_asked: bool,
}

/// Examines what is at a path. With a bench and its keyring, the product's units are asked too. Reads only.
///
/// # Errors
/// It cannot be read at all, or a board or generation is not known.
pub fn examine(path: &Path, product: Option<(&Bench, &Keyring)>, ask: &Ask) -> Result<Examined, ExamineError> {
    let (units, originals) = match product {
        Some((bench, keyring)) => (units(bench, keyring, ask)?, originals(bench)?),
        None => (Vec::new(), Vec::new()),
    };
    let options = Options {
        medium: Medium::Stick,
        ending: EXTENSION,
        units: &units,
        originals: &originals,
    };
    let (what, found) = examine_any(path, &options)?;
    Ok(Examined {
        what,
        found,
        units_asked: !units.is_empty(),
    })
}

/// Finds out what is there, and examines it as that; the medium of `options` does not count.
fn examine_any(path: &Path, options: &Options<'_>) -> Result<(What, Examination), ExamineError> {
    use packstaff_stick::examine::examine;
    let options = |medium| Options { medium, ..*options };
    let unreadable = |error| ExamineError::Unreadable {
        path: path.to_owned(),
        error,
    };
    let metadata = std::fs::metadata(path).map_err(unreadable)?;
    if metadata.is_dir() {
        return Ok((What::Folder, examine_files(folder(path)?, &options(Medium::Files))?));
    }
    let mut file = File::open(path).map_err(unreadable)?;
    if metadata.is_file() && begins_like_an_archive(&mut file) {
        return match archive(path)? {
            Unpacked::Files(files) => Ok((What::Archive, examine_files(files, &options(Medium::Files))?)),
            Unpacked::Image { name, mut image } => {
                let found = examine(&mut image, &options(Medium::Image))?;
                Ok((What::ArchivedImage { name }, found))
            }
        };
    }
    let (what, medium) = match metadata.is_file() {
        true => (What::Image, Medium::Image),
        false => (What::Stick, Medium::Stick),
    };
    let mut source = SeekSource::new(file).map_err(|error| ExamineError::NoLength {
        path: path.to_owned(),
        error,
    })?;
    Ok((what, examine(&mut source, &options(medium))?))
}

fn begins_like_an_archive(file: &mut File) -> bool {
    let mut start = [0; 4];
    file.read_exact(&mut start).is_ok() && start == *b"PK\x03\x04"
}

/// Every kind of unit that is asked about.
fn units(bench: &Bench, keyring: &Keyring, ask: &Ask) -> Result<Vec<UnitKind>, ExamineError> {
    let boards: Vec<_> = match ask.boards.as_slice() {
        [] => bench.product.boards.iter().collect(),
        named => named.iter().map(|name| bench.board(name)).collect::<Result<_, _>>()?,
    };
    let keys = &bench.product.keys;
    if let Some(found) = ask.generations.iter().find(|name| keys.generation(name).is_none()) {
        let known: Vec<_> = keys.generations.iter().map(|known| known.id.as_str()).collect();
        return Err(ExamineError::NoGeneration {
            found: found.clone(),
            known: known.join(", "),
        });
    }
    let generations = match ask.generations.as_slice() {
        [] => &keys.serve,
        _ => &ask.generations,
    };
    let mut units = Vec::new();
    for board in boards {
        for generation in generations {
            units.push(UnitKind {
                name: format!("board {}, generation {generation}", board.revision),
                board: format!("board {}", board.revision),
                blueprint: bench.blueprint(board, keyring, generation)?,
                floor: ask.floor,
            });
        }
    }
    Ok(units)
}

/// Every file of the ledger, to compare damaged ones with.
fn originals(bench: &Bench) -> Result<Vec<Original>, ExamineError> {
    let mut originals = Vec::new();
    for release in bench.ledger.releases() {
        for board in &release.record.boards {
            originals.push(Original {
                name: format!("{} of {}", board.file, release.record.version),
                bytes: release.update_file(board)?,
            });
        }
    }
    Ok(originals)
}
