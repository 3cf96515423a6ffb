//! The update file: a SUIT envelope, written on the host and read on the unit without allocation.
//!
//! The file is a profile of open standards: CBOR (RFC 8949), COSE (RFC 9052, 9053, 9459, 9864) and the IETF's SUIT
//! manifest and firmware encryption drafts. `docs/src/update-file.md` has it byte by byte; [`ids`] has every number with
//! its source.
//!
//! # On the unit
//!
//! [`HeaderReader`] is fed the file's bytes as they come from the stick. It keeps the wrapper and the manifest, digests
//! the text, and stops at the payload's first byte. [`HeaderReader::verify`] then checks, in this order: the manifest's
//! digest, the signatures, and only then what the manifest says. The payload is digested with [`Sha256`] and decrypted
//! with [`PayloadCipher`], at any offset and as often as needed.
//!
//! Nothing there allocates, recurses or panics, whatever the bytes; all state is plain data that can be copied,
//! compared and hashed. The memory needed is that of the reader: [`HEADER_MAX`] bytes and a little more.
//!
//! There is no command interpreter. SUIT's command sequences are compared with one fixed arrangement, whose values
//! alone are free: identifiers, digests, sizes, sequence number, version, IV, recipients, reporting policies.
//!
//! # What is refused and what is skipped
//!
//! A file must be exactly of this profile; whatever is unknown is taken to be critical and refused. Three things only
//! are skipped, because nothing depends on them:
//!
//! - A second **authentication block** that this unit cannot check: another COSE object, another algorithm, or a key
//!   that it does not know. Every block that it can check must hold, and there must be at least one.
//! - **Recipients** for other generations of units. They must be well-formed and use the same key wrap.
//! - **Text**. The unit checks its digest and does not parse it; the host's reader skips text that it does not know.
//!   Anybody may cut the text off, which the standard calls severing; nobody can put another one in its place.
//!
//! **Reporting policies** are read, bounded, and not followed. Everything else is covered: unknown keys of the envelope
//! or the manifest, unknown parameters, commands and COSE labels, other algorithms, severed command sequences,
//! dependencies, more than one payload, and any encoding but the deterministic one.
//!
//! The signature does not cover the wrapper's second block, nor that there is a text. In a file with one block and a
//! text, every changed bit is refused.
//!
//! # On the host
//!
//! With the feature `alloc`: [`encode()`] writes a file and reads it back before it gives it out, [`open()`] does with a
//! whole file what a unit does, and [`look()`] says what a file holds without any key.
//!
//! ```
//! # #[cfg(feature = "alloc")] {
//! use ed25519_dalek::{Signer, SigningKey};
//! use envelope::{Anchor, Draft, Kid, UnitKey, encode_checked, open};
//!
//! let signing_key = SigningKey::from_bytes(&[1; 32]); // for the example only: real keys are random
//! let anchor = Anchor { kid: Kid::new(b"maker-1").unwrap(), key: signing_key.verifying_key().to_bytes() };
//! let generation = UnitKey { kid: Kid::new(b"g1").unwrap(), key: [2; 32] };
//! let draft = Draft {
//!     sequence: 1,
//!     version: &[2, 1],
//!     vendor: [3; 16],
//!     class: [4; 16],
//!     image: b"the image",
//!     text: &[],
//!     recipients: &[generation.clone()],
//!     content_key: [5; 32], // for the example only: fresh random bytes for every file
//!     iv: envelope::encode::iv([6; 12]),
//! };
//! let file = encode_checked(&draft, &anchor, |bytes| signing_key.sign(bytes).to_bytes())?;
//! assert_eq!(open(&file, &[anchor], &generation)?.image, b"the image");
//! # }
//! # Ok::<(), Box<dyn core::error::Error>>(())
//! ```
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]

#[cfg(feature = "alloc")]
extern crate alloc;

pub mod cbor;
pub mod cipher;
pub mod compact;
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
pub use sha256::{Sha256, copy, sha256};
#[cfg(feature = "alloc")]
pub use text::{TextEntry, TextItem};
pub use version::VersionNumbers;
