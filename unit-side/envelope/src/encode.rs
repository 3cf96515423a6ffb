//! Writes update files. The same draft gives the same bytes, always.

use crate::cipher::{PayloadCipher, WRAPPED_LEN, wrap_key};
use crate::header::HEADER_MAX;
#[cfg(feature = "ed25519")]
use crate::header::HEADER_MAX_NARROW;
use crate::ids;
#[cfg(feature = "ed25519")]
use crate::keys::Anchor;
use crate::keys::{ContentKey, Kid, UnitKey};
use crate::look::{Unverified, look};
use crate::manifest::RECIPIENTS_MAX;
#[cfg(feature = "ed25519")]
use crate::open::open;
use crate::open::{payload_of, read_header};
use crate::refusal::Refusal;
use crate::sha256::sha256;
use crate::signature::{Algorithm, BLOCKS_MAX, SigStructure};
use crate::text::{self, TextEntry, TextItem};
use crate::version::VersionNumbers;
use alloc::boxed::Box;
use alloc::string::String;
use alloc::vec::Vec;
use core::convert::Infallible;
use minicbor::Encoder;
use zeroize::Zeroize;

/// Everything that goes into an update file.
#[derive(Clone)]
pub struct Draft<'a> {
    /// The sequence number: our issue.
    pub sequence: u64,
    /// The version: one to three integers.
    pub version: &'a [u32],
    /// Vendor identifier, a UUID.
    pub vendor: [u8; 16],
    /// Class identifier, a UUID.
    pub class: [u8; 16],
    /// The image in the clear; at least one byte.
    pub image: &'a [u8],
    /// Text for people, in any order. None at all leaves the text element out.
    pub text: &'a [TextEntry],
    /// The generations of unit keys that shall be able to read the file: 1 to 8.
    pub recipients: &'a [UnitKey],
    /// The payload's key: 32 fresh random bytes for every file, never used again, not even for the same image
    /// (RFC 9459, 8: two payloads under one key and IV give away the difference of their images).
    pub content_key: [u8; 32],
    /// First counter block; see [`iv`].
    pub iv: [u8; 16],
}

impl Drop for Draft<'_> {
    fn drop(&mut self) {
        self.content_key.zeroize();
    }
}

/// An IV from 12 random bytes: the last four are zero, so that engines whose counter carries only into its low 32 bits
/// agree with the standard's 128 bits up to 64 GiB.
pub const fn iv(random: [u8; 12]) -> [u8; 16] {
    let [a, b, c, d, e, f, g, h, i, j, k, l] = random;
    [a, b, c, d, e, f, g, h, i, j, k, l, 0, 0, 0, 0]
}

