//! Why a file is not taken. Every refusal has a number that an owner can read to the maker over the telephone.

use core::fmt;

/// The part of the update file in which something was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Part {
    /// The outermost map, its tag and its keys.
    Envelope = 1,
    /// The authentication wrapper: the manifest's digest and the signatures.
    Wrapper = 2,
    /// One authentication block: a COSE_Sign1 object.
    Signature = 3,
    /// The manifest's outermost map.
    Manifest = 4,
    /// The common block: components and the shared sequence.
    Common = 5,
    /// The shared command sequence: identifiers, image digest, image size.
    Shared = 6,
    /// The install command sequence.
    Install = 7,
    /// The validate command sequence.
    Validate = 8,
    /// The invoke command sequence.
    Invoke = 9,
    /// The set-version element: the release's integers.
    SetVersion = 10,
    /// The encryption information: a COSE_Encrypt object.
    Encryption = 11,
    /// One recipient of the content key.
    Recipient = 12,
    /// The text for people.
    Text = 13,
}

/// What is wrong with the encoding of an item (CBOR, RFC 8949; the profile is its section 4.2.1, deterministic).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Fault {
    /// An item runs past the end of what encloses it.
    Cut = 1,
    /// A head is longer than its value needs.
    NotShortest = 2,
    /// A length is left open until a break.
    Indefinite = 3,
    /// Another kind of item was due here.
    Kind = 4,
    /// A map key is missing before this one, or stands in the wrong order.
    KeyOrder = 5,
    /// A map key stands twice.
    DuplicateKey = 6,
    /// Bytes follow the item that should be the last.
    ExtraBytes = 7,
    /// A number or a length is outside what the profile allows.
    Value = 8,
    /// Items are nested deeper than the reader follows.
    TooDeep = 9,
    /// A text is not UTF-8.
    NotUtf8 = 10,
}

/// The place of a fault: which part, and what kind of fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Where {
    /// The part of the file.
    pub part: Part,
    /// What is wrong there.
    pub fault: Fault,
}

/// Why an update file is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Refusal {
    /// The file does not begin with the tag of a SUIT envelope.
    NotAnUpdate,
    /// The header was judged before it was read to its end. A fault of the driver, not of the file.
    Incomplete,
    /// The file ends before the envelope does.
    Truncated,
    /// Bytes follow the payload.
    Trailing,
    /// Wrapper and manifest together, or the text, are larger than a unit has room for.
    TooLarge,
    /// The payload has no bytes.
    Empty,
    /// The manifest's structure version is not 1.
    Version,
    /// The manifest does not have the digest that the wrapper states.
    ManifestDigest,
    /// The wrapper holds no signature.
    NoSignature,
    /// Nobody that this unit trusts has signed.
    UnknownSigner,
    /// A signature by somebody that this unit trusts does not hold.
    BadSignature,
    /// The text is not the one that was signed, or none was signed.
    TextDigest,
    /// The sizes of image and payload differ: signed against signed, or signed against the file.
    SizeMismatch,
    /// The components are not the two of the profile, or a command points at the wrong one.
    Component,
    /// The payload is not called `#fw`.
    PayloadName,
    /// The install sequence states no encryption.
    NotEncrypted,
    /// The content key is not wrapped for this unit's generation.
    NoRecipient,
    /// The content key for this unit's generation does not unwrap.
    KeyUnwrap,
    /// The version is not one to three non-negative integers of 32 bits.
    ReleaseNumbers,
    /// The payload does not have the digest that was signed.
    PayloadDigest,
    /// The decrypted image does not have the digest that was signed.
    ImageDigest,
    /// Of the kinds of signature that this unit demands, one is not there.
    SignatureMissing,
    /// The encoding is not the one deterministic encoding.
    Malformed(Where),
    /// A key, command or parameter stands here that this profile does not know, and must not skip.
    UnknownCritical(Part),
    /// A key that the profile requires is not there.
    Missing(Part),
    /// An algorithm is named that this unit does not have.
    UnknownAlgorithm(Part),
    /// Known commands or parameters, but not in the profile's fixed arrangement.
    Template(Part),
}

