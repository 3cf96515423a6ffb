//! Why a unit does not do what its owner expects. Every reason has a short code that fits any display and that the owner
//! can read to the maker: a letter for whose affair it is, and a number.
//!
//! | letter | about |
//! | --- | --- |
//! | `S` | the stick: below 100 our own findings, from 100 the file system's (100 + its number) |
//! | `F` | the file: damaged, or not signed by somebody this unit trusts |
//! | `N` | a genuine file that is not for this unit |
//! | `U` | the unit itself |

use core::fmt;
use packstaff_envelope::Refusal;

/// Why.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Reason {
    /// The stick has no file system that the unit can read, or a damaged one.
    Stick(packstaff_fat::Error),
    /// A block of the stick could not be read.
    StickUnreadable,
    /// There is no update file in the stick's root directory.
    NoUpdate,
    /// The stick does not answer as it did before: the file is not the one that was picked.
    StickChanged,
    /// A file is an update, but its name has another ending.
    OtherName,
    /// The file is damaged, not an update, or not signed by somebody this unit trusts.
    File(Refusal),
    /// The file is by another maker.
    OtherMaker,
    /// The file is for another product.
    OtherProduct,
    /// The file is for another board revision of this product.
    OtherBoard,
    /// The file's issue is lower than one that this unit has installed: the maker has barred it.
    BelowFloor,
    /// The image does not fit this unit's slot.
    TooLarge,
    /// The unit has no firmware: it is new, or an install was cut short.
    NoImage,
    /// The unit's firmware is damaged.
    ImageDamaged,
    /// The unit's flash could not be erased or programmed.
    FlashFault,
    /// What flash holds after programming is not what was signed.
    FlashDiffers,
    /// The floor could not be raised.
    FloorFault,
    /// The owner picked nothing, and there is nothing else to start.
    Declined,
}

/// A reason's code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Code {
    /// Whose affair it is: `S`, `F`, `N` or `U`.
    pub letter: char,
    /// Which of them.
    pub number: u16,
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.letter, self.number)
    }
}

impl Reason {
    /// The payload is not the one that was signed.
    pub const PAYLOAD_DAMAGED: Self = Self::File(Refusal::PayloadDigest);
    /// The payload decrypts to another image than the one that was signed.
    pub const IMAGE_DIFFERS: Self = Self::File(Refusal::ImageDigest);
    /// The file ends too early.
    pub const TRUNCATED: Self = Self::File(Refusal::Truncated);

    /// The code for the unit's display. It never changes once released.
    pub const fn code(self) -> Code {
        let (letter, number) = match self {
            Self::Stick(error) => ('S', error.code().saturating_add(100)),
            Self::StickUnreadable => ('S', 1),
            Self::NoUpdate => ('S', 2),
            Self::StickChanged => ('S', 3),
            Self::OtherName => ('S', 4),
            Self::File(refusal) => ('F', refusal.code()),
            Self::OtherMaker => ('N', 1),
            Self::OtherProduct => ('N', 2),
            Self::OtherBoard => ('N', 3),
            Self::BelowFloor => ('N', 4),
            Self::TooLarge => ('N', 5),
            Self::NoImage => ('U', 1),
            Self::ImageDamaged => ('U', 2),
            Self::FlashFault => ('U', 3),
            Self::FlashDiffers => ('U', 4),
            Self::FloorFault => ('U', 5),
            Self::Declined => ('U', 6),
        };
        Code { letter, number }
    }