/// Why a draft does not become an update file.
#[derive(Debug, thiserror::Error)]
pub enum EncodeError {
    /// The version does not have one to three integers.
    #[error("the version has {found} integers; give one to three, such as 2.1")]
    Version {
        /// How many there are.
        found: usize,
    },
    /// The image has no bytes.
    #[error("the image has no bytes; check that the build wrote its output")]
    EmptyImage,
    /// The image's size does not fit into 32 bits.
    #[error("the image has {found} bytes; an update file holds less than 4 GiB")]
    ImageTooLarge {
        /// Its size in bytes.
        found: usize,
    },
    /// There are no recipients, or too many.
    #[error("the file is for {found} generations of unit keys; give 1 to 8, and retire the oldest if there are more")]
    Recipients {
        /// How many there are.
        found: usize,
    },
    /// Two recipients have the same key identifier.
    #[error("two generations of unit keys have the identifier {kid}; give each its own")]
    RecipientTwice {
        /// The identifier.
        kid: Kid,
    },
    /// The signer's key identifier is empty or too long.
    #[error("the signer's key identifier has {found} bytes; give 1 to 16")]
    SignerKid {
        /// Its length in bytes.
        found: usize,
    },
    /// The IV's last four bytes are not zero.
    #[error("the last four bytes of the IV are not zero; make the IV with `encode::iv` from 12 random bytes")]
    IvCounter,
    /// A language tag is not one.
    #[error("`{found}` is not a language tag; give one such as `en` or `de-CH` (RFC 5646)")]
    Language {
        /// What was given.
        found: String,
    },
    /// A text has control characters or turns the direction of writing.
    #[error("the text {item:?} ({language}) has control characters; remove all but line breaks")]
    TextCharacters {
        /// The text's language.
        language: String,
        /// What it describes.
        item: TextItem,
    },
    /// A text is given twice.
    #[error("the text {item:?} ({language}) is given twice; give it once")]
    TextTwice {
        /// The text's language.
        language: String,
        /// What it describes.
        item: TextItem,
    },
    /// All text together is too large.
    #[error("the text has {found} bytes in all; units take up to 16384")]
    TextTooLarge {
        /// Its size in bytes.
        found: u64,
    },
    /// Nobody signs, or too many.
    #[error("the file has {found} signers; give one or two")]
    Signers {
        /// How many there are.
        found: usize,
    },
    /// Wrapper and manifest are larger than a unit keeps.
    #[error(
        "signatures and manifest need {needed} bytes, more than the {room} that the smallest of the units keep; serve fewer generations, or those with less room by a release of their own"
    )]
    HeaderTooLarge {
        /// Bytes that they need.
        needed: usize,
        /// Bytes that a unit keeps.
        room: usize,
    },
    /// The CBOR encoder failed, which it does not do in memory.
    #[error("the CBOR encoder failed")]
    Encoder(#[from] minicbor::encode::Error<Infallible>),
    /// The finished file was refused when it was read back.
    #[error("the finished file was refused when it was read back, and is not given out: {0}")]
    ReadBack(#[source] Refusal),
    /// The finished file says something else than the draft.
    #[error(
        "the finished file, read back, has another {field} than the draft, and is not given out; report this fault"
    )]
    ReadBackDiffers {
        /// What differs.
        field: &'static str,
    },
}

/// Somebody who signs an update file.
pub struct Signer<'a> {
    kid: Kid,
    algorithm: Algorithm,
    sign: Sign<'a>,
}

/// Gives the signature over a Sig_structure.
type Sign<'a> = Box<dyn FnOnce(&[u8]) -> Vec<u8> + 'a>;

impl<'a> Signer<'a> {
    /// A signer with this key identifier. `sign` is given the Sig_structure (RFC 9052, 4.4) and answers with the signature.
    pub fn new(kid: Kid, algorithm: Algorithm, sign: impl FnOnce(&[u8]) -> Vec<u8> + 'a) -> Self {
        Self {
            kid,
            algorithm,
            sign: Box::new(sign),
        }
    }
}

/// Shows who signs, and not with what.
impl core::fmt::Debug for Signer<'_> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "Signer({}, {:?})", self.kid, self.algorithm)
    }
}

/// Writes the update file for `draft`, signed by one or two signers: an authentication block each, in this order.
///
/// `header_room` is what the smallest of the units that shall read it keep of the header: [`HEADER_MAX_NARROW`] or
/// `HEADER_MAX_WIDE`. The finished file is read back with the unit's own code and compared with the draft before it is
/// given out; only the signatures cannot be checked without the public keys: open the file with them, as a unit does.
///
/// # Errors
/// See [`EncodeError`].
pub fn encode_signed(draft: &Draft<'_>, signers: Vec<Signer<'_>>, header_room: usize) -> Result<Vec<u8>, EncodeError> {
    check(draft)?;
    let file = assemble(draft, signers, header_room)?;
    read_back(draft, &file)?;
    Ok(file)
}

/// Writes the update file for `draft`, signed by `sign` with Ed25519, for units with the least room for a header.
///
/// `sign` is given the Sig_structure (RFC 9052, 4.4) and answers with the signature. As in [`encode_signed`], the signature
/// cannot be checked without the public key, for which there is [`encode_checked`].
///
/// # Errors
/// See [`EncodeError`].
#[cfg(feature = "ed25519")]
pub fn encode(
    draft: &Draft<'_>,
    signer_kid: &[u8],
    sign: impl FnOnce(&[u8]) -> [u8; 64],
) -> Result<Vec<u8>, EncodeError> {
    let kid = Kid::new(signer_kid).ok_or(EncodeError::SignerKid {
        found: signer_kid.len(),
    })?;
    let signer = Signer::new(kid, Algorithm::Ed25519, |bytes| sign(bytes).to_vec());
    encode_signed(draft, Vec::from([signer]), HEADER_MAX_NARROW)
}

