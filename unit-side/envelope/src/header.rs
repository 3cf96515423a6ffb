//! Reads an update file's header while its bytes go by: everything up to the payload's first byte.
//!
//! The wrapper and the manifest are kept, so that nothing can change between check and use; the text is only digested.

use crate::cbor::{HEAD_MAX, Head, Major, head_len};
use crate::cipher::unwrap_key;
use crate::ids;
use crate::keys::{Anchor, ContentKey, UnitKey};
use crate::manifest::{self, Manifest, Stated};
use crate::refusal::{Fault, Part, Refusal};
use crate::sha256::{Sha256, copy, same_digest, sha256};
use crate::signature::Wrapper;
use core::fmt;
use core::hash::{Hash, Hasher};

/// Most bytes of wrapper and manifest together, in a reader for HSS-LMS or one with the feature `wide-header`.
///
/// Eight recipients and an Ed25519 signature need at most 1224. This has room for them and an HSS-LMS signature of one level
/// with digits of 8 bits (1296 to 1936 bytes); or, with fewer recipients, for one with digits of 4 bits (2352 to 2992), or
/// one of two levels with digits of 8 bits (from 2644).
pub const HEADER_MAX_WIDE: usize = 3328;
/// Most bytes of wrapper and manifest together, in a reader for Ed25519 alone.
pub const HEADER_MAX_NARROW: usize = 2048;
/// Most bytes of wrapper and manifest together, in this build.
pub const HEADER_MAX: usize = match cfg!(any(feature = "hss-lms", feature = "wide-header")) {
    true => HEADER_MAX_WIDE,
    false => HEADER_MAX_NARROW,
};
/// Most bytes of the text element.
pub const TEXT_MAX: u64 = 16_384;

/// Whether the header is complete.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Fed {
    /// The file's next bytes are still needed.
    More,
    /// The payload's first byte is reached.
    Complete,
}

/// A push parser for the header: plain data, to be copied, compared and hashed at will.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct HeaderReader {
    file_size: u32,
    position: u32,
    stage: Stage,
    /// Keys and values of the outermost map that are still to come after the manifest: 1 or 2.
    entries: u8,
    head: [u8; HEAD_MAX],
    head_len: u8,
    kept: Kept,
    wrapper_len: u16,
    text: Option<Sha256>,
    refused: Option<Refusal>,
}

/// What the next byte belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Stage {
    Tag,
    Map,
    WrapperKey,
    WrapperHead,
    Wrapper(u32),
    ManifestKey,
    ManifestHead,
    Manifest(u32),
    NextKey,
    TextHead,
    Text(u32),
    PayloadKey,
    PayloadName(u32),
    PayloadHead,
    Payload,
}

impl HeaderReader {
    /// A reader for a file of `file_size` bytes, before its first byte.
    pub const fn new(file_size: u32) -> Self {
        Self {
            file_size,
            position: 0,
            stage: Stage::Tag,
            entries: 0,
            head: [0; HEAD_MAX],
            head_len: 0,
            kept: Kept {
                bytes: [0; HEADER_MAX],
                len: 0,
            },
            wrapper_len: 0,
            text: None,
            refused: None,
        }
    }

    /// Takes the file's next bytes, in order, in pieces of any size. Bytes from the payload on are ignored.
    ///
    /// # Errors
    /// The first thing that is wrong with the file's outermost level. The same again in every later call.
    pub fn feed(&mut self, bytes: &[u8]) -> Result<Fed, Refusal> {
        if let Some(refusal) = self.refused {
            return Err(refusal);
        }
        let fed = self.take(bytes);
        self.refused = fed.err();
        fed
    }

    /// Bytes of the file that were taken so far; once complete, where the payload begins.
    pub const fn position(&self) -> u32 {
        self.position
    }