    /// What the owner should do, in one sentence.
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::Stick(error) => match error.remedy() {
                packstaff_fat::Remedy::Format => "Format the stick as FAT32 (this erases it), and copy the file again.",
                packstaff_fat::Remedy::EraseWithTable => {
                    "Erase the stick with a master boot record and one FAT32 partition, and copy the file again."
                }
                packstaff_fat::Remedy::CopyAgain => "Copy the file again, and eject the stick before you pull it out.",
                packstaff_fat::Remedy::OtherStick | packstaff_fat::Remedy::None => {
                    "Take another stick, and copy the file again."
                }
            },
            Self::StickUnreadable => "Push the stick in firmly and try again; if it happens again, take another stick.",
            Self::NoUpdate => "Copy the update file to the top of the stick, not into a folder, and try again.",
            Self::StickChanged => "Leave the stick in its place, and try again.",
            Self::OtherName => "Give the file the name that is on the update sheet: its ending was changed.",
            Self::File(Refusal::NoRecipient) => {
                "This file is for units of another production period: ask the maker for yours."
            }
            Self::File(Refusal::UnknownSigner | Refusal::BadSignature | Refusal::NoSignature) => {
                "Do not use this file: the maker has not signed it. Get it from the maker again."
            }
            Self::File(
                Refusal::KeyUnwrap
                | Refusal::Version
                | Refusal::Component
                | Refusal::PayloadName
                | Refusal::NotEncrypted
                | Refusal::ReleaseNumbers
                | Refusal::SignatureMissing
                | Refusal::UnknownCritical(_)
                | Refusal::UnknownAlgorithm(_)
                | Refusal::Missing(_)
                | Refusal::Template(_),
            ) => "This file is of a kind that this unit does not know: ask the maker for the one that is for it.",
            Self::File(_) => "The file is damaged or incomplete: copy it again from the maker, and eject the stick.",
            Self::OtherMaker | Self::OtherProduct => "This file is not for this unit: get the one named on your sheet.",
            Self::OtherBoard => "This file is for another board revision: the sheet says which file is for yours.",
            Self::BelowFloor => "The maker has barred this old version for this unit: take a later one.",
            Self::TooLarge => "This file is too large for this unit: ask the maker.",
            Self::NoImage => "Put in a stick with an update file: the unit has no firmware to start.",
            Self::ImageDamaged => "Put in a stick with an update file: the unit's firmware is damaged.",
            Self::FlashFault | Self::FloorFault => {
                "Switch off, wait a minute, try again; if it happens again, write to the maker."
            }
            Self::FlashDiffers => "Try again with the same stick; if it happens again, write to the maker.",
            Self::Declined => "Pick an update: the unit has no firmware to start.",
        }
    }

    /// Every reason but those of the file system and the file, which have tables of their own
    /// ([`packstaff_fat::Error`], [`Refusal::all`]).
    pub const OWN: [Self; 15] = [
        Self::StickUnreadable,
        Self::NoUpdate,
        Self::StickChanged,
        Self::OtherName,
        Self::OtherMaker,
        Self::OtherProduct,
        Self::OtherBoard,
        Self::BelowFloor,
        Self::TooLarge,
        Self::NoImage,
        Self::ImageDamaged,
        Self::FlashFault,
        Self::FlashDiffers,
        Self::FloorFault,
        Self::Declined,
    ];
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Stick(error) => return error.fmt(f),
            Self::File(refusal) => return refusal.fmt(f),
            _ => {}
        }
        f.write_str(match self {
            Self::Stick(_) | Self::File(_) => "",
            Self::StickUnreadable => "the stick could not be read",
            Self::NoUpdate => "there is no update file at the top of the stick",
            Self::StickChanged => "the file on the stick is not the one that was picked",
            Self::OtherName => "this is an update file, but its name has another ending",
            Self::OtherMaker => "this file is by another maker",
            Self::OtherProduct => "this file is for another product",
            Self::OtherBoard => "this file is for another board revision",
            Self::BelowFloor => "the maker has barred this version for this unit",
            Self::TooLarge => "the image is larger than this unit's slot",
            Self::NoImage => "the unit has no firmware to start",
            Self::ImageDamaged => "the unit's firmware is damaged",
            Self::FlashFault => "the unit's flash could not be erased or programmed",
            Self::FlashDiffers => "what was stored is not what was signed",
            Self::FloorFault => "the unit's record of installed issues could not be written",
            Self::Declined => "nothing was picked, and there is nothing to start",
        })
    }
}

impl From<Refusal> for Reason {
    fn from(refusal: Refusal) -> Self {
        Self::File(refusal)
    }
}

impl From<packstaff_fat::Error> for Reason {
    fn from(error: packstaff_fat::Error) -> Self {
        Self::Stick(error)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::prelude::v1::*;

    #[test]
    fn every_reason_has_a_code_of_its_own() {
        let files = Refusal::all().map(Reason::File);
        let codes: Vec<_> = Reason::OWN.into_iter().chain(files).map(Reason::code).collect();
        assert_eq!(codes.iter().collect::<BTreeSet<_>>().len(), codes.len());
        assert_eq!(Reason::BelowFloor.code().to_string(), "N4");
    }

    #[test]
    fn every_reason_says_something_and_what_to_do() {
        for reason in Reason::OWN.into_iter().chain(Refusal::all().map(Reason::File)) {
            assert!(reason.to_string().len() > 10, "{reason:?}");
            assert!(reason.remedy().ends_with('.'), "{reason:?}");
        }
    }
}