/// Like [`encode`], and then opens the file like a unit of every generation that trusts `signer`.
///
/// # Errors
/// See [`EncodeError`]; [`EncodeError::ReadBack`] if the signature does not hold under the signer's public key.
#[cfg(feature = "ed25519")]
pub fn encode_checked(
    draft: &Draft<'_>,
    signer: &Anchor,
    sign: impl FnOnce(&[u8]) -> [u8; 64],
) -> Result<Vec<u8>, EncodeError> {
    let file = encode(draft, signer.kid.as_bytes(), sign)?;
    for recipient in draft.recipients {
        let opened = open(&file, &[*signer], recipient).map_err(EncodeError::ReadBack)?;
        agree(opened.image == draft.image, "image")?;
    }
    Ok(file)
}

fn check(draft: &Draft<'_>) -> Result<(), EncodeError> {
    if VersionNumbers::new(draft.version).is_none() {
        return Err(EncodeError::Version {
            found: draft.version.len(),
        });
    }
    if draft.image.is_empty() {
        return Err(EncodeError::EmptyImage);
    }
    let recipients = draft.recipients.len();
    if recipients == 0 || recipients as u64 > RECIPIENTS_MAX {
        return Err(EncodeError::Recipients { found: recipients });
    }
    for (index, recipient) in draft.recipients.iter().enumerate() {
        if draft
            .recipients
            .iter()
            .take(index)
            .any(|earlier| earlier.kid == recipient.kid)
        {
            return Err(EncodeError::RecipientTwice { kid: recipient.kid });
        }
    }
    if !draft.iv.ends_with(&[0; 4]) {
        return Err(EncodeError::IvCounter);
    }
    Ok(())
}

fn assemble(draft: &Draft<'_>, signers: Vec<Signer<'_>>, header_room: usize) -> Result<Vec<u8>, EncodeError> {
    let image_too_large = EncodeError::ImageTooLarge {
        found: draft.image.len(),
    };
    let content_key = ContentKey::new(draft.content_key);
    let mut payload = draft.image.to_vec();
    PayloadCipher::new(&content_key, &draft.iv).apply(0, &mut payload);
    let text = match draft.text {
        [] => None,
        entries => Some(byte_string(&text::encode(entries)?)?),
    };
    let text_digest = text.as_deref().map(sha256);
    let manifest = byte_string(&manifest(draft, &content_key, &sha256(&payload), text_digest)?)?;
    let digest = sha256(&manifest);
    let found = signers.len();
    if found == 0 || found as u64 > BLOCKS_MAX {
        return Err(EncodeError::Signers { found });
    }
    let blocks: Vec<_> = signers
        .into_iter()
        .map(|signer| block(&digest, signer))
        .collect::<Result<_, _>>()?;
    let wrapper = wrapper(&digest, &blocks)?;
    let (needed, room) = (wrapper.len() + manifest.len(), header_room.min(HEADER_MAX));
    if needed > room {
        return Err(EncodeError::HeaderTooLarge { needed, room });
    }

    let mut file = encoded(|out| {
        out.tag(minicbor::data::Tag::new(ids::TAG_ENVELOPE))?
            .map(3 + u64::from(text.is_some()))?;
        out.u64(ids::ENVELOPE_WRAPPER)?
            .bytes(&wrapper)?
            .u64(ids::ENVELOPE_MANIFEST)?;
        out.writer_mut().extend(&manifest);
        if let Some(text) = &text {
            out.u64(ids::TEXT)?;
            out.writer_mut().extend(text);
        }
        out.str(ids::PAYLOAD_NAME)?.bytes_len(payload.len() as u64)?;
        Ok(())
    })?;
    file.append(&mut payload);
    if u32::try_from(file.len()).is_err() {
        Err(image_too_large)
    } else {
        Ok(file)
    }
}