    /// Judges a complete header: digest and signature first, then the manifest's content.
    ///
    /// # Errors
    /// The first reason to refuse the file. [`Refusal::Incomplete`] if [`HeaderReader::feed`] has not yet answered
    /// [`Fed::Complete`].
    pub fn verify(&self, anchors: &[Anchor]) -> Result<Manifest, Refusal> {
        let (wrapper, kept_manifest) = self.complete()?;
        let wrapper = Wrapper::read(wrapper)?;
        let digest = sha256(kept_manifest);
        if !same_digest(&digest, wrapper.digest) {
            return Err(Refusal::ManifestDigest);
        }
        wrapper.verify(anchors)?;
        let stated = manifest::read(content(kept_manifest), &mut |_, _| ())?;
        self.against_file(&stated)?;
        Ok(Manifest {
            digest,
            sequence: stated.sequence,
            version: stated.version,
            vendor: stated.vendor,
            class: stated.class,
            image_digest: stated.image_digest,
            image_size: stated.image_size,
            payload_digest: stated.payload_digest,
            payload_offset: self.position,
            iv: stated.iv,
        })
    }

    /// Unwraps the content key with the key of this unit's generation. Call it after [`HeaderReader::verify`].
    ///
    /// # Errors
    /// [`Refusal::NoRecipient`] if no recipient has the key's identifier, [`Refusal::KeyUnwrap`] if none of those that
    /// have it unwraps, and what is wrong with a manifest that was not verified before.
    pub fn content_key(&self, key: &UnitKey) -> Result<ContentKey, Refusal> {
        let (_, kept_manifest) = self.complete()?;
        let mut found = Err(Refusal::NoRecipient);
        manifest::read(content(kept_manifest), &mut |kid, wrapped| {
            if kid == key.kid && found.is_err() {
                found = unwrap_key(key, wrapped).ok_or(Refusal::KeyUnwrap);
            }
        })?;
        found
    }

    /// Wrapper and manifest; the manifest with its byte string head.
    pub(crate) fn complete(&self) -> Result<(&[u8], &[u8]), Refusal> {
        match (self.refused, self.stage) {
            (Some(refusal), _) => Err(refusal),
            (None, Stage::Payload) => Ok(self.kept.split(usize::from(self.wrapper_len))),
            _ => Err(Refusal::Incomplete),
        }
    }

    /// Checks what the manifest states against what the file has, and its two sizes against each other.
    pub(crate) fn against_file(&self, stated: &Stated) -> Result<(), Refusal> {
        if stated.image_size != stated.payload_size || Some(stated.payload_size) != self.left() {
            return Err(Refusal::SizeMismatch);
        }
        match (self.text_digest(), stated.text_digest) {
            (None, _) => Ok(()),
            (Some(text), Some(signed)) if same_digest(&text, &signed) => Ok(()),
            (Some(_), _) => Err(Refusal::TextDigest),
        }
    }

    /// SHA-256 of the text's encoded byte string, if the file has a text.
    pub(crate) fn text_digest(&self) -> Option<[u8; 32]> {
        self.text.clone().map(Sha256::finish)
    }

    const fn left(&self) -> Option<u32> {
        self.file_size.checked_sub(self.position)
    }

    fn take(&mut self, mut bytes: &[u8]) -> Result<Fed, Refusal> {
        loop {
            match self.stage {
                Stage::Payload => return Ok(Fed::Complete),
                Stage::Wrapper(0) => self.stage = Stage::ManifestKey,
                Stage::Manifest(0) => self.stage = Stage::NextKey,
                Stage::Text(0) => self.stage = Stage::PayloadKey,
                Stage::PayloadName(0) => self.payload_name()?,
                stage => {
                    if self.position >= self.file_size {
                        return Err(Refusal::Truncated);
                    }
                    if bytes.is_empty() {
                        return Ok(Fed::More);
                    }
                    let want = match stage {
                        Stage::Wrapper(left) | Stage::Manifest(left) | Stage::Text(left) | Stage::PayloadName(left) => {
                            left
                        }
                        _ => 1,
                    };
                    let want = usize::try_from(want).unwrap_or(usize::MAX).min(bytes.len());
                    let (now, later) = bytes.split_at_checked(want).unwrap_or((bytes, &[]));
                    bytes = later;
                    self.position = self.position.saturating_add(now.len() as u32);
                    self.take_part(stage, now)?;
                }
            }
        }
    }

