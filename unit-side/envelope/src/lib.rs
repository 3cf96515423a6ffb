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
//!   that it does not know. Every block that it can check must hold, and of each kind of key that it trusts, Ed25519 or
//!   HSS-LMS, there must be one.
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
//! # Signatures
//!
//! The feature `ed25519`, on by default, checks Ed25519; `hss-lms` checks HSS-LMS ([`hss`]), with SHA-256 alone. Either is
//! enough. A unit without `hss-lms` has less room for a header, unless it has `wide-header`.
//!
//! # On the host
//!
//! With the feature `alloc`: [`encode()`] writes a file and reads it back before it gives it out, [`open()`] does with a
//! whole file what a unit does, and [`look()`] says what a file holds without any key.
//!
//! ```
//! # #[cfg(all(feature = "alloc", feature = "ed25519"))] {
//! use ed25519_dalek::{Signer, SigningKey};
//! use packstaff_envelope::{Anchor, Draft, Kid, UnitKey, encode_checked, open};
//!
//! let signing_key = SigningKey::from_bytes(&[1; 32]); // for the example only: real keys are random
//! let anchor = Anchor::ed25519(Kid::new(b"maker-1").unwrap(), signing_key.verifying_key().to_bytes());
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
//!     iv: packstaff_envelope::encode::iv([6; 12]),
//! };
//! let file = encode_checked(&draft, &anchor, |bytes| signing_key.sign(bytes).to_bytes())?;
//! assert_eq!(open(&file, &[anchor], &generation)?.image, b"the image");
//! # }
//! # Ok::<(), Box<dyn core::error::Error>>(())
//! ```
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]

#[cfg(not(any(feature = "ed25519", feature = "hss-lms")))]
compile_error!(
    "a unit that checks no signature would run anybody's image: switch on the feature `ed25519` or `hss-lms`"
);

#[cfg(feature = "alloc")]
extern crate alloc;

pub mod cbor;
pub mod cipher;
pub mod compact;
#[cfg(feature = "alloc")]
pub mod encode;
mod header;
#[cfg(feature = "hss-lms")]
pub mod hss;
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
pub use encode::{Draft, EncodeError, Signer, encode_signed};
#[cfg(all(feature = "alloc", feature = "ed25519"))]
pub use encode::{encode, encode_checked};
pub use header::{Fed, HEADER_MAX, HEADER_MAX_NARROW, HEADER_MAX_WIDE, HeaderReader, TEXT_MAX};
pub use keys::{Anchor, ContentKey, KID_MAX, Kid, PublicKey, UnitKey};
#[cfg(feature = "alloc")]
pub use look::{Unverified, look};
pub use manifest::{Manifest, RECIPIENTS_MAX};
#[cfg(feature = "alloc")]
pub use open::{Opened, open};
pub use refusal::{Fault, Part, Refusal, Where};
pub use sha256::{Sha256, copy, same_digest, sha256};
pub use signature::Algorithm;
#[cfg(feature = "alloc")]
pub use text::{TextEntry, TextItem};
pub use version::VersionNumbers;
