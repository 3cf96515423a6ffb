//! What a file is. Nothing here needs a key, and nothing is verified.

mod build;
mod stick;
mod texts;

pub use stick::{Held, HeldFile, StickSeen};
pub use texts::{RecordedReport, ReportSection};

use crate::OpenError;
use crate::notes::Notes;
use packstaff_document::DocumentError;
use packstaff_envelope::Refusal;
use packstaff_envelope::look::Unverified;
use packstaff_image::{Build, Format};
use packstaff_product::{Product, Record};
use std::io::{self, Read, Seek};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What a file is, and what it holds.
#[derive(Debug)]
#[non_exhaustive]
pub enum Description {
    /// An update file, whose signature nobody checked.
    Update {
        /// What it says of itself.
        seen: Box<Unverified>,
        /// SHA-256 of all of it.
        sha256: [u8; 32],
    },
    /// An update file that cannot be read.
    DamagedUpdate {
        /// Its bytes.
        bytes: u64,
        /// What a unit would say.
        refusal: Refusal,
    },
    /// A build.
    Build {
        /// What it places.
        build: Box<Build>,
        /// The first two words of its first segment: for a Cortex-M the stack's start and the reset vector.
        first_words: Option<[u32; 2]>,
    },
    /// A build that cannot be used.
    UnusableBuild {
        /// Its format.
        format: Format,
        /// Why.
        error: packstaff_image::ReadError,
    },
    /// A stick image.
    Stick(Box<StickSeen>),
    /// A stick image that a unit cannot read.
    UnreadableStick {
        /// Its bytes.
        bytes: u64,
        /// Why.
        error: packstaff_stick::ReadError,
    },
    /// Sealed with age: a keyring, perhaps.
    Sealed,
    /// An age identity: a secret key.
    Identity,
    /// A public key in PEM form.
    PublicKey,
    /// The report of a release.
    Report(RecordedReport),
    /// The notes of a release.
    Notes(Notes),
    /// A web page; a sheet, perhaps.
    WebPage,
    /// A maker's own table of parts: identifier and name of each.
    Parts(Vec<(String, String)>),
    /// A table of parts that cannot be used.
    UnusableParts(DocumentError),
    /// A product file.
    Product {
        /// What it says.
        product: Box<Product>,
        /// What the parts table had to say about it.
        fit: PartsFit,
    },
    /// A product file that cannot be used.
    UnusableProduct(OpenError),
    /// A record of the ledger.
    Record(Box<Record>),
    /// Too large for anything that is looked into as a whole.
    TooLarge(Size),
    /// Nothing that is known; a raw binary, perhaps.
    Unknown {
        /// Its bytes.
        bytes: u64,
        /// SHA-256 of all of it.
        sha256: [u8; 32],
    },
}

/// Whether a product file's boards were looked up in a parts table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartsFit {
    /// They fit the built-in table.
    BuiltIn,
    /// They do not. They may have parts of the maker's own table, which is not at hand.
    NotBuiltIn,
}

/// Bytes of a file that is not read as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// As many.
    Exactly(u64),
    /// What has no length has given more.
    MoreThan(u64),
}

/// Why nothing can be said about a file.
#[derive(Debug, Error)]
#[error("{} cannot be read: {error}", path.display())]
pub struct LookError {
    /// The file.
    path: PathBuf,
    /// What the system said.
    #[source]
    error: io::Error,
}

/// Largest file that is read as a whole. Stick images are read block by block, whatever their size.
const WHOLE_MAX: u64 = 64 << 20;
/// How update files begin: CBOR tag 107 (SUIT envelope).
const UPDATE_TAG: [u8; 2] = [0xd8, 0x6b];

/// Looks at a file.
///
/// # Errors
/// It cannot be read.
pub fn look(path: &Path) -> Result<Description, LookError> {
    look_into(path).map_err(|error| LookError {
        path: path.to_owned(),
        error,
    })
}

fn look_into(path: &Path) -> io::Result<Description> {
    let mut file = std::fs::File::open(path)?;
    let size = file.metadata()?.len();
    if let Some(description) = stick::look(&mut file) {
        return Ok(description);
    }
    if size > WHOLE_MAX {
        return Ok(Description::TooLarge(Size::Exactly(size)));
    }
    // What is no ordinary file may say that it is empty, and then never end.
    let mut bytes = Vec::new();
    // A pipe cannot go back, and nothing has been read from it yet.
    let _ = file.rewind();
    file.take(WHOLE_MAX + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > WHOLE_MAX {
        return Ok(Description::TooLarge(Size::MoreThan(WHOLE_MAX)));
    }
    Ok(describe(&path.display().to_string(), &bytes))
}

/// Describes a file's contents; `name` is only for messages. Stick images are recognised by [`look`].
pub fn describe(name: &str, bytes: &[u8]) -> Description {
    update(bytes)
        .or_else(|| texts::look(name, bytes))
        .or_else(|| build::look(bytes))
        .unwrap_or_else(|| Description::Unknown {
            bytes: bytes.len() as u64,
            sha256: packstaff_envelope::sha256(bytes),
        })
}

fn update(file: &[u8]) -> Option<Description> {
    if !file.starts_with(&UPDATE_TAG) {
        return None;
    }
    Some(match packstaff_envelope::look(file) {
        Ok(seen) => Description::Update {
            seen: Box::new(seen),
            sha256: packstaff_envelope::sha256(file),
        },
        Err(refusal) => Description::DamagedUpdate {
            bytes: file.len() as u64,
            refusal,
        },
    })
}
