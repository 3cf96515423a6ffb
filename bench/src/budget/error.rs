//! Why a budget cannot be computed.

use crate::open::OpenError;
use packstaff_budget::OutOfRange;
use packstaff_envelope::{EncodeError, Refusal};
use packstaff_product::WhatIfError;
use packstaff_rehearsal::power_up::Ending;
use packstaff_stick::StickError;
use packstaff_unit::blueprint::BlueprintError;
use thiserror::Error;

/// Why a budget cannot be computed.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum BudgetError {
    /// Nothing is stated.
    #[error("product.toml has no [budget]")]
    Nothing,
    /// A value that cannot be tried.
    #[error(transparent)]
    Try(#[from] WhatIfError),
    /// The product folder lacks what is needed.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// A rate or a figure is out of its range.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The simulated unit cannot be made.
    #[error(transparent)]
    Unit(#[from] BlueprintError),
    /// The stick for the trial cannot be made.
    #[error(transparent)]
    Stick(#[from] StickError),
    /// The update file for the trial cannot be made.
    #[error("a file for a trial cannot be made: {0}")]
    Encode(#[from] EncodeError),
    /// The update file for the trial is refused.
    #[error("a file that was made for a trial does not open: {0}")]
    Refused(Refusal),
    /// The trial did not arrive.
    #[error("an image of {image_bytes} bytes cannot be installed on board {board}: {ending:?}")]
    NotInstalled {
        /// The board revision.
        board: String,
        /// Bytes of the image.
        image_bytes: u32,
        /// How the power-up ended.
        ending: Ending,
    },
}