    fn take_part(&mut self, stage: Stage, now: &[u8]) -> Result<(), Refusal> {
        let less = |left: u32| left.saturating_sub(now.len() as u32);
        match stage {
            Stage::Wrapper(left) => {
                self.kept.put(now)?;
                self.stage = Stage::Wrapper(less(left));
            }
            Stage::Manifest(left) => {
                self.kept.put(now)?;
                self.stage = Stage::Manifest(less(left));
            }
            Stage::Text(left) => {
                if let Some(text) = &mut self.text {
                    text.update(now);
                }
                self.stage = Stage::Text(less(left));
            }
            Stage::PayloadName(left) => {
                self.gather(now);
                self.stage = Stage::PayloadName(less(left));
            }
            _ => {
                self.gather(now);
                self.take_head(stage)?;
            }
        }
        Ok(())
    }

    /// Once all bytes of a head are there, goes on to the stage that it leads to.
    fn take_head(&mut self, stage: Stage) -> Result<(), Refusal> {
        let at = |fault| Self::outer(stage, fault);
        let head = self.head;
        let (gathered, _) = head.split_at_checked(self.head_len.into()).unwrap_or_default();
        let len = gathered.first().map_or(Ok(1), |first| head_len(*first)).map_err(at)?;
        if gathered.len() < len {
            return Ok(());
        }
        let (head, _) = Head::split(gathered).map_err(at)?;
        let next = match stage {
            Stage::Tag
                if head
                    == (Head {
                        major: Major::Tag,
                        argument: ids::TAG_ENVELOPE,
                    }) =>
            {
                Stage::Map
            }
            Stage::Tag => return Err(Refusal::NotAnUpdate),
            Stage::Map => self.outermost(head)?,
            Stage::WrapperKey => Self::key(head, ids::ENVELOPE_WRAPPER, Stage::WrapperHead)?,
            Stage::WrapperHead => Stage::Wrapper(self.string(head, HEADER_MAX as u64)?),
            Stage::ManifestKey => Self::key(head, ids::ENVELOPE_MANIFEST, Stage::ManifestHead)?,
            Stage::ManifestHead => {
                let len = self.string(head, HEADER_MAX as u64)?;
                self.wrapper_len = self.kept.len;
                self.kept.put(gathered)?;
                Stage::Manifest(len)
            }
            Stage::NextKey if self.entries == 2 => Self::key(head, ids::TEXT, Stage::TextHead)?,
            Stage::TextHead => {
                let len = self.string(head, TEXT_MAX)?;
                let mut text = Sha256::new();
                text.update(gathered);
                self.text = Some(text);
                Stage::Text(len)
            }
            Stage::NextKey | Stage::PayloadKey => Self::payload_key(head)?,
            Stage::PayloadHead => self.payload(head)?,
            other => other,
        };
        self.head = [0; HEAD_MAX];
        self.head_len = 0;
        self.stage = next;
        Ok(())
    }

    /// What does not even begin like an envelope is some other file, not a damaged one.
    const fn outer(stage: Stage, fault: Fault) -> Refusal {
        match stage {
            Stage::Tag => Refusal::NotAnUpdate,
            _ => Refusal::malformed(Part::Envelope, fault),
        }
    }

    fn outermost(&mut self, head: Head) -> Result<Stage, Refusal> {
        if head.major != Major::Map {
            return Err(Refusal::malformed(Part::Envelope, Fault::Kind));
        }
        match head.argument {
            0..=2 => Err(Refusal::Missing(Part::Envelope)),
            // Wrapper, manifest and payload; with a text between them there are four.
            entries @ 3..=4 => {
                self.entries = entries.saturating_sub(2) as u8;
                Ok(Stage::WrapperKey)
            }
            _ => Err(Refusal::UnknownCritical(Part::Envelope)),
        }
    }

