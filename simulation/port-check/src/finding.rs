//! What a judge finds wrong with a port.

use packstaff_installer::Region;
use std::fmt;

/// Why a case does not hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Finding {
    /// The line itself.
    #[error("the line: {0}")]
    Line(String),
    /// Nobody is at the other end any more.
    #[error("the line: {0}")]
    Gone(String),
    /// The port speaks another version of the line.
    #[error("the port speaks {0:?}; this program speaks \"port 1\"")]
    Version(String),
    /// The port's map cannot be understood, or breaks a rule of the installer.
    #[error("the port's map: {0}")]
    Map(String),
    /// An answer of the wrong kind.
    #[error("{asked:?} was answered with {answer:?}; expected {expected}")]
    Answer {
        /// What was asked.
        asked: String,
        /// What came.
        answer: String,
        /// What would have been right.
        expected: String,
    },
    /// A driver finds something else than there is.
    #[error("{asked}: the driver gives {found}, and {expected} is right. {hint}")]
    Reads {
        /// The operation.
        asked: String,
        /// What it gave.
        found: String,
        /// What is so.
        expected: String,
        /// What often is behind it.
        hint: &'static str,
    },
    /// An erase that was reported done and is not, or not there.
    #[error("the erase of the sector at {sector:#x} was reported done, but it does not read as erased{}", also(.others))]
    NotErased {
        /// The sector.
        sector: u32,
        /// Sectors that changed instead.
        others: Vec<Region>,
    },
    /// A program that was reported done and is not.
    #[error(
        "programming {len} bytes at {address:#x} was reported done, but they are not there: {wrong} of them differ, the first at {first:#x}{}",
        also(.others)
    )]
    NotProgrammed {
        /// First address.
        address: u32,
        /// Bytes.
        len: u32,
        /// How many differ.
        wrong: usize,
        /// The first that does.
        first: u32,
        /// Sectors that changed instead.
        others: Vec<Region>,
    },
    /// An operation that fails although it is a right one.
    #[error("{0}: the driver reports a failure, and the operation is a right one")]
    Fails(String),
    /// Cells changed that nobody asked to change.
    #[error("after {after}, cells changed that nobody asked to change:{}", list(.sectors))]
    Changed {
        /// What was done.
        after: String,
        /// The sectors that differ.
        sectors: Vec<Region>,
    },
    /// The port's installer asks for something else than the same installer here.
    #[error(
        "at step {step} the port asks for {found:?}, and the installer here, after the same answers, for {expected:?}: the port's configuration differs from its map, or its installer is of another version"
    )]
    OtherWay {
        /// Which step of the power-up.
        step: u32,
        /// The port's request.
        found: String,
        /// The judge's.
        expected: String,
    },
    /// A screen that does not show what the owner must see.
    #[error("the screen shows {shown:?}; the owner must be able to read {expected:?} there")]
    Screen {
        /// What it shows.
        shown: String,
        /// What must be in it.
        expected: String,
    },
    /// A power-up that ends otherwise than the simulated one.
    #[error("the unit {found}; expected: it {expected}")]
    Ends {
        /// How it ended.
        found: String,
        /// How it should have.
        expected: String,
    },
    /// The judge itself could not do its part.
    #[error("the judge: {0}")]
    Judge(String),
}

fn list(regions: &[Region]) -> Sectors<'_> {
    Sectors { regions, before: "" }
}

fn also(regions: &[Region]) -> Sectors<'_> {
    Sectors {
        regions,
        before: "; others changed instead:",
    }
}

struct Sectors<'a> {
    regions: &'a [Region],
    before: &'static str,
}

impl fmt::Display for Sectors<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.regions.is_empty() {
            return Ok(());
        }
        f.write_str(self.before)?;
        for (index, Region { base, size }) in self.regions.iter().enumerate() {
            let comma = if index == 0 { "" } else { "," };
            write!(f, "{comma} the sector at {base:#x} ({size} bytes)")?;
        }
        Ok(())
    }
}
