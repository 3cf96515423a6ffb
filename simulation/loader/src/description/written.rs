//! `unit.toml` as it is written.

use crate::sandbox::Limits;
use packstaff_installer::Region;
use packstaff_rehearsal::explore::Faults;
use packstaff_unit::part::SecondProgram;
use serde::de::Error;
use serde::{Deserialize, Deserializer};
use std::path::PathBuf;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Written {
    pub(super) loader: PathBuf,
    #[serde(default)]
    pub(super) floor: bool,
    pub(super) flash: WrittenFlash,
    pub(super) slot: WrittenRegion,
    pub(super) may_change: Vec<WrittenRegion>,
    #[serde(default)]
    pub(super) erased_before_read: Vec<WrittenRegion>,
    #[serde(default)]
    pub(super) area: Vec<WrittenArea>,
    pub(super) image: Vec<WrittenImage>,
    pub(super) stick: Vec<WrittenStick>,
    pub(super) unit: Vec<WrittenUnit>,
    #[serde(default)]
    pub(super) faults: WrittenFaults,
    #[serde(default)]
    pub(super) limits: Limits,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenFlash {
    pub(super) base: u32,
    pub(super) sectors: Vec<WrittenSectors>,
    pub(super) granule: u32,
    #[serde(default = "blank")]
    pub(super) erased: u8,
    pub(super) check_bits: bool,
    #[serde(deserialize_with = "second_program")]
    pub(super) second_program: SecondProgram,
}

/// One of the words that a parts table has for it.
fn second_program<'de, D: Deserializer<'de>>(deserializer: D) -> Result<SecondProgram, D::Error> {
    let found = String::deserialize(deserializer)?;
    let known = SecondProgram::WORDS.iter().find(|(word, _)| *word == found);
    known.map(|(_, rule)| *rule).ok_or_else(|| {
        let words: Vec<_> = SecondProgram::WORDS
            .iter()
            .map(|(word, _)| format!("`{word}`"))
            .collect();
        D::Error::custom(format!(
            "unknown variant `{found}`, expected one of {}",
            words.join(", ")
        ))
    })
}

const fn blank() -> u8 {
    0xff
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenSectors {
    pub(super) count: u32,
    pub(super) size: u32,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenRegion {
    pub(super) base: u32,
    pub(super) size: u32,
}

impl From<WrittenRegion> for Region {
    fn from(range: WrittenRegion) -> Self {
        Self {
            base: range.base,
            size: range.size,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenArea {
    pub(super) name: String,
    pub(super) base: u32,
    pub(super) size: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenImage {
    pub(super) name: String,
    pub(super) file: PathBuf,
    pub(super) sha256: String,
    pub(super) issue: Option<u64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenStick {
    pub(super) name: String,
    pub(super) file: PathBuf,
    pub(super) installs: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenUnit {
    pub(super) name: String,
    pub(super) after_stick: Option<String>,
    #[serde(default)]
    pub(super) contents: Vec<WrittenContents>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenContents {
    pub(super) at: u32,
    pub(super) file: PathBuf,
}

/// All on but the last: what power, stick and a changing mind can do, and not what a worn part does.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct WrittenFaults {
    pub(super) cuts: bool,
    pub(super) torn_programs: bool,
    pub(super) torn_erases: bool,
    pub(super) wavering: bool,
    pub(super) pulled: bool,
    pub(super) swapped: bool,
    pub(super) refused: bool,
}

impl Default for WrittenFaults {
    fn default() -> Self {
        Self {
            cuts: true,
            torn_programs: true,
            torn_erases: true,
            wavering: true,
            pulled: true,
            swapped: true,
            refused: false,
        }
    }
}

impl WrittenFaults {
    pub(super) fn read(&self) -> Faults {
        let all = Faults::all();
        let mut faults = Faults::none();
        faults.cuts = self.cuts;
        faults.wavering = self.wavering;
        faults.pulled = self.pulled;
        faults.swapped = self.swapped;
        faults.refused = self.refused;
        if self.torn_programs {
            faults.insides = all.insides;
        }
        if self.torn_erases {
            faults.erases = all.erases;
        }
        faults
    }
}
