//! Why a unit does not do what its owner expects. Every reason has a short code that fits any display and that the owner
//! can read to the maker: a letter for whose affair it is, and a number. What a code means to people is no affair of a unit:
//! the crate `packstaff-words` has the table.
//!
//! | letter | about |
//! | --- | --- |
//! | `S` | the stick: below 100 our own findings, from 100 the file system's (100 + its number) |
//! | `F` | the file: damaged, or not signed by somebody this unit trusts |
//! | `N` | a genuine file that is not for this unit |
//! | `U` | the unit itself |

use core::fmt;
use packstaff_envelope::Refusal;
use packstaff_fat::ErrorKind;

/// Why.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Reason {
    /// The stick has no file system that the unit can read, or a damaged one.
    Stick(ErrorKind),
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

    /// Every reason that there is.
    pub fn all() -> impl Iterator<Item = Self> {
        let sticks = ErrorKind::ALL.iter().copied().map(Self::Stick);
        Self::OWN
            .into_iter()
            .chain(sticks)
            .chain(Refusal::all().map(Self::File))
    }

    /// The reason with this code, if there is one: for reading back what an owner reports.
    pub fn from_code(code: Code) -> Option<Self> {
        Self::all().find(|reason| reason.code() == code)
    }
}

/// Declares the short names of the reasons that are neither the file system's nor the file's; the compiler refuses a list that
/// lacks one.
macro_rules! own {
    ($($name:ident, $short:literal;)*) => {
        impl Reason {
            /// Every reason but those of the file system and the file, which have tables of their own
            /// ([`ErrorKind::ALL`], [`Refusal::all`]).
            pub const OWN: [Self; 15] = [$(Self::$name),*];
        }

        /// A short name, for a display or a log.
        impl fmt::Display for Reason {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                match self {
                    Self::Stick(kind) => kind.fmt(f),
                    Self::File(refusal) => refusal.fmt(f),
                    $(Self::$name => f.write_str($short),)*
                }
            }
        }
    };
}

own! {
    StickUnreadable, "stick unreadable";
    NoUpdate, "no update on the stick";
    StickChanged, "stick changed";
    OtherName, "update under another ending";
    OtherMaker, "file of another maker";
    OtherProduct, "file for another product";
    OtherBoard, "file for another board";
    BelowFloor, "version barred";
    TooLarge, "image too large";
    NoImage, "no firmware";
    ImageDamaged, "firmware damaged";
    FlashFault, "flash fault";
    FlashDiffers, "flash differs";
    FloorFault, "register fault";
    Declined, "nothing picked";
}

impl From<Refusal> for Reason {
    fn from(refusal: Refusal) -> Self {
        Self::File(refusal)
    }
}

impl From<ErrorKind> for Reason {
    fn from(kind: ErrorKind) -> Self {
        Self::Stick(kind)
    }
}

impl From<packstaff_fat::Error> for Reason {
    fn from(error: packstaff_fat::Error) -> Self {
        Self::Stick(error.kind())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::prelude::v1::*;

    #[test]
    fn every_reason_has_a_code_of_its_own() {
        let codes: Vec<_> = Reason::all().map(Reason::code).collect();
        assert_eq!(codes.iter().collect::<BTreeSet<_>>().len(), codes.len());
        assert_eq!(Reason::BelowFloor.code().to_string(), "N4");
        assert!(Reason::all().all(|reason| Reason::from_code(reason.code()) == Some(reason)));
    }

    #[test]
    fn every_reason_has_a_short_name_of_its_own() {
        let names: BTreeSet<_> = Reason::all().map(|reason| reason.to_string()).collect();
        assert_eq!(names.len(), Reason::all().count());
        assert!(names.iter().all(|name| (4..=50).contains(&name.len())), "{names:?}");
    }

    /// A display of two lines has 16 characters in each (common practice); one line is for the code, with room for a few words
    /// before it.
    #[test]
    fn codes_are_short_enough_for_a_display_of_two_lines() {
        let codes = Reason::all().map(|reason| reason.code().to_string());
        let longest = codes.max_by_key(String::len).unwrap();
        assert_eq!(longest.len(), 5, "{longest}");
        assert!(16 - longest.len() > "not used:".len());
    }
}
