//! Deliberate mistakes, one at a time: the rehearsal must catch every one of them, or it proves nothing.
//!
//! Only with the feature `flaws`, which no unit is ever built with.

/// A mistake that somebody who writes a settings store could make.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Flaw {
    /// A record is written over the one that counts: settings are carried over, and saved, in place.
    InPlace,
    /// The check values are not looked at.
    SkipsCheck,
    /// What an older version had is voided before the new record is written.
    VoidsFirst,
    /// Turns go round through 0, which is to stand for no record at all.
    ZeroTurn,
    /// A record that reads as whole is relied on, whoever finished it.
    TrustsReading,
    /// What a cut left behind, and does not read as whole, is left where it is.
    LeavesRemnants,
    /// What was written is not read back.
    SkipsReadBack,
    /// A blank place in flash is taken for erased.
    TrustsBlank,
    /// The head of a record is written before the rest, and its payload is not covered by a check value.
    HeadFirst,
    /// The settings are saved as carried over before what they cannot hold is kept aside.
    AsideLast,
    /// The very first record is relied on as soon as it was written once.
    TrustsFirst,
}

impl Flaw {
    /// All of them.
    pub const ALL: [Self; 11] = [
        Self::InPlace,
        Self::SkipsCheck,
        Self::VoidsFirst,
        Self::ZeroTurn,
        Self::TrustsReading,
        Self::LeavesRemnants,
        Self::SkipsReadBack,
        Self::TrustsBlank,
        Self::HeadFirst,
        Self::AsideLast,
        Self::TrustsFirst,
    ];
}

/// The flaw that a machine has, if any.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(crate) struct Flawed {
    #[cfg(feature = "flaws")]
    flaw: Option<Flaw>,
}

impl Flawed {
    pub(crate) const NO: Self = Self {
        #[cfg(feature = "flaws")]
        flaw: None,
    };

    #[cfg(feature = "flaws")]
    pub(crate) const fn with(flaw: Flaw) -> Self {
        Self { flaw: Some(flaw) }
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
