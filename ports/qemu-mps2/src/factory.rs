//! What the factory writes into each unit, and no install changes: who it is, whom it trusts, and the key of its generation.
//!
//! | offset | bytes | |
//! | --- | --- | --- |
//! | 0 | 4 | `PKU1` |
//! | 4 | 16 | vendor identifier |
//! | 20 | 16 | class identifier |
//! | 36 | 3 | ending of update files' names |
//! | 39 | 1 | how many sibling identifiers count, at most 4 |
//! | 40 | 64 | class identifiers of the product's other boards |
//! | 104 | 1 + 16 | length of the trusted key's identifier, and the identifier |
//! | 121 | 32 | the trusted key (Ed25519) |
//! | 153 | 1 + 16 | length of the unit key's identifier, and the identifier |
//! | 170 | 32 | the unit key |

use packstaff_envelope::{Anchor, Kid, UnitKey};

/// Siblings that there is room for.
const SIBLINGS: usize = 4;

/// Who a unit is.
pub struct Identity {
    /// Vendor identifier.
    pub vendor: [u8; 16],
    /// Class identifier.
    pub class: [u8; 16],
    /// Ending of update files' names.
    pub extension: [u8; 3],
    siblings: [[u8; 16]; SIBLINGS],
    sibling_count: u8,
    /// Whom it trusts.
    pub anchor: Anchor,
    /// The key of its generation.
    pub key: UnitKey,
}

impl Identity {
    /// Reads what the factory wrote; `None` if it is not whole.
    pub fn read(bytes: &[u8]) -> Option<Self> {
        let (mark, bytes) = bytes.split_first_chunk::<4>()?;
        let (vendor, bytes) = bytes.split_first_chunk()?;
        let (class, bytes) = bytes.split_first_chunk()?;
        let (extension, bytes) = bytes.split_first_chunk()?;
        let (sibling_count, bytes) = bytes.split_first()?;
        let (siblings, bytes) = bytes.split_first_chunk::<{ SIBLINGS * 16 }>()?;
        let (siblings, _) = siblings.as_chunks::<16>();
        let (anchor_kid, bytes) = kid(bytes)?;
        let (anchor_key, bytes) = bytes.split_first_chunk()?;
        let (key_kid, bytes) = kid(bytes)?;
        let key = bytes.first_chunk()?;
        (mark == b"PKU1").then_some(Self {
            vendor: *vendor,
            class: *class,
            extension: *extension,
            siblings: *siblings.first_chunk()?,
            sibling_count: *sibling_count,
            anchor: Anchor::ed25519(anchor_kid, *anchor_key),
            key: UnitKey {
                kid: key_kid,
                key: *key,
            },
        })
    }

    /// Class identifiers of the product's other boards.
    pub fn siblings(&self) -> &[[u8; 16]] {
        self.siblings
            .get(..usize::from(self.sibling_count))
            .unwrap_or(&self.siblings)
    }
}

fn kid(bytes: &[u8]) -> Option<(Kid, &[u8])> {
    let (len, bytes) = bytes.split_first()?;
    let (kid, bytes) = bytes.split_first_chunk::<16>()?;
    Some((Kid::new(kid.get(..usize::from(*len))?)?, bytes))
}
