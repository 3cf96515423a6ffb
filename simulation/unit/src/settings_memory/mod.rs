//! A simulated settings memory: EEPROM, FRAM, or sectors of flash, with what a cut leaves of each.
//!
//! Flash is that of [`crate::flash`]; for the others see [`PageCut`].

mod pages;
mod torn;

pub use pages::{PageKind, Pages};
pub use torn::PageCut;

use crate::flash::{Change, EraseCut, Flash, Inside, SumKey, Torn, outcomes};
use packstaff_installer::Region;

/// The contents of a settings memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SettingsMemory {
    /// EEPROM or FRAM.
    Pages(Pages),
    /// Sectors of flash.
    Flash(Flash),
}

/// What a cut inside a change leaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SettingsCut {
    /// In a write of an EEPROM or an FRAM.
    Page(PageCut),
    /// In a program or an erase of flash.
    Flash(Torn),
}

impl SettingsCut {
    /// In plain words, for a story.
    pub fn words(self) -> String {
        match self {
            Self::Page(cut) => cut.words(),
            Self::Flash(Torn::Erase(cut)) => cut.words().to_owned(),
            Self::Flash(Torn::Program { whole, inside }) => format!("after {whole} whole granules: {}", inside.words()),
        }
    }
}

impl SettingsMemory {
    /// Why the part would not carry out a change, or a driver must never ask for it.
    ///
    /// # Errors
    /// The reason in plain words.
    pub fn check(&self, change: &Change) -> Result<(), String> {
        match (self, change) {
            (Self::Flash(flash), change) => flash.check(change).map_err(|fault| fault.to_string()),
            (Self::Pages(pages), Change::Program { address, data }) => {
                pages.refuses(*address, data.len() as u32).map_or(Ok(()), Err)
            }
            (Self::Pages(_), Change::Erase { .. }) => Err("this settings memory has nothing to erase".to_owned()),
        }
    }

    /// Carries a change out to its end.
    ///
    /// # Errors
    /// As [`check`](Self::check); nothing is changed then.
    pub fn apply(&mut self, change: &Change) -> Result<(), String> {
        self.check(change)?;
        match (self, change) {
            (Self::Flash(flash), change) => flash.apply(change).map_err(|fault| fault.to_string()),
            (Self::Pages(pages), Change::Program { address, data }) => {
                pages.write(*address, data);
                Ok(())
            }
            (Self::Pages(_), Change::Erase { .. }) => Ok(()),
        }
    }

    /// Every way in which a cut can fall inside a change.
    pub fn cuts(&self, change: &Change) -> Vec<SettingsCut> {
        match (self, change) {
            (Self::Flash(flash), change) => outcomes(flash, change, &Inside::ALL, &EraseCut::ALL)
                .map(SettingsCut::Flash)
                .collect(),
            (Self::Pages(pages), Change::Program { data, .. }) => pages
                .outcomes(data.len() as u32)
                .into_iter()
                .map(SettingsCut::Page)
                .collect(),
            (Self::Pages(_), Change::Erase { .. }) => Vec::new(),
        }
    }

    /// What a cut inside a change leaves.
    ///
    /// # Errors
    /// As [`check`](Self::check); nothing is changed then. A cut of another kind of memory changes nothing.
    pub fn tear(&mut self, change: &Change, cut: SettingsCut) -> Result<(), String> {
        self.check(change)?;
        match (self, change, cut) {
            (Self::Flash(flash), change, SettingsCut::Flash(torn)) => {
                flash.tear(change, torn).map_err(|fault| fault.to_string())
            }
            (Self::Pages(pages), Change::Program { address, data }, SettingsCut::Page(cut)) => {
                pages.tear(*address, data, cut);
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// Bytes as they stand; or, `otherwise`, as they may read where they are in doubt. `None` if the part reports an error.
    pub fn read(&self, address: u32, len: u32, otherwise: bool) -> Option<Vec<u8>> {
        match self {
            Self::Pages(pages) => pages.read(address, len, otherwise),
            Self::Flash(flash) => {
                let mut bytes = flash.bytes(address, len).ok()?;
                let doubtful = |at: u32| flash.wavers(Region { base: at, size: 1 });
                if otherwise {
                    let bytes = bytes.iter_mut().zip(address..);
                    bytes
                        .filter(|(_, at)| doubtful(*at))
                        .for_each(|(byte, _)| *byte ^= 0xa5);
                }
                Some(bytes)
            }
        }
    }

    /// Whether any of a range may read differently from one read to the next.
    pub fn wavers(&self, address: u32, len: u32) -> bool {
        match self {
            Self::Pages(pages) => pages.wavers(address, len),
            Self::Flash(flash) => flash.wavers(Region {
                base: address,
                size: len,
            }),
        }
    }

    /// A keyed 128-bit sum of contents and doubts.
    pub fn sum(&self, key: &SumKey) -> u128 {
        match self {
            Self::Pages(pages) => pages.sum(key),
            Self::Flash(flash) => flash.sum(),
        }
    }
}

#[cfg(test)]
mod tests;
