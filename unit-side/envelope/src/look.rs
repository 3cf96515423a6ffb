//! Says what an update file holds, without any key. **Nothing that it says is verified**: anybody can write such a file.

use crate::cbor::Cursor;
use crate::header::content;
use crate::keys::Kid;
use crate::manifest;
use crate::open::{payload_of, read_header};
use crate::refusal::{Part, Refusal};
use crate::sha256::sha256;
use crate::signature::{Algorithm, Block, Wrapper};
use crate::text::{self, TextEntry};
use crate::version::VersionNumbers;
use alloc::vec::Vec;

/// Where something lies in the file, in bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Span {
    /// First byte, from the file's start.
    pub offset: u32,
    /// Number of bytes.
    pub size: u32,
}

/// Who claims to have signed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ClaimedSigner {
    /// COSE algorithm number; `None` for a block that is not a COSE_Sign1.
    pub algorithm: Option<i64>,
    /// Key identifier, if the algorithm is one of this profile's.
    pub kid: Option<Kid>,
    /// Number of the one-time key, if the algorithm is HSS-LMS with one level.
    pub leaf: Option<u32>,
}

/// Every field of an update file, **not verified**: no signature was checked.
///
/// The fields that end in `_holds` only say whether the file agrees with itself; a forger can make them all true.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unverified {
    /// Size of the file in bytes.
    pub file_size: u32,
    /// Content of the authentication wrapper.
    pub wrapper: Span,
    /// Content of the manifest.
    pub manifest: Span,
    /// Content of the text element, if the file has one.
    pub text: Option<Span>,
    /// The encrypted image.
    pub payload: Span,
    /// The manifest's SHA-256 as the wrapper states it.
    pub manifest_digest: [u8; 32],
    /// Whether the manifest has that digest.
    pub manifest_digest_holds: bool,
    /// The authentication blocks, in order.
    pub signers: Vec<ClaimedSigner>,
    /// The sequence number: our issue.
    pub sequence: u64,
    /// The version.
    pub version: VersionNumbers,
    /// Vendor identifier, a UUID.
    pub vendor: [u8; 16],
    /// Class identifier, a UUID.
    pub class: [u8; 16],
    /// SHA-256 of the decrypted image.
    pub image_digest: [u8; 32],
    /// Size of the decrypted image in bytes.
    pub image_size: u32,
    /// SHA-256 of the payload.
    pub payload_digest: [u8; 32],
    /// Whether the payload in the file has that digest.
    pub payload_digest_holds: bool,
    /// Size of the payload as the manifest states it.
    pub payload_size: u32,
    /// Whether both stated sizes are the payload's size in the file.
    pub sizes_hold: bool,
    /// First counter block of the cipher.
    pub iv: [u8; 16],
    /// Generations of unit keys that the content key is wrapped for.
    pub recipients: Vec<Kid>,
    /// SHA-256 of the text, if the manifest states one.
    pub text_digest: Option<[u8; 32]>,
    /// Whether the text in the file has that digest; `None` if the file has no text.
    pub text_digest_holds: Option<bool>,
    /// The text, read.
    pub text_entries: Vec<TextEntry>,
}

impl Unverified {
    /// Whether every digest and size that the file states holds. A forger can make that so.
    pub fn agrees_with_itself(&self) -> bool {
        self.manifest_digest_holds
            && self.payload_digest_holds
            && self.sizes_hold
            && self.text_digest_holds != Some(false)
    }
}

/// Looks at an update file without keys.
///
/// # Errors
/// What a unit would refuse about the file's shape. Digests that do not hold are told and not refused.
pub fn look(file: &[u8]) -> Result<Unverified, Refusal> {
    let header = read_header(file)?;
    let (wrapper_bytes, kept_manifest) = header.complete()?;
    let wrapper = Wrapper::read(wrapper_bytes)?;
    let mut signers = Vec::new();
    wrapper.blocks(&mut |block| {
        signers.push(match block {
            Block::Known {
                algorithm,
                kid,
                signature,
            } => ClaimedSigner {
                algorithm: Some(algorithm.number()),
                kid: Some(kid),
                leaf: stated_leaf(algorithm, signature),
            },
            Block::Foreign { algorithm } => ClaimedSigner {
                algorithm,
                kid: None,
                leaf: None,
            },
        });
    })?;
    let mut recipients = Vec::new();
    let stated = manifest::read(content(kept_manifest), &mut |kid, _| recipients.push(kid))?;
    let spans = Spans::of(file)?;
    let text_digest_holds = header.text_digest().map(|found| Some(found) == stated.text_digest);
    Ok(Unverified {
        file_size: file.len() as u32,
        wrapper: spans.wrapper,
        manifest: spans.manifest,
        text: spans.text,
        payload: spans.payload,
        manifest_digest: *wrapper.digest,
        manifest_digest_holds: sha256(kept_manifest) == *wrapper.digest,
        signers,
        sequence: stated.sequence,
        version: stated.version,
        vendor: stated.vendor,
        class: stated.class,
        image_digest: stated.image_digest,
        image_size: stated.image_size,
        payload_digest: stated.payload_digest,
        payload_digest_holds: sha256(payload_of(file, header.position())) == stated.payload_digest,
        payload_size: stated.payload_size,
        sizes_hold: stated.image_size == spans.payload.size && stated.payload_size == spans.payload.size,
        iv: stated.iv,
        recipients,
        text_digest: stated.text_digest,
        text_digest_holds,
        text_entries: spans.text_entries,
    })
}

#[cfg(feature = "hss-lms")]
fn stated_leaf(algorithm: Algorithm, signature: &[u8]) -> Option<u32> {
    (algorithm == Algorithm::HssLms).then(|| crate::hss::stated_leaf(signature))?
}

#[cfg(not(feature = "hss-lms"))]
const fn stated_leaf(_: Algorithm, _: &[u8]) -> Option<u32> {
    None
}

struct Spans {
    wrapper: Span,
    manifest: Span,
    text: Option<Span>,
    text_entries: Vec<TextEntry>,
    payload: Span,
}

impl Spans {
    /// Walks the outermost map once more; the header reader has already checked it.
    fn of(file: &[u8]) -> Result<Self, Refusal> {
        let mut cursor = Cursor::new(file, Part::Envelope);
        cursor.tag()?;
        let mut keys = cursor.map()?;
        let texts = keys.left() == 4;
        let mut next = || {
            keys.next(&mut cursor)?;
            let bytes = cursor.bytes()?;
            let end = file.len().saturating_sub(cursor.rest().len());
            let offset = end.saturating_sub(bytes.len()) as u32;
            Ok((
                bytes,
                Span {
                    offset,
                    size: bytes.len() as u32,
                },
            ))
        };
        let (_, wrapper) = next()?;
        let (_, manifest) = next()?;
        let (text, text_entries) = match texts.then(&mut next).transpose()? {
            Some((bytes, span)) => (Some(span), text::decode(bytes)?),
            None => (None, Vec::new()),
        };
        let (_, payload) = next()?;
        Ok(Self {
            wrapper,
            manifest,
            text,
            text_entries,
            payload,
        })
    }
}
