//! Where the fault lies: the same for every reader, in every language.

use packstaff_envelope::{Part, Refusal};
use packstaff_fat::ErrorKind;
use packstaff_installer::Reason;

/// Where the fault behind a reason lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AtFault {
    /// Nowhere: units are meant to do this.
    Nobody,
    /// The stick: its contact, its wear, or the way a computer has formatted or written it.
    Stick,
    /// The copy of the file: damaged on its way, left out, or under another name.
    Copy,
    /// The choice of the file: it is good, and for another unit.
    Choice,
    /// The file as it was made: whole and signed, and yet not for such units.
    File,
    /// Whoever made the file: nobody that the unit trusts has signed it.
    Stranger,
    /// The unit.
    Unit,
    /// The port: its drivers, or how it calls the installer.
    Port,
}

impl AtFault {
    /// Every place.
    pub const ALL: [Self; 8] = [
        Self::Nobody,
        Self::Stick,
        Self::Copy,
        Self::Choice,
        Self::File,
        Self::Stranger,
        Self::Unit,
        Self::Port,
    ];

    /// Where the fault behind `reason` lies, or most often lies.
    pub const fn of(reason: Reason) -> Self {
        match reason {
            // Readers of a stick ask for files as files and for folders as folders.
            Reason::Stick(ErrorKind::IsDirectory | ErrorKind::IsFile) => Self::Port,
            Reason::Stick(_) | Reason::StickUnreadable | Reason::StickChanged => Self::Stick,
            Reason::NoUpdate | Reason::OtherName => Self::Copy,
            Reason::File(refusal) => Self::of_file(refusal),
            Reason::OtherMaker | Reason::OtherProduct | Reason::OtherBoard | Reason::BelowFloor => Self::Choice,
            Reason::TooLarge => Self::File,
            Reason::NoImage | Reason::Declined => Self::Nobody,
            Reason::ImageDamaged | Reason::FlashFault | Reason::FlashDiffers | Reason::FloorFault => Self::Unit,
        }
    }

    const fn of_file(refusal: Refusal) -> Self {
        match refusal {
            Refusal::Incomplete => Self::Port,
            Refusal::NotAnUpdate
            | Refusal::Truncated
            | Refusal::Trailing
            | Refusal::TooLarge
            | Refusal::Empty
            | Refusal::ManifestDigest
            | Refusal::TextDigest
            | Refusal::SizeMismatch
            | Refusal::PayloadDigest => Self::Copy,
            Refusal::NoSignature | Refusal::UnknownSigner | Refusal::BadSignature => Self::Stranger,
            Refusal::NoRecipient => Self::Choice,
            Refusal::Version
            | Refusal::Component
            | Refusal::PayloadName
            | Refusal::NotEncrypted
            | Refusal::KeyUnwrap
            | Refusal::ReleaseNumbers
            | Refusal::ImageDigest
            | Refusal::SignatureMissing
            | Refusal::UnknownAlgorithm(_) => Self::File,
            Refusal::Malformed(place) => Self::of_part(place.part),
            Refusal::UnknownCritical(part) | Refusal::Missing(part) | Refusal::Template(part) => Self::of_part(part),
        }
    }

    /// What is read before a signature holds can have been damaged; the rest is looked at only once it is known to be as the
    /// signer made it.
    const fn of_part(part: Part) -> Self {
        match part {
            Part::Envelope | Part::Wrapper | Part::Signature => Self::Copy,
            Part::Manifest
            | Part::Common
            | Part::Shared
            | Part::Install
            | Part::Validate
            | Part::Invoke
            | Part::SetVersion
            | Part::Encryption
            | Part::Recipient
            | Part::Text => Self::File,
        }
    }
}
