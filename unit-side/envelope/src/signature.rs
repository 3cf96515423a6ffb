//! The authentication wrapper: which manifest was signed, and by whom.

use crate::cbor::Cursor;
use crate::ids;
use crate::keys::{Anchor, Kid, PublicKey};
use crate::manifest::{count, digest, key_identifier};
use crate::refusal::{Fault, Part, Refusal};
use crate::sha256::copy;

/// Most authentication blocks in a wrapper.
pub const BLOCKS_MAX: u64 = 2;

/// How a manifest is signed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Algorithm {
    /// Ed25519 (RFC 9864, 2.2).
    Ed25519,
    /// HSS-LMS (RFC 8778).
    HssLms,
}

impl Algorithm {
    /// The protected header: `{1: -19}` or `{1: -46}`.
    pub const fn protected(self) -> &'static [u8] {
        match self {
            Self::Ed25519 => &[0xa1, 0x01, 0x32],
            Self::HssLms => &[0xa1, 0x01, 0x38, 0x2d],
        }
    }

    /// All of a Sig_structure but the digest: `["Signature1", protected header, no further data, ...`, and the beginning of the
    /// SUIT_Digest in a byte string.
    const fn before_digest(self) -> &'static [u8] {
        match self {
            Self::Ed25519 => b"\x84\x6aSignature1\x43\xa1\x01\x32\x40\x58\x24\x82\x2f\x58\x20",
            Self::HssLms => b"\x84\x6aSignature1\x44\xa1\x01\x38\x2d\x40\x58\x24\x82\x2f\x58\x20",
        }
    }

    /// Its number in COSE.
    #[cfg(feature = "alloc")]
    pub const fn number(self) -> i64 {
        match self {
            Self::Ed25519 => ids::ALG_ED25519,
            Self::HssLms => ids::ALG_HSS_LMS,
        }
    }

    /// A bit of its own in a set of kinds.
    const fn bit(self) -> u8 {
        match self {
            Self::Ed25519 => 1,
            Self::HssLms => 2,
        }
    }

    const fn of(number: i64) -> Option<Self> {
        match number {
            ids::ALG_ED25519 if cfg!(feature = "ed25519") => Some(Self::Ed25519),
            ids::ALG_HSS_LMS if cfg!(feature = "hss-lms") => Some(Self::HssLms),
            _ => None,
        }
    }
}

/// What is signed (RFC 9052, 4.4): a Sig_structure over the SUIT_Digest of a manifest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SigStructure {
    bytes: [u8; SIG_STRUCTURE_MAX],
    len: usize,
}

/// Bytes of a Sig_structure, at most.
pub const SIG_STRUCTURE_MAX: usize = 56;

impl SigStructure {
    /// The structure for a manifest with this digest.
    pub fn new(algorithm: Algorithm, manifest_digest: &[u8; 32]) -> Self {
        let start = algorithm.before_digest();
        let mut out = Self {
            bytes: [0; SIG_STRUCTURE_MAX],
            len: start.len().saturating_add(manifest_digest.len()),
        };
        copy(&mut out.bytes, start);
        copy(out.bytes.get_mut(start.len()..).unwrap_or_default(), manifest_digest);
        out
    }

    /// Its bytes.
    pub fn as_bytes(&self) -> &[u8] {
        self.bytes.get(..self.len).unwrap_or_default()
    }
}

