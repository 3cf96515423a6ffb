//! Deliberate mistakes, one at a time: the rehearsal must catch every one of them, or it proves nothing.
//!
//! Only with the feature `flaws`, which no unit is ever built with. Without it a machine has no flaw, and the questions
//! whether it has one are constants that the compiler takes away.

/// A mistake that somebody who writes an installer could make.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Flaw {
    /// The descriptor is programmed before the image.
    DescriptorFirst,
    /// The descriptor is not voided before the erase.
    SkipsVoid,
    /// The image in flash is not digested before the descriptor is programmed.
    SkipsFlashDigest,
    /// What was programmed is never digested, neither before the descriptor is programmed nor before the start.
    NeverDigests,
    /// The payload is not checked as a whole before the erase.
    SkipsDryPass,
    /// The header is not read again after the owner's choice, or is taken whatever it is.
    SkipsConfirm,
    /// There is no floor but the installed image's own issue.
    FloorInSlot,
    /// The floor is raised as soon as a file of a higher issue is seen.
    FloorEarly,
    /// Files below the floor are taken.
    FloorIgnored,
    /// The floor has one record, which is erased to be written again.
    FloorOneRecord,
    /// A floor record that reads as whole is relied on, whoever finished it.
    FloorTrustsReading,
    /// A slot without a descriptor that stands is taken for erased.
    TrustsRemnants,
    /// One sector of the slot is not erased.
    ErasesTooLittle,
    /// The sector below the slot is erased too.
    ErasesTooMuch,
    /// A unit without an image does not look for a stick.
    NoRecovery,
}

/// One decision that a disturbed processor passes by: the instruction that takes the other branch is skipped, each time.
///
/// These are no mistakes of ours, and no claim may break under either of them: what decides that an image is started is decided
/// twice, from values that do not depend on each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Skipped {
    /// The comparison of the digest that flash gave with the descriptor's.
    Inspection,
    /// The comparison once more, at the start itself.
    Start,
}

impl Flaw {
    /// All of them.
    pub const ALL: [Self; 15] = [
        Self::DescriptorFirst,
        Self::SkipsVoid,
        Self::SkipsFlashDigest,
        Self::NeverDigests,
        Self::SkipsDryPass,
        Self::SkipsConfirm,
        Self::FloorInSlot,
        Self::FloorEarly,
        Self::FloorIgnored,
        Self::FloorOneRecord,
        Self::FloorTrustsReading,
        Self::TrustsRemnants,
        Self::ErasesTooLittle,
        Self::ErasesTooMuch,
        Self::NoRecovery,
    ];
}

/// The flaw that a machine has, if any.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(crate) struct Flawed {
    #[cfg(feature = "flaws")]
    flaw: Option<Flaw>,
    #[cfg(feature = "flaws")]
    skipped: Option<Skipped>,
}

impl Flawed {
    pub(crate) const NO: Self = Self {
        #[cfg(feature = "flaws")]
        flaw: None,
        #[cfg(feature = "flaws")]
        skipped: None,
    };

    #[cfg(feature = "flaws")]
    pub(crate) const fn with(flaw: Flaw) -> Self {
        Self {
            flaw: Some(flaw),
            skipped: None,
        }
    }

    #[cfg(feature = "flaws")]
    pub(crate) const fn passing_by(skipped: Skipped) -> Self {
        Self {
            flaw: None,
            skipped: Some(skipped),
        }
    }

    #[cfg(feature = "flaws")]
    pub(crate) fn skips(self, decision: Skipped) -> bool {
        self.skipped == Some(decision)
    }

    #[cfg(not(feature = "flaws"))]
    #[allow(clippy::unused_self)] // the same call with and without the feature
    pub(crate) const fn skips(self, _decision: Skipped) -> bool {
        false
    }

    #[cfg(feature = "flaws")]
    pub(crate) fn has(self, flaw: Flaw) -> bool {
        self.flaw == Some(flaw)
    }

    #[cfg(not(feature = "flaws"))]
    #[allow(clippy::unused_self)] // the same call with and without the feature
    pub(crate) const fn has(self, _flaw: Flaw) -> bool {
        false
    }
}
