//! Which faults an exploration looks at. Each can be switched off; the report states what was covered.

use unit::flash::{EraseCut, Inside};

/// The faults.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Faults {
    /// Power is cut, before, inside and after every change of flash, any number of times.
    pub cuts: bool,
    /// What a cut inside a program can leave of the granule that it hits.
    pub insides: Vec<Inside>,
    /// What a cut inside an erase can leave.
    pub erases: Vec<EraseCut>,
    /// Doubtful cells read differently from one read to the next.
    pub wavering: bool,
    /// The stick is pulled, or a block cannot be read, at any read.
    pub pulled: bool,
    /// The stick is another one at the next pass.
    pub swapped: bool,
    /// The owner picks any file, or none.
    pub any_choice: bool,
    /// Flash refuses a change without carrying it out: a fault of the part, not of its supply. Left out of [`Faults::all`],
    /// because [`Claim::Truthful`](crate::claims::Claim::Truthful) does not hold under it: where a void mark cannot be
    /// programmed, the erase goes on without it, and only the digest at the start stands against a half-erased image.
    pub refused: bool,
}

impl Faults {
    /// All that power, stick and owner can do.
    pub fn all() -> Self {
        Self {
            cuts: true,
            insides: Inside::ALL.to_vec(),
            erases: EraseCut::ALL.to_vec(),
            wavering: true,
            pulled: true,
            swapped: true,
            any_choice: true,
            refused: false,
        }
    }

    /// None of them: the install as it should be.
    pub fn none() -> Self {
        Self {
            cuts: false,
            insides: Vec::new(),
            erases: Vec::new(),
            wavering: false,
            pulled: false,
            swapped: false,
            any_choice: false,
            refused: false,
        }
    }

    /// In plain words, what was looked at.
    pub fn covered(&self) -> Vec<&'static str> {
        let torn = self.cuts && !self.insides.is_empty();
        let erases = self.cuts && !self.erases.is_empty();
        [
            (
                self.cuts,
                "power cut before and after every change of flash, any number of times",
            ),
            (torn, "power cut inside every program, at every granule, whole and torn"),
            (erases, "power cut inside every erase"),
            (self.wavering, "doubtful cells that read differently at every read"),
            (self.pulled, "stick pulled, or a block unreadable, at any read"),
            (self.swapped, "stick swapped between passes for any other"),
            (self.any_choice, "owner picks any file, or none"),
            (self.refused, "flash refuses a change"),
        ]
        .into_iter()
        .filter_map(|(on, words)| on.then_some(words))
        .collect()
    }
}
