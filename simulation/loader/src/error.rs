//! Why there is no rehearsal of a maker's own loader.

use crate::fault::LoaderFault;
use packstaff_rehearsal::explore::{Strayed, Unfinished};
use packstaff_unit::flash::FlashFault;
use std::path::PathBuf;
use thiserror::Error;

/// Why.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum RehearsalError {
    /// A file could not be read.
    #[error("{} cannot be read: {why}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// The description is no text.
    #[error("{} is not UTF-8 text", path.display())]
    NotText {
        /// Which.
        path: PathBuf,
    },
    /// The description cannot be understood.
    #[error("{} cannot be understood:\n{why}", path.display())]
    Description {
        /// Which.
        path: PathBuf,
        /// Where, and what was expected there.
        why: String,
    },
    /// The description does not fit together.
    #[error("{}: {why}", path.display())]
    Unfit {
        /// Which.
        path: PathBuf,
        /// What does not fit.
        why: String,
    },
    /// An image is another one than the description says.
    #[error("{} has the SHA-256 digest {found}, and the description says {expected}", path.display())]
    OtherImage {
        /// The image.
        path: PathBuf,
        /// Its digest.
        found: String,
        /// As described.
        expected: String,
    },
    /// A stick image that is not whole blocks.
    #[error("{} has {bytes} bytes, which is not whole blocks of {} bytes", path.display(), packstaff_fat::BLOCK)]
    NotWholeBlocks {
        /// The stick image.
        path: PathBuf,
        /// Its size.
        bytes: usize,
    },
    /// What a unit holds at first cannot be put into its flash.
    #[error("what unit {unit:?} holds at first does not go into its flash: {why}")]
    Contents {
        /// Which unit.
        unit: String,
        /// Why.
        why: FlashFault,
    },
    /// The loader fails with no fault of power, stick or flash.
    #[error("{}, in unit {unit:?} with {stick} and nothing going wrong: {fault}", loader.display())]
    Loader {
        /// The loader's file.
        loader: PathBuf,
        /// The unit.
        unit: String,
        /// What is in it.
        stick: String,
        /// What is wrong.
        fault: Box<LoaderFault>,
    },
    /// The loader cannot be run at all.
    #[error("{}: {fault}", loader.display())]
    Module {
        /// The loader's file.
        loader: PathBuf,
        /// What is wrong.
        fault: Box<LoaderFault>,
    },
    /// A unit that was to be made by an install does not run what the stick installs.
    #[error("unit {unit:?} was to be made with {stick}, but there the loader {ended}")]
    NotMade {
        /// The unit.
        unit: String,
        /// The stick.
        stick: String,
        /// What it came to.
        ended: String,
    },
    /// The exploration ended without an answer.
    #[error("the exploration has no answer: {0}")]
    Unfinished(#[from] Unfinished),
    /// A story that was found cannot be told.
    #[error("a claim does not hold, and the way to it is lost: {0}")]
    Strayed(#[from] Strayed),
}

impl RehearsalError {
    /// What to do about it.
    pub fn help(&self) -> String {
        let help = match self {
            Self::File { .. } => "Check the path; paths in unit.toml are relative to its folder.",
            Self::NotText { .. } | Self::Description { .. } | Self::Unfit { .. } => {
                "docs/src/own-loader.md describes every entry of unit.toml; examples/own-loader has one that works."
            }
            Self::OtherImage { .. } => {
                "If the new image is meant, put its digest into unit.toml (sha256sum prints it); otherwise fetch the right file."
            }
            Self::NotWholeBlocks { .. } => {
                "Fill the image up to whole blocks, as a stick has them: truncate -s %512 FILE."
            }
            Self::Contents { .. } => "Contents begin and end at whole granules, inside the flash, and do not overlap.",
            Self::Loader { fault, .. } | Self::Module { fault, .. } => return fault.help(),
            Self::NotMade { .. } => {
                "A good stick, in a unit to which nothing happens, must end in packstaff_start of its image at the slot's first \
                 address. Look at the stick's image and at slot in unit.toml."
            }
            Self::Unfinished(Unfinished::TooLarge(_)) => {
                "Rehearse a smaller unit: what a cut can do does not depend on the size. Two sectors of 256 bytes, an image of some \
                 hundred bytes and few sticks show the same mistakes. Larger programs mean fewer cuts. Or switch single faults off \
                 with --faults or under [faults], or allow for more: with --nodes, or nodes under [limits]."
            }
            Self::Strayed(_) => "Please report it, with the loader: a sandbox must answer the same each time.",
            Self::Unfinished(Unfinished::Unsound { .. }) => {
                "A range under erased_before_read is read before it is erased: leave it out of the list."
            }
            Self::Unfinished(Unfinished::Endless) => {
                "The loader tries again and again without an end: let it give up with packstaff_wait; or lower calls under [limits] \
                 to see where."
            }
        };
        help.to_owned()
    }
}
