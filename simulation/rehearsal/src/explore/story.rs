//! Stories: how a world was reached, step by step, in plain words.

use crate::areas::Areas;
use crate::moment::Moment;
use packstaff_installer::{Reason, Region};
use packstaff_unit::flash::{Change, Torn};
use std::fmt;

/// Something that happens while power is on and flash does not change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Happening {
    /// A block of the stick could not be read, or the stick was pulled.
    Unreadable(u64),
    /// The stick was swapped for the one of this number.
    Swapped(usize),
    /// The owner picked the file with this manifest digest.
    Picked([u8; 32]),
    /// The owner picked nothing.
    Declined,
    /// Doubtful cells at this address read otherwise than before.
    Wavered(u32),
    /// Flash refused the change.
    Refused,
    /// The unit told its owner something and went on.
    Told(Reason),
}

/// A change of flash, without its data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangeKind {
    /// An erase of the sector at this address.
    Erase(u32),
    /// A program of so many bytes from this address.
    Program(u32, u32),
}

impl ChangeKind {
    pub(super) fn of(change: &Change) -> Self {
        match change {
            Change::Erase { address } => Self::Erase(*address),
            Change::Program { address, data } => Self::Program(*address, data.len() as u32),
        }
    }

    /// In plain words.
    pub fn words(self) -> String {
        match self {
            Self::Erase(address) => format!("an erase of the sector at {address:#010x}"),
            Self::Program(address, len) => format!("a program of {len} bytes at {address:#010x}"),
        }
    }
}

/// What a powered unit came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ComesTo {
    /// A change of flash.
    Change(ChangeKind),
    /// Waiting for its owner.
    Wait(Reason),
    /// The start of the image at this address.
    Start(u32),
    /// Nothing: the loader itself cannot go on.
    Failure,
}

/// One step of a story.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// The beginning.
    Begin(String),
    /// The unit runs up to its next change, its wait, or its start. `stick` is set when power has just come on.
    Runs {
        /// Which stick was in the unit when power came on: `None` if power was on already, `Some(None)` for none.
        stick: Option<Option<usize>>,
        /// What happened meanwhile.
        happened: Vec<Happening>,
        /// What it came to.
        comes_to: ComesTo,
    },
    /// Power failed.
    Cut(ChangeKind, Moment<Torn>),
}

/// The shortest way to something, from its beginning.
#[derive(Clone, Debug)]
pub struct Story {
    /// The steps.
    pub steps: Vec<Step>,
    sticks: Vec<String>,
    files: Vec<([u8; 32], String)>,
    areas: Option<Areas>,
}

impl Story {
    /// A story of these steps; `sticks` are the names of the sticks that they speak of.
    pub fn of(steps: Vec<Step>, sticks: Vec<String>) -> Self {
        Self {
            steps,
            sticks,
            files: Vec::new(),
            areas: None,
        }
    }

    /// The same, with names for the files that an owner may pick, by their manifests' digests.
    #[must_use]
    pub fn with_files(mut self, files: Vec<([u8; 32], String)>) -> Self {
        self.files = files;
        self
    }

    /// The same, with names for what lies at the addresses that it speaks of.
    #[must_use]
    pub fn with_areas(mut self, areas: Areas) -> Self {
        self.areas = Some(areas);
        self
    }

    /// How many steps it has.
    pub fn len(&self) -> usize {
        self.steps.len()
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.steps.is_empty()
    }

    fn stick(&self, index: usize) -> &str {
        self.sticks.get(index).map_or("another stick", String::as_str)
    }

    /// What some cells belong to, in brackets behind a space; nothing where it has no name.
    pub(super) fn named(&self, cells: &[Region]) -> String {
        let names = self.areas.as_ref().and_then(|areas| areas.names(cells));
        names.map_or(String::new(), |names| format!(" ({names})"))
    }

    /// The cells that a change touches.
    pub(super) fn cells(&self, kind: ChangeKind) -> Region {
        match kind {
            ChangeKind::Erase(base) => {
                let sector = self.areas.as_ref().and_then(|areas| areas.sector_at(base));
                sector.unwrap_or(Region { base, size: 1 })
            }
            ChangeKind::Program(base, size) => Region { base, size },
        }
    }

    fn change(&self, kind: ChangeKind) -> String {
        kind.words() + &self.named(&[self.cells(kind)])
    }

    pub(super) fn sentence(&self, step: &Step) -> String {
        match step {
            Step::Begin(name) => format!("The unit: {name}."),
            Step::Cut(kind, moment) => {
                let what = self.change(*kind);
                match moment {
                    Moment::Before => format!("Power fails just before {what}."),
                    Moment::After => format!("Power fails just after {what}."),
                    Moment::Inside(Torn::Program { whole, inside }) => {
                        let granules = match whole {
                            0 => "no whole granule".to_owned(),
                            1 => "1 whole granule".to_owned(),
                            many => format!("{many} whole granules"),
                        };
                        format!("Power fails inside {what}, after {granules}: {}.", inside.words())
                    }
                    Moment::Inside(Torn::Erase(cut)) => format!("Power fails inside {what}: {}.", cut.words()),
                }
            }
            Step::Runs {
                stick,
                happened,
                comes_to,
            } => {
                let mut parts = Vec::new();
                match stick {
                    Some(Some(index)) => parts.push(format!("Power comes on, with {} in place", self.stick(*index))),
                    Some(None) => parts.push("Power comes on, without a stick".to_owned()),
                    None if happened.first() == Some(&Happening::Refused) => {
                        parts.push("The change is asked for".to_owned())
                    }
                    None => parts.push("The change is carried out".to_owned()),
                }
                parts.extend(happened.iter().map(|happening| self.words(happening)));
                parts.push(match comes_to {
                    ComesTo::Change(kind) => format!("the unit asks for {}", self.change(*kind)),
                    ComesTo::Wait(reason) => format!("the unit waits: {reason} ({})", reason.code()),
                    ComesTo::Start(address) => {
                        let name = self.named(&[Region {
                            base: *address,
                            size: 1,
                        }]);
                        format!("what lies at {address:#010x}{name} is started")
                    }
                    ComesTo::Failure => "the loader fails".to_owned(),
                });
                parts.join("; ") + "."
            }
        }
    }

    fn words(&self, happening: &Happening) -> String {
        match happening {
            Happening::Unreadable(block) => {
                format!("block {block} of the stick cannot be read, or the stick is pulled")
            }
            Happening::Swapped(index) => format!("the stick is swapped for {}", self.stick(*index)),
            Happening::Picked(digest) => match self.files.iter().find(|file| file.0 == *digest) {
                Some((_, name)) => format!("the owner picks {name}"),
                None => {
                    let [first, second, ..] = digest;
                    format!("the owner picks the file whose manifest has the digest {first:02x}{second:02x}...")
                }
            },
            Happening::Declined => "the owner picks nothing".to_owned(),
            Happening::Wavered(address) => {
                let name = self.named(&[Region {
                    base: *address,
                    size: 1,
                }]);
                format!("doubtful cells at {address:#010x}{name} read otherwise than before")
            }
            Happening::Refused => "flash refuses the change".to_owned(),
            Happening::Told(reason) => format!("the unit says: {reason} ({})", reason.code()),
        }
    }
}

impl fmt::Display for Story {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for passage in self.account() {
            writeln!(f, "{:>3}. {}", passage.numbers(), passage.text)?;
        }
        Ok(())
    }
}