fn manifest(
    draft: &Draft<'_>,
    content_key: &ContentKey,
    payload_digest: &[u8; 32],
    text_digest: Option<[u8; 32]>,
) -> Result<Vec<u8>, EncodeError> {
    let common = common(draft)?;
    let install = install(draft, content_key, payload_digest)?;
    let validate = slot_command(ids::CONDITION_IMAGE, ids::REPORT_CONDITION)?;
    let invoke = slot_command(ids::DIRECTIVE_INVOKE, ids::REPORT_DIRECTIVE)?;
    let version = encoded(|out| {
        out.array(draft.version.len() as u64)?;
        draft.version.iter().try_for_each(|number| out.u32(*number).map(drop))
    })?;
    encoded(|out| {
        out.map(7 + u64::from(text_digest.is_some()))?;
        out.u64(ids::MANIFEST_VERSION)?.u64(ids::STRUCTURE_VERSION)?;
        out.u64(ids::MANIFEST_SEQUENCE)?.u64(draft.sequence)?;
        out.u64(ids::MANIFEST_COMMON)?.bytes(&common)?;
        out.u64(ids::MANIFEST_SET_VERSION)?.bytes(&version)?;
        out.u64(ids::MANIFEST_VALIDATE)?.bytes(&validate)?;
        out.u64(ids::MANIFEST_INVOKE)?.bytes(&invoke)?;
        out.u64(ids::MANIFEST_INSTALL)?.bytes(&install)?;
        if let Some(digest) = text_digest {
            out.u64(ids::TEXT)?.array(2)?.i64(ids::ALG_SHA256)?.bytes(&digest)?;
        }
        Ok(())
    })
}

fn common(draft: &Draft<'_>) -> Result<Vec<u8>, EncodeError> {
    let image_digest = suit_digest(&sha256(draft.image))?;
    let shared = encoded(|out| {
        out.array(8)?.u64(ids::DIRECTIVE_COMPONENT)?.u64(ids::INDEX_SLOT)?;
        out.u64(ids::DIRECTIVE_PARAMETERS)?.map(4)?;
        out.u64(ids::PARAMETER_VENDOR)?.bytes(&draft.vendor)?;
        out.u64(ids::PARAMETER_CLASS)?.bytes(&draft.class)?;
        out.u64(ids::PARAMETER_DIGEST)?.bytes(&image_digest)?;
        out.u64(ids::PARAMETER_SIZE)?.u64(draft.image.len() as u64)?;
        out.u64(ids::CONDITION_VENDOR)?.u64(ids::REPORT_CONDITION)?;
        out.u64(ids::CONDITION_CLASS)?.u64(ids::REPORT_CONDITION)?;
        Ok(())
    })?;
    encoded(|out| {
        out.map(2)?.u64(ids::COMMON_COMPONENTS)?.array(2)?;
        out.array(1)?.bytes(&ids::COMPONENT_SLOT)?;
        out.array(1)?.bytes(&ids::COMPONENT_PAYLOAD)?;
        out.u64(ids::COMMON_SHARED)?.bytes(&shared)?;
        Ok(())
    })
}

fn install(draft: &Draft<'_>, content_key: &ContentKey, payload_digest: &[u8; 32]) -> Result<Vec<u8>, EncodeError> {
    let payload_digest = suit_digest(payload_digest)?;
    let encryption = encryption(draft, content_key)?;
    encoded(|out| {
        out.array(16)?.u64(ids::DIRECTIVE_COMPONENT)?.u64(ids::INDEX_PAYLOAD)?;
        out.u64(ids::DIRECTIVE_PARAMETERS)?.map(3)?;
        out.u64(ids::PARAMETER_DIGEST)?.bytes(&payload_digest)?;
        out.u64(ids::PARAMETER_SIZE)?.u64(draft.image.len() as u64)?;
        out.u64(ids::PARAMETER_URI)?.str(ids::PAYLOAD_NAME)?;
        out.u64(ids::DIRECTIVE_FETCH)?.u64(ids::REPORT_DIRECTIVE)?;
        out.u64(ids::CONDITION_IMAGE)?.u64(ids::REPORT_CONDITION)?;
        out.u64(ids::DIRECTIVE_COMPONENT)?.u64(ids::INDEX_SLOT)?;
        out.u64(ids::DIRECTIVE_PARAMETERS)?.map(2)?;
        out.u64(ids::PARAMETER_ENCRYPTION)?.bytes(&encryption)?;
        out.u64(ids::PARAMETER_SOURCE)?.u64(ids::INDEX_PAYLOAD)?;
        out.u64(ids::DIRECTIVE_COPY)?.u64(ids::REPORT_DIRECTIVE)?;
        out.u64(ids::CONDITION_IMAGE)?.u64(ids::REPORT_CONDITION)?;
        Ok(())
    })
}

