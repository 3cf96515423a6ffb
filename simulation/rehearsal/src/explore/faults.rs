//! Which faults an exploration looks at. Each can be switched off; the report states what was covered.

use packstaff_unit::flash::{EraseCut, Inside};
use thiserror::Error;

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

/// A name that stands for no fault.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("there is no fault `{0}`; there are {names}, and `all` and `none`", names = Faults::NAMES.join(", "))]
pub struct UnknownFault(pub String);

impl Faults {
    /// Names of the faults, for [`Faults::named`].
    pub const NAMES: [&'static str; 8] = [
        "cuts",
        "torn-programs",
        "torn-erases",
        "wavering",
        "pulled",
        "swapped",
        "any-choice",
        "refused",
    ];

    /// The faults that a list names, with commas between: `cuts,pulled` is these two alone; `no-swapped,no-wavering` is
    /// [`Faults::all`] without these two; `all,refused` is all, and that one.
    ///
    /// # Errors
    /// A name that is none of [`Faults::NAMES`].
    pub fn named(list: &str) -> Result<Self, UnknownFault> {
        let mut words = list
            .split(',')
            .map(str::trim)
            .filter(|word| !word.is_empty())
            .peekable();
        let from_all = words.peek().is_some_and(|first| first.starts_with("no-"));
        let mut faults = if from_all { Self::all() } else { Self::none() };
        for word in words {
            match (word, word.strip_prefix("no-")) {
                ("all", _) => faults = Self::all(),
                ("none", _) => faults = Self::none(),
                (_, Some(name)) => faults.switch(name, false)?,
                (name, None) => faults.switch(name, true)?,
            }
        }
        Ok(faults)
    }

    fn switch(&mut self, name: &str, on: bool) -> Result<(), UnknownFault> {
        match name {
            "cuts" => self.cuts = on,
            "torn-programs" => self.insides = if on { Inside::ALL.to_vec() } else { Vec::new() },
            "torn-erases" => self.erases = if on { EraseCut::ALL.to_vec() } else { Vec::new() },
            "wavering" => self.wavering = on,
            "pulled" => self.pulled = on,
            "swapped" => self.swapped = on,
            "any-choice" => self.any_choice = on,
            "refused" => self.refused = on,
            _ => return Err(UnknownFault(name.to_owned())),
        }
        Ok(())
    }

    /// The names of those that are on.
    pub fn names(&self) -> Vec<&'static str> {
        let on = [
            self.cuts,
            !self.insides.is_empty(),
            !self.erases.is_empty(),
            self.wavering,
            self.pulled,
            self.swapped,
            self.any_choice,
            self.refused,
        ];
        Self::NAMES
            .into_iter()
            .zip(on)
            .filter_map(|(name, on)| on.then_some(name))
            .collect()
    }

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_are_read() {
        assert_eq!(Faults::named("all"), Ok(Faults::all()));
        assert_eq!(Faults::named(""), Ok(Faults::none()));
        assert_eq!(Faults::named("cuts, pulled").unwrap().names(), ["cuts", "pulled"]);
        let fewer = Faults::named("no-swapped,no-torn-erases").unwrap();
        assert_eq!(
            fewer.names(),
            ["cuts", "torn-programs", "wavering", "pulled", "any-choice"]
        );
        assert_eq!(Faults::named("all,refused").unwrap().names(), Faults::NAMES);
        assert_eq!(Faults::named("cuts,floods"), Err(UnknownFault("floods".to_owned())));
    }

    #[test]
    fn every_name_switches_something() {
        for name in Faults::NAMES {
            assert_eq!(Faults::named(name).unwrap().names(), [name]);
        }
    }
}
