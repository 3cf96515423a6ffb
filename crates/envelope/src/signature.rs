//! The authentication wrapper: which manifest was signed, and by whom.

use crate::cbor::Cursor;
use crate::ids;
use crate::keys::{Anchor, Kid};
use crate::manifest::{count, digest, key_identifier};
use crate::refusal::{Fault, Part, Refusal};

/// Most authentication blocks in a wrapper.
pub const BLOCKS_MAX: u64 = 2;

/// Bytes of an encoded SUIT_Digest with SHA-256: `82 2f 58 20` and the digest.
const DIGEST_ITEM: usize = 36;
/// The protected header of a signature: `{1: -19}`.
const PROTECTED: [u8; 3] = [0xa1, 0x01, 0x32];
/// `["Signature1", {1: -19} in bytes, no further data, 36 bytes ...`: all of a Sig_structure but its last bytes.
const SIG_PREFIX: [u8; 19] = *b"\x84\x6aSignature1\x43\xa1\x01\x32\x40\x58\x24";
/// Bytes of a Sig_structure.
pub const SIG_STRUCTURE: usize = SIG_PREFIX.len() + DIGEST_ITEM;

/// What is signed (RFC 9052, 4.4): the Sig_structure over the SUIT_Digest of a manifest with this digest.
pub fn sig_structure(manifest_digest: &[u8; 32]) -> [u8; SIG_STRUCTURE] {
    let mut out = [0; SIG_STRUCTURE];
    let parts = SIG_PREFIX.iter().chain(b"\x82\x2f\x58\x20").chain(manifest_digest);
    out.iter_mut().zip(parts).for_each(|(place, byte)| *place = *byte);
    out
}

/// One authentication block.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Block<'a> {
    /// A COSE_Sign1 with Ed25519.
    Ed25519 { kid: Kid, signature: &'a [u8; 64] },
    /// Another kind of object, or a COSE_Sign1 with another algorithm: for readers that know it.
    Foreign {
        #[cfg_attr(not(feature = "alloc"), allow(dead_code, reason = "only told to people"))]
        algorithm: Option<i64>,
    },
}

/// The wrapper's content.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wrapper<'a> {
    pub(crate) digest: &'a [u8; 32],
    blocks: u64,
    rest: Cursor<'a>,
}

impl<'a> Wrapper<'a> {
    /// Reads the digest and the number of blocks.
    pub(crate) fn read(wrapper: &'a [u8]) -> Result<Self, Refusal> {
        let mut cursor = Cursor::new(wrapper, Part::Wrapper);
        let blocks = match cursor.array()?.checked_sub(1) {
            Some(0) => return Err(Refusal::NoSignature),
            Some(blocks) if blocks <= BLOCKS_MAX => blocks,
            _ => return Err(cursor.fault(Fault::Value)),
        };
        let mut inner = cursor.wrapped(Part::Wrapper)?;
        let digest = digest(&mut inner)?;
        inner.end()?;
        Ok(Self {
            digest,
            blocks,
            rest: cursor,
        })
    }

    /// Reads all blocks and gives each to `block`.
    pub(crate) fn blocks(&self, block: &mut dyn FnMut(Block<'a>)) -> Result<(), Refusal> {
        let mut cursor = self.rest;
        for _ in 0..self.blocks {
            block(read_block(cursor.wrapped(Part::Signature)?)?);
        }
        cursor.end()
    }

    /// Checks the signatures over the wrapper's digest.
    ///
    /// The policy: every block that this unit can check must hold, and there must be at least one. A block can be
    /// checked if it is Ed25519 and its key identifier is that of an anchor; other blocks are for other readers.
    /// Key identifiers need not be unique (RFC 9052, 3.1): it is enough that one anchor of that name verifies.
    pub(crate) fn verify(&self, anchors: &[Anchor]) -> Result<(), Refusal> {
        let signed = sig_structure(self.digest);
        let (mut good, mut bad, mut stranger, mut foreign) = (false, false, false, false);
        self.blocks(&mut |block| match block {
            Block::Foreign { .. } => foreign = true,
            Block::Ed25519 { kid, signature } => {
                let mut named = anchors.iter().filter(|anchor| anchor.kid == kid).peekable();
                stranger |= named.peek().is_none();
                if named.peek().is_some() {
                    let holds = named.any(|anchor| ed25519_holds(&anchor.key, &signed, signature));
                    good |= holds;
                    bad |= !holds;
                }
            }
        })?;
        match (bad, good, stranger, foreign) {
            (true, ..) => Err(Refusal::BadSignature),
            (false, true, ..) => Ok(()),
            (false, false, false, true) => Err(Refusal::UnknownAlgorithm(Part::Signature)),
            _ => Err(Refusal::UnknownSigner),
        }
    }
}

fn read_block(cursor: Cursor<'_>) -> Result<Block<'_>, Refusal> {
    let mut cursor = cursor;
    if cursor.tag()? != ids::TAG_SIGN1 {
        return Ok(Block::Foreign { algorithm: None });
    }
    count(&mut cursor, 4)?;
    let protected = cursor.bytes()?;
    let algorithm = stated_algorithm(protected)?;
    if algorithm != ids::ALG_ED25519 {
        return Ok(Block::Foreign {
            algorithm: Some(algorithm),
        });
    }
    if protected != PROTECTED {
        return Err(Refusal::UnknownCritical(Part::Signature));
    }
    let mut kid = None;
    let mut keys = cursor.map()?;
    while let Some(key) = keys.next_uint(&mut cursor)? {
        match key {
            ids::LABEL_KID => kid = Some(key_identifier(&mut cursor)?),
            _ => return Err(Refusal::UnknownCritical(Part::Signature)),
        }
    }
    let kid = kid.ok_or(Refusal::Missing(Part::Signature))?;
    // The signed payload is detached: it is the digest in the wrapper.
    cursor.null()?;
    let signature = cursor.array_of()?;
    cursor.end()?;
    Ok(Block::Ed25519 { kid, signature })
}

/// The algorithm in a protected header: label 1, which sorts first.
fn stated_algorithm(protected: &[u8]) -> Result<i64, Refusal> {
    let mut cursor = Cursor::new(protected, Part::Signature);
    let mut keys = cursor.map()?;
    match keys.next_uint(&mut cursor)? {
        Some(ids::LABEL_ALG) => cursor.int(),
        _ => Err(Refusal::Missing(Part::Signature)),
    }
}

/// Ed25519 (RFC 8032, 5.1.7), and neither the key nor the signature's point of small order.
///
/// On a unit by the small code of [`crate::compact`], elsewhere by the library, which is faster: the rehearsal verifies often.
pub fn ed25519_holds(key: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> bool {
    #[cfg(target_os = "none")]
    return crate::compact::ed25519::holds(key, message, signature);
    #[cfg(not(target_os = "none"))]
    ed25519_dalek::VerifyingKey::from_bytes(key).is_ok_and(|key| {
        let signature = ed25519_dalek::Signature::from_bytes(signature);
        key.verify_strict(message, &signature).is_ok()
    })
}
