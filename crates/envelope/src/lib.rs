//! The update file: a SUIT envelope, written on the host and read on the unit without allocation.
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]

#[cfg(feature = "alloc")]
extern crate alloc;

pub mod cbor;
pub mod cipher;
#[cfg(feature = "alloc")]
pub mod encode;
mod header;
pub mod ids;
mod keys;
#[cfg(feature = "alloc")]
pub mod look;
mod manifest;
#[cfg(feature = "alloc")]
pub mod open;
mod refusal;
mod sha256;
pub mod signature;
#[cfg(feature = "alloc")]
pub mod text;
mod version;

pub use cipher::PayloadCipher;
#[cfg(feature = "alloc")]
pub use encode::{Draft, EncodeError, encode, encode_checked};
pub use header::{Fed, HEADER_MAX, HeaderReader, TEXT_MAX};
pub use keys::{Anchor, ContentKey, KID_MAX, Kid, UnitKey};
#[cfg(feature = "alloc")]
pub use look::{Unverified, look};
pub use manifest::{Manifest, RECIPIENTS_MAX};
#[cfg(feature = "alloc")]
pub use open::{Opened, open};
pub use refusal::{Fault, Part, Refusal, Where};
pub use sha256::{Sha256, sha256};
#[cfg(feature = "alloc")]
pub use text::{TextEntry, TextItem};
pub use version::VersionNumbers;