fn encryption(draft: &Draft<'_>, content_key: &ContentKey) -> Result<Vec<u8>, EncodeError> {
    let wrapped: Option<Vec<[u8; WRAPPED_LEN]>> = draft
        .recipients
        .iter()
        .map(|recipient| wrap_key(recipient, content_key))
        .collect();
    let wrapped = wrapped.ok_or(EncodeError::ReadBackDiffers { field: "wrapped key" })?;
    encoded(|out| {
        out.tag(minicbor::data::Tag::new(ids::TAG_ENCRYPT))?
            .array(4)?
            .bytes(&[])?
            .map(2)?;
        out.u64(ids::LABEL_ALG)?
            .i64(ids::ALG_A256CTR)?
            .u64(ids::LABEL_IV)?
            .bytes(&draft.iv)?;
        out.null()?.array(wrapped.len() as u64)?;
        for (recipient, wrapped) in draft.recipients.iter().zip(&wrapped) {
            out.array(3)?.bytes(&[])?.map(2)?;
            out.u64(ids::LABEL_ALG)?
                .i64(ids::ALG_A256KW)?
                .u64(ids::LABEL_KID)?
                .bytes(recipient.kid.as_bytes())?;
            out.bytes(wrapped)?;
        }
        Ok(())
    })
}

fn slot_command(command: u64, reporting: u64) -> Result<Vec<u8>, EncodeError> {
    encoded(|out| {
        out.array(4)?
            .u64(ids::DIRECTIVE_COMPONENT)?
            .u64(ids::INDEX_SLOT)?
            .u64(command)?
            .u64(reporting)?;
        Ok(())
    })
}

fn block(digest: &[u8; 32], signer: Signer<'_>) -> Result<Vec<u8>, EncodeError> {
    let signature = (signer.sign)(SigStructure::new(signer.algorithm, digest).as_bytes());
    let protected = encoded(|out| {
        let number = signer.algorithm.number();
        out.map(1)?.u64(ids::LABEL_ALG)?.i64(number).map(drop)
    })?;
    encoded(|out| {
        out.tag(minicbor::data::Tag::new(ids::TAG_SIGN1))?
            .array(4)?
            .bytes(&protected)?;
        out.map(1)?
            .u64(ids::LABEL_KID)?
            .bytes(signer.kid.as_bytes())?
            .null()?
            .bytes(&signature)?;
        Ok(())
    })
}

fn wrapper(digest: &[u8; 32], blocks: &[Vec<u8>]) -> Result<Vec<u8>, EncodeError> {
    let digest = suit_digest(digest)?;
    encoded(|out| {
        out.array(blocks.len() as u64 + 1)?.bytes(&digest)?;
        blocks.iter().try_for_each(|block| out.bytes(block).map(drop))
    })
}

fn suit_digest(digest: &[u8; 32]) -> Result<Vec<u8>, EncodeError> {
    encoded(|out| out.array(2)?.i64(ids::ALG_SHA256)?.bytes(digest).map(drop))
}

fn byte_string(content: &[u8]) -> Result<Vec<u8>, EncodeError> {
    encoded(|out| out.bytes(content).map(drop))
}

/// The bytes that `write` writes.
pub(crate) fn encoded(
    write: impl FnOnce(&mut Encoder<Vec<u8>>) -> Result<(), minicbor::encode::Error<Infallible>>,
) -> Result<Vec<u8>, EncodeError> {
    let mut out = Encoder::new(Vec::new());
    write(&mut out)?;
    Ok(out.into_writer())
}

/// Reads the finished file with the unit's decoder and compares all that it says with the draft.
fn read_back(draft: &Draft<'_>, file: &[u8]) -> Result<(), EncodeError> {
    let found = look(file).map_err(EncodeError::ReadBack)?;
    compare(draft, &found)?;
    let header = read_header(file).map_err(EncodeError::ReadBack)?;
    let content_key = ContentKey::new(draft.content_key);
    for recipient in draft.recipients {
        let unwrapped = header.content_key(recipient).map_err(EncodeError::ReadBack)?;
        agree(unwrapped == content_key, "content key")?;
    }
    let mut image = payload_of(file, found.payload.offset).to_vec();
    PayloadCipher::new(&content_key, &found.iv).apply(0, &mut image);
    agree(image == draft.image, "image")
}

