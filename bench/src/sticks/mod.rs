//! Sticks: made of what the ledger has, brought to where they are needed, and examined.

mod bring;
mod error;
mod examine;
mod make;

pub use bring::{Filled, Made, into_folder, onto_device, to_image};
pub use error::{ExamineError, MakeError};
pub use examine::{Ask, Examined, What, examine};
pub use make::{Division, Shape, StickVersion, UpdateFile, files, recorded, spec};