const PARTS: [Part; 13] = [
    Part::Envelope,
    Part::Wrapper,
    Part::Signature,
    Part::Manifest,
    Part::Common,
    Part::Shared,
    Part::Install,
    Part::Validate,
    Part::Invoke,
    Part::SetVersion,
    Part::Encryption,
    Part::Recipient,
    Part::Text,
];

const FAULTS: [Fault; 10] = [
    Fault::Cut,
    Fault::NotShortest,
    Fault::Indefinite,
    Fault::Kind,
    Fault::KeyOrder,
    Fault::DuplicateKey,
    Fault::ExtraBytes,
    Fault::Value,
    Fault::TooDeep,
    Fault::NotUtf8,
];

const PLAIN: [Refusal; 22] = [
    Refusal::NotAnUpdate,
    Refusal::Incomplete,
    Refusal::Truncated,
    Refusal::Trailing,
    Refusal::TooLarge,
    Refusal::Empty,
    Refusal::Version,
    Refusal::ManifestDigest,
    Refusal::NoSignature,
    Refusal::UnknownSigner,
    Refusal::BadSignature,
    Refusal::TextDigest,
    Refusal::SizeMismatch,
    Refusal::Component,
    Refusal::PayloadName,
    Refusal::NotEncrypted,
    Refusal::NoRecipient,
    Refusal::KeyUnwrap,
    Refusal::ReleaseNumbers,
    Refusal::PayloadDigest,
    Refusal::ImageDigest,
    Refusal::SignatureMissing,
];

impl Refusal {
    /// The refusal's number, 1 to 1399. It never changes once released.
    ///
    /// Up to 99: a reason of its own. From 101: the hundreds are the [`Part`], the rest says what was found there
    /// (1 to 10 a [`Fault`], 20 unknown critical content, 21 missing, 22 unknown algorithm, 23 not the template).
    pub const fn code(self) -> u16 {
        match self {
            Self::NotAnUpdate => 1,
            Self::Incomplete => 2,
            Self::Truncated => 3,
            Self::Trailing => 4,
            Self::TooLarge => 5,
            Self::Empty => 6,
            Self::Version => 7,
            Self::ManifestDigest => 8,
            Self::NoSignature => 9,
            Self::UnknownSigner => 10,
            Self::BadSignature => 11,
            Self::TextDigest => 12,
            Self::SizeMismatch => 13,
            Self::Component => 14,
            Self::PayloadName => 15,
            Self::NotEncrypted => 16,
            Self::NoRecipient => 17,
            Self::KeyUnwrap => 18,
            Self::ReleaseNumbers => 19,
            Self::PayloadDigest => 20,
            Self::ImageDigest => 21,
            Self::SignatureMissing => 22,
            Self::Malformed(at) => at.part.hundreds().wrapping_add(at.fault as u16),
            Self::UnknownCritical(part) => part.hundreds().wrapping_add(20),
            Self::Missing(part) => part.hundreds().wrapping_add(21),
            Self::UnknownAlgorithm(part) => part.hundreds().wrapping_add(22),
            Self::Template(part) => part.hundreds().wrapping_add(23),
        }
    }

    /// The refusal with this number, if there is one: for reading back what an owner reports.
    pub fn from_code(code: u16) -> Option<Self> {
        Self::all().find(|refusal| refusal.code() == code)
    }

    /// Every refusal that there is.
    pub fn all() -> impl Iterator<Item = Self> {
        let in_part = |part: Part| {
            FAULTS
                .into_iter()
                .map(move |fault| Self::Malformed(Where { part, fault }))
                .chain([
                    Self::UnknownCritical(part),
                    Self::Missing(part),
                    Self::UnknownAlgorithm(part),
                    Self::Template(part),
                ])
        };
        PLAIN.into_iter().chain(PARTS.into_iter().flat_map(in_part))
    }

    pub(crate) const fn malformed(part: Part, fault: Fault) -> Self {
        Self::Malformed(Where { part, fault })
    }
}

