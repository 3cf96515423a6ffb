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

/// Every variant that carries nothing; the compiler refuses a list that lacks one.
macro_rules! every {
    ($kind:ident: $($name:ident)* $(; beside $($other:ident)*)?) => {{
        const _: fn($kind) = |one| match one {
            $($kind::$name => {})*
            $($($kind::$other(_) => {})*)?
        };
        [$($kind::$name),*]
    }};
}

const PARTS: [Part; 13] = every!(
    Part: Envelope Wrapper Signature Manifest Common Shared Install Validate Invoke SetVersion Encryption Recipient Text
);

const FAULTS: [Fault; 10] = every!(
    Fault: Cut NotShortest Indefinite Kind KeyOrder DuplicateKey ExtraBytes Value TooDeep NotUtf8
);

const PLAIN: [Refusal; 22] = every!(
    Refusal: NotAnUpdate Incomplete Truncated Trailing TooLarge Empty Version ManifestDigest NoSignature UnknownSigner
        BadSignature TextDigest SizeMismatch Component PayloadName NotEncrypted NoRecipient KeyUnwrap ReleaseNumbers
        PayloadDigest ImageDigest SignatureMissing;
    beside Malformed UnknownCritical Missing UnknownAlgorithm Template
);

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
            Self::Envelope => "envelope",
            Self::Wrapper => "wrapper",
            Self::Signature => "signature block",
            Self::Manifest => "manifest",
            Self::Common => "common block",
            Self::Shared => "shared sequence",
            Self::Install => "install sequence",
            Self::Validate => "validate sequence",
            Self::Invoke => "invoke sequence",
            Self::SetVersion => "version element",
            Self::Encryption => "encryption information",
            Self::Recipient => "recipient",
            Self::Text => "text element",
        })
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Cut => "item cut off",
            Self::NotShortest => "head too long",
            Self::Indefinite => "open length",
            Self::Kind => "item of another kind",
            Self::KeyOrder => "keys out of order",
            Self::DuplicateKey => "key twice",
            Self::ExtraBytes => "bytes behind the last item",
            Self::Value => "value out of range",
            Self::TooDeep => "nested too deeply",
            Self::NotUtf8 => "not UTF-8",
        })
    }
}

/// A short name, for a display or a log. It is the name of what was found, and gives no advice.
impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotAnUpdate => "not an update file",
            Self::Incomplete => "header not read to its end",
            Self::Truncated => "file cut short",
            Self::Trailing => "bytes behind the payload",
            Self::TooLarge => "header too large",
            Self::Empty => "empty payload",
            Self::Version => "manifest of another version",
            Self::ManifestDigest => "manifest digest differs",
            Self::NoSignature => "no signature",
            Self::UnknownSigner => "no trusted signer",
            Self::BadSignature => "wrong signature",
            Self::TextDigest => "text digest differs",
            Self::SizeMismatch => "sizes differ",
            Self::Component => "other components",
            Self::PayloadName => "payload not called #fw",
            Self::NotEncrypted => "not encrypted",
            Self::NoRecipient => "not for this generation of keys",
            Self::KeyUnwrap => "content key does not open",
            Self::ReleaseNumbers => "version not one to three whole numbers",
            Self::PayloadDigest => "payload digest differs",
            Self::ImageDigest => "image digest differs",
            Self::SignatureMissing => "second signature missing",
            Self::Malformed(at) => return write!(f, "{}: {}", at.part, at.fault),
            Self::UnknownCritical(part) => return write!(f, "{part}: unknown content"),
            Self::Missing(part) => return write!(f, "{part}: something missing"),
            Self::UnknownAlgorithm(part) => return write!(f, "{part}: unknown algorithm"),
            Self::Template(part) => return write!(f, "{part}: another arrangement"),
        })
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
    fn every_refusal_has_a_short_name_of_its_own() {
        let names: BTreeSet<String> = Refusal::all().map(|refusal| refusal.to_string()).collect();
        assert_eq!(names.len(), Refusal::all().count());
        let whole = |name: &String| (10..=50).contains(&name.len()) && !name.ends_with('.');
        assert!(names.iter().all(whole), "{names:?}");
    }
}