fn compare(draft: &Draft<'_>, found: &Unverified) -> Result<(), EncodeError> {
    let mut text = draft.text.to_vec();
    let mut text_found = found.text_entries.clone();
    text.sort();
    text_found.sort();
    agree(found.manifest_digest_holds, "manifest digest")?;
    agree(found.payload_digest_holds, "payload digest")?;
    agree(found.text_digest_holds != Some(false), "text digest")?;
    agree(
        found.sizes_hold && found.image_size as usize == draft.image.len(),
        "size",
    )?;
    agree(found.sequence == draft.sequence, "sequence number")?;
    agree(found.version.as_slice() == draft.version, "version")?;
    agree(found.vendor == draft.vendor, "vendor identifier")?;
    agree(found.class == draft.class, "class identifier")?;
    agree(found.image_digest == sha256(draft.image), "image digest")?;
    agree(found.iv == draft.iv, "IV")?;
    agree(text == text_found, "text")
}

const fn agree(same: bool, field: &'static str) -> Result<(), EncodeError> {
    if same {
        Ok(())
    } else {
        Err(EncodeError::ReadBackDiffers { field })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ed25519_dalek::{Signer as _, SigningKey};
    use hex_literal::hex;

    /// The sample in `tests/vectors` was written by another program (Python), and checked against the drafts' CDDL.
    #[test]
    fn another_program_writes_the_same_bytes() {
        let fields = include_str!("../tests/vectors/own-profile-sample.txt");
        let field = |name: &str| {
            let line = fields
                .lines()
                .find_map(|line| line.strip_prefix(name)?.strip_prefix(" = "));
            hex::decode(line.unwrap()).unwrap()
        };
        let array = |name: &str| <[u8; 32]>::try_from(field(name)).unwrap();
        let id = |name: &str| <[u8; 16]>::try_from(field(name)).unwrap();
        let signer = SigningKey::from_bytes(&array("sign_seed"));
        let key = |kid: &[u8], name: &str| UnitKey {
            kid: Kid::new(kid).unwrap(),
            key: array(name),
        };
        let text = |item, value: &str| TextEntry {
            language: "en".into(),
            item,
            value: value.into(),
        };
        let draft = Draft {
            sequence: 7,
            version: &[1, 2, 3],
            vendor: id("vendor_id"),
            class: id("class_id"),
            image: &field("plaintext"),
            text: &[
                text(TextItem::ManifestDescription, "Demo update 1.2.3"),
                text(TextItem::UpdateDescription, "Fixes the demo."),
                text(TextItem::VendorName, "Example"),
                text(TextItem::ModelName, "Demo board"),
                text(TextItem::VendorDomain, "example.com"),
                text(TextItem::ModelInfo, "demo-board rev A"),
                text(TextItem::ComponentVersion, "1.2.3"),
            ],
            recipients: &[key(b"gen1", "kek_gen1"), key(b"gen2", "kek_gen2")],
            content_key: array("cek"),
            iv: id("iv"),
        };
        let kid = Kid::new(b"author-1").unwrap();
        let sign = |signed: &[u8]| signer.sign(signed).to_bytes().to_vec();
        let signers = Vec::from([Signer::new(kid, Algorithm::Ed25519, sign)]);
        let file = assemble(&draft, signers, HEADER_MAX_NARROW).unwrap();
        assert_eq!(hex::encode(&file), hex::encode(field("envelope")));
        // Its counter does not start at zero, which is legal to read but not what we write.
        assert!(matches!(
            encode(&draft, b"author-1", |_| [0; 64]),
            Err(EncodeError::IvCounter)
        ));
    }

    #[test]
    fn iv_leaves_room_for_the_counter() {
        assert_eq!(
            iv(hex!("0102030405060708090a0b0c")),
            hex!("0102030405060708090a0b0c00000000")
        );
    }
}