/// One authentication block.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Block<'a> {
    /// A COSE_Sign1 that this build can check.
    Known {
        algorithm: Algorithm,
        kid: Kid,
        signature: &'a [u8],
    },
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
    /// The policy: every block that this unit can check must hold, and of each kind of key that the unit trusts there must be
    /// at least one. A block can be checked if its algorithm and its key identifier are those of an anchor; other blocks are
    /// for other readers. Key identifiers need not be unique (RFC 9052, 3.1): it is enough that one anchor of that name and
    /// kind verifies.
    pub(crate) fn verify(&self, anchors: &[Anchor]) -> Result<(), Refusal> {
        let (mut good, mut bad, mut stranger, mut foreign) = (0, false, false, false);
        self.blocks(&mut |block| match block {
            Block::Foreign { .. } => foreign = true,
            Block::Known {
                algorithm,
                kid,
                signature,
            } => {
                let signed = SigStructure::new(algorithm, self.digest);
                let (mut named, mut holds) = (false, false);
                for anchor in anchors {
                    if anchor.key.algorithm() == algorithm && anchor.kid == kid {
                        named = true;
                        holds = holds || anchor.key.holds(signed.as_bytes(), signature);
                    }
                }
                stranger |= !named;
                bad |= named && !holds;
                if holds {
                    good |= algorithm.bit();
                }
            }
        })?;
        let demanded = anchors
            .iter()
            .fold(0, |kinds, anchor| kinds | anchor.key.algorithm().bit());
        match good {
            _ if bad => Err(Refusal::BadSignature),
            0 if foreign && !stranger => Err(Refusal::UnknownAlgorithm(Part::Signature)),
            0 => Err(Refusal::UnknownSigner),
            _ if good == demanded => Ok(()),
            _ => Err(Refusal::SignatureMissing),
        }
    }
}

impl PublicKey {
    /// The algorithm of this key's signatures.
    pub const fn algorithm(&self) -> Algorithm {
        match self {
            #[cfg(feature = "ed25519")]
            Self::Ed25519(_) => Algorithm::Ed25519,
            #[cfg(feature = "hss-lms")]
            Self::HssLms(_) => Algorithm::HssLms,
        }
    }

    /// The key's bytes: 32 for Ed25519, 60 for HSS-LMS.
    pub const fn as_bytes(&self) -> &[u8] {
        match self {
            #[cfg(feature = "ed25519")]
            Self::Ed25519(key) => key,
            #[cfg(feature = "hss-lms")]
            Self::HssLms(key) => key,
        }
    }

    /// Whether a signature over the message holds under this key.
    pub fn holds(&self, message: &[u8], signature: &[u8]) -> bool {
        match self {
            #[cfg(feature = "ed25519")]
            Self::Ed25519(key) => signature
                .try_into()
                .is_ok_and(|signature| ed25519_holds(key, message, signature)),
            #[cfg(feature = "hss-lms")]
            Self::HssLms(key) => crate::hss::holds(key, message, signature),
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
    let Some(known) = Algorithm::of(algorithm) else {
        return Ok(Block::Foreign {
            algorithm: Some(algorithm),
        });
    };
    if protected != known.protected() {
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
    let signature = match known {
        Algorithm::Ed25519 => cursor.array_of::<64>()?.as_slice(),
        Algorithm::HssLms => cursor.bytes()?,
    };
    cursor.end()?;
    Ok(Block::Known {
        algorithm: known,
        kid,
        signature,
    })
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
#[cfg(feature = "ed25519")]
pub fn ed25519_holds(key: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> bool {
    #[cfg(target_os = "none")]
    return crate::compact::ed25519::holds(key, message, signature);
    #[cfg(not(target_os = "none"))]
    ed25519_dalek::VerifyingKey::from_bytes(key).is_ok_and(|key| {
        let signature = ed25519_dalek::Signature::from_bytes(signature);
        key.verify_strict(message, &signature).is_ok()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9052, 4.4, written by a general library.
    #[test]
    fn what_is_signed() {
        let digest = [0x5a; 32];
        for (algorithm, number) in [(Algorithm::Ed25519, -19), (Algorithm::HssLms, -46)] {
            let mut protected = minicbor::Encoder::new(Vec::new());
            protected.map(1).unwrap().u8(1).unwrap().i8(number).unwrap();
            let protected = protected.into_writer();
            assert_eq!(algorithm.protected(), protected);
            let mut payload = minicbor::Encoder::new(Vec::new());
            payload.array(2).unwrap().i8(-16).unwrap().bytes(&digest).unwrap();
            let mut structure = minicbor::Encoder::new(Vec::new());
            structure.array(4).unwrap().str("Signature1").unwrap();
            structure.bytes(&protected).unwrap().bytes(&[]).unwrap();
            structure.bytes(&payload.into_writer()).unwrap();
            let built = SigStructure::new(algorithm, &digest);
            assert_eq!(built.as_bytes(), structure.into_writer());
        }
    }
}
