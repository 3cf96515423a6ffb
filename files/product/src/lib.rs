//! The product folder: product file, ledger and keyring.
//!
//! - [`Product`] is what the maker declares in `product.toml`: boards and their memory maps, versions, hazards, keys,
//!   words. Reading one complains about everything that is wrong, each with its line, what was found, what was expected
//!   and what to do.
//! - [`Scheme`] maps version texts to the integers that decide what is newer.
//! - [`Ledger`] is the record of every release and the archive of its update files.
//! - [`KeyringFile`] is the signing key and the unit keys, sealed in an age file.
//!
//! Memory maps are checked against the parts table that the caller gives. Dates come from the caller too: nothing here
//! looks at a clock.
//!
//! ```
//! use packstaff_product::Scheme;
//!
//! let (older, newer) = (Scheme::Dotted.read("3.9")?, Scheme::Dotted.read("3.10")?);
//! assert!(older.numbers() < newer.numbers());
//! let refused = Scheme::Dotted.read("3.09").unwrap_err();
//! assert_eq!(refused.advice(), "Write the number without it: an owner reads 1.08 and 1.8 as the same.");
//! # Ok::<(), packstaff_product::VersionError>(())
//! ```

#![forbid(unsafe_code)]

mod board;
mod budget;
mod flash;
mod hazard;
mod identity;
pub mod keyring;
pub mod ledger;
mod owner;
mod product_file;
mod second_place;
mod version;
mod whole_file;

// What the types here are made of.
pub use packstaff_document::{Date, DateError, DocumentError, Fault, Problem, Range, RangeError};
pub use packstaff_parts::PartsTable;

pub use board::{Board, MemoryMap, Reserved, Supply};
pub use budget::{
    BoardBudget, Budget, CutsSeen, Finish, PowerOff, Quantity, Regulator, Save, UpdateRates, WhatIfError,
};
pub use hazard::Hazard;
pub use identity::{Uuid, class_id, vendor_id};
pub use keyring::{Keyring, KeyringError, KeyringFile, NewKeyring, Unlock};
pub use ledger::{Ledger, LedgerError, Record};
pub use owner::{OwnerTexts, ScreenKind, Screens};
pub use product_file::{
    FORMAT, Keys, LONGEST_GENERATION_ID, Maker, Policy, Product, SignatureKind, UnitGeneration, Versions,
    is_generation_id,
};
pub use second_place::{SecondPlace, StageMemory};
pub use version::{Clash, MAX_PLACES, Numbers, Scheme, Version, VersionError, lint};
pub use whole_file::{Access, FileError, PASSING, write_new, write_whole};