impl Part {
    const fn hundreds(self) -> u16 {
        (self as u16).wrapping_mul(100)
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Envelope => "the envelope",
            Self::Wrapper => "the authentication wrapper",
            Self::Signature => "a signature block",
            Self::Manifest => "the manifest",
            Self::Common => "the manifest's common block",
            Self::Shared => "the shared command sequence",
            Self::Install => "the install command sequence",
            Self::Validate => "the validate command sequence",
            Self::Invoke => "the invoke command sequence",
            Self::SetVersion => "the version element",
            Self::Encryption => "the encryption information",
            Self::Recipient => "a recipient of the content key",
            Self::Text => "the text element",
        })
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Cut => "an item runs past the end of what encloses it",
            Self::NotShortest => "a head is longer than its value needs",
            Self::Indefinite => "a length is left open; lengths must be stated",
            Self::Kind => "another kind of item was expected",
            Self::KeyOrder => "a key is missing or out of order",
            Self::DuplicateKey => "a key stands twice",
            Self::ExtraBytes => "bytes follow the last item",
            Self::Value => "a number or a length is outside what the profile allows",
            Self::TooDeep => "items are nested too deeply",
            Self::NotUtf8 => "a text is not UTF-8",
        })
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sentence = match self {
            Self::NotAnUpdate => "this is not an update file: it does not begin with D8 6B; choose another file",
            Self::Incomplete => "the header was judged before it was read to its end; feed the rest of it first",
            Self::Truncated => "the file ends before the update does; copy it to the stick again",
            Self::Trailing => "bytes follow the payload; copy the original file to the stick again",
            Self::TooLarge => "the header is larger than a unit has room for; ask the maker for another file",
            Self::Empty => "the payload has no bytes; ask the maker for another file",
            Self::Version => "the manifest's structure version is not 1; this unit reads version 1 only",
            Self::ManifestDigest => "the manifest is not the one that was signed; copy the file to the stick again",
            Self::NoSignature => "nobody has signed this file; use only files from the maker",
            Self::UnknownSigner => "nobody that this unit trusts has signed this file; use only files from the maker",
            Self::BadSignature => "the signature does not hold; copy the file again, and use only files from the maker",
            Self::TextDigest => "the text is not the one that was signed; copy the file to the stick again",
            Self::SizeMismatch => "the stated sizes of image and payload differ; copy the file to the stick again",
            Self::Component => "the components are not the two of this profile; ask the maker for another file",
            Self::PayloadName => "the payload is not called #fw; ask the maker for another file",
            Self::NotEncrypted => "the file states no encryption; this unit takes encrypted images only",
            Self::NoRecipient => {
                "the file cannot be read with this unit's generation of keys; ask the maker for one that can"
            }
            Self::KeyUnwrap => "the content key does not open with this unit's key; ask the maker for another file",
            Self::ReleaseNumbers => "the version is not one to three whole numbers; ask the maker for another file",
            Self::PayloadDigest => "the payload is not the one that was signed; copy the file to the stick again",
            Self::ImageDigest => "the decrypted image is not the one that was signed; ask the maker for another file",
            Self::SignatureMissing => {
                "the file lacks a second signature that this unit demands; ask the maker for one that has it"
            }
            Self::Malformed(at) => return write!(f, "{}: {}", at.part, at.fault),
            Self::UnknownCritical(part) => {
                return write!(
                    f,
                    "{part} holds something that this unit does not know and must not skip"
                );
            }
            Self::Missing(part) => {
                return write!(f, "{part} lacks something that every update file must have");
            }
            Self::UnknownAlgorithm(part) => {
                return write!(f, "{part} names an algorithm that this unit does not have");
            }
            Self::Template(part) => {
                return write!(f, "{part} is not arranged as this profile arranges it");
            }
        };
        f.write_str(sentence)
    }
}

impl core::error::Error for Refusal {}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_refusal_has_a_number_of_its_own() {
        let codes: BTreeSet<u16> = Refusal::all().map(Refusal::code).collect();
        assert_eq!(codes.len(), Refusal::all().count());
        assert_eq!(codes.len(), PLAIN.len() + PARTS.len() * (FAULTS.len() + 4));
        assert!(Refusal::all().all(|refusal| Refusal::from_code(refusal.code()) == Some(refusal)));
        assert_eq!(Refusal::from_code(0), None);
    }

    #[test]
    fn every_refusal_says_something() {
        for refusal in Refusal::all() {
            let text = refusal.to_string();
            assert!(text.len() > 20 && !text.ends_with('.'), "{text}");
        }
    }
}