    fn key(head: Head, due: u64, next: Stage) -> Result<Stage, Refusal> {
        match head {
            Head {
                major: Major::Unsigned,
                argument,
            } if argument == due => Ok(next),
            Head {
                major: Major::Unsigned,
                argument: ids::ENVELOPE_WRAPPER | ids::ENVELOPE_MANIFEST | ids::TEXT,
            } => Err(Refusal::malformed(Part::Envelope, Fault::KeyOrder)),
            _ => Err(Refusal::UnknownCritical(Part::Envelope)),
        }
    }

    fn payload_key(head: Head) -> Result<Stage, Refusal> {
        match head {
            Head {
                major: Major::Text,
                argument,
            } if argument == ids::PAYLOAD_NAME.len() as u64 => Ok(Stage::PayloadName(ids::PAYLOAD_NAME.len() as u32)),
            Head { major: Major::Text, .. } => Err(Refusal::PayloadName),
            // With only one entry left, a text would take the payload's place.
            other => Self::key(other, ids::TEXT, Stage::PayloadKey).and(Err(Refusal::Missing(Part::Envelope))),
        }
    }

    fn payload_name(&mut self) -> Result<(), Refusal> {
        if self.head.get(..ids::PAYLOAD_NAME.len()) != Some(ids::PAYLOAD_NAME.as_bytes()) {
            return Err(Refusal::PayloadName);
        }
        self.head = [0; HEAD_MAX];
        self.head_len = 0;
        self.stage = Stage::PayloadHead;
        Ok(())
    }

    /// The length of a string of bytes that must lie within the file.
    fn string(&self, head: Head, limit: u64) -> Result<u32, Refusal> {
        if head.major != Major::Bytes {
            return Err(Refusal::malformed(Part::Envelope, Fault::Kind));
        }
        if head.argument > limit {
            return Err(Refusal::TooLarge);
        }
        let len = u32::try_from(head.argument).map_err(|_| Refusal::Truncated)?;
        if self.left().is_some_and(|left| len <= left) {
            Ok(len)
        } else {
            Err(Refusal::Truncated)
        }
    }

    fn payload(&self, head: Head) -> Result<Stage, Refusal> {
        let len = self.string(head, u64::MAX)?;
        match self.left() {
            _ if len == 0 => Err(Refusal::Empty),
            Some(left) if len == left => Ok(Stage::Payload),
            _ => Err(Refusal::Trailing),
        }
    }

    fn gather(&mut self, now: &[u8]) {
        for byte in now {
            if let Some(place) = self.head.get_mut(usize::from(self.head_len)) {
                *place = *byte;
                self.head_len = self.head_len.saturating_add(1);
            }
        }
    }
}

/// The content of an encoded byte string whose head was checked before.
pub(crate) fn content(string: &[u8]) -> &[u8] {
    Head::split(string).map_or(&[], |(_, content)| content)
}

/// The bytes that are kept. Those beyond `len` are always zero.
#[derive(Clone, PartialEq, Eq)]
struct Kept {
    bytes: [u8; HEADER_MAX],
    len: u16,
}

impl Kept {
    fn put(&mut self, more: &[u8]) -> Result<(), Refusal> {
        let free = self.bytes.get_mut(usize::from(self.len)..).unwrap_or_default();
        let places = free.get_mut(..more.len()).ok_or(Refusal::TooLarge)?;
        copy(places, more);
        self.len = self.len.saturating_add(more.len() as u16);
        Ok(())
    }

    fn split(&self, at: usize) -> (&[u8], &[u8]) {
        let used = self.bytes.get(..usize::from(self.len)).unwrap_or_default();
        used.split_at_checked(at).unwrap_or_default()
    }
}

impl Hash for Kept {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.split(0).1.hash(state);
    }
}

impl fmt::Debug for Kept {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Kept({} bytes)", self.len)
    }
}
