//! What a product can do to people: declared by the maker, shown on the owner's sheet.

use std::fmt;

/// One way in which a product can hurt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Hazard {
    /// It carries or switches mains voltage.
    Mains,
    /// It carries other dangerous voltages, or stores them.
    HighVoltage,
    /// It heats, or controls something that heats.
    Heat,
    /// It moves, or controls something that moves.
    Motion,
    /// It transmits.
    Transmitter,
    /// It has a battery that can burn.
    Battery,
    /// It controls pressure or vacuum.
    Pressure,
    /// It controls fuel gas.
    Gas,
    /// It controls or holds chemicals.
    Chemicals,
    /// It emits laser or strong light.
    Light,
    /// It is used on or near people's bodies, or their safety rests on it.
    LifeSafety,
}

impl Hazard {
    /// The words of a product file.
    pub const WORDS: &[(&str, Self)] = &[
        ("mains", Self::Mains),
        ("high-voltage", Self::HighVoltage),
        ("heat", Self::Heat),
        ("motion", Self::Motion),
        ("transmitter", Self::Transmitter),
        ("battery", Self::Battery),
        ("pressure", Self::Pressure),
        ("gas", Self::Gas),
        ("chemicals", Self::Chemicals),
        ("light", Self::Light),
        ("life-safety", Self::LifeSafety),
    ];

    /// The word of a product file.
    pub fn word(self) -> &'static str {
        Self::WORDS
            .iter()
            .find(|(_, hazard)| *hazard == self)
            .map_or("", |(word, _)| word)
    }
}

impl fmt::Display for Hazard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}
