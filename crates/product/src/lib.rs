//! The product folder: product file, ledger and keyring.

#![forbid(unsafe_code)]

mod board;
mod date;
mod document;
mod hazard;
mod identity;
mod owner;
mod parts;
mod problem;
mod product_file;
mod range;
mod version;

pub use board::{Board, MemoryMap, Reserved, Supply};
pub use date::{Date, DateError};
pub use hazard::Hazard;
pub use identity::{Uuid, class_id, vendor_id};
pub use owner::{OwnerTexts, ScreenKind, Screens};
pub use parts::{FlashPart, PartBook};
pub use problem::{DocumentError, Fault, Problem};
pub use product_file::{
    FORMAT, Keys, LONGEST_GENERATION_ID, Maker, Policy, Product, UnitGeneration, Versions, is_generation_id,
};
pub use range::{Range, RangeError};
pub use version::{Clash, MAX_PLACES, Numbers, Scheme, Version, VersionError, lint};
