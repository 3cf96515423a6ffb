//! Stories of settings: how a unit came to lose them, in plain words.

use super::Version;
use super::names::Names;
use crate::moment::Moment;
use packstaff_unit::flash::Change;
use packstaff_unit::settings_memory::SettingsCut;
use std::fmt;

/// What a powered store came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ComesTo {
    /// A change of its memory.
    Change(ChangeKind),
    /// Rest, with these settings.
    Rest(Option<Vec<u8>>),
    /// Settings that it cannot read.
    Foreign,
    /// It cannot go on.
    Stuck(String),
}

/// A change of the memory, without its data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangeKind {
    /// An erase of the sector at this address.
    Erase(u32),
    /// A write of so many bytes from this address.
    Write(u32, u32),
}

impl ChangeKind {
    pub(super) fn of(change: &Change) -> Self {
        match change {
            Change::Erase { address } => Self::Erase(*address),
            Change::Program { address, data } => Self::Write(*address, data.len() as u32),
        }
    }

    fn words(self) -> String {
        match self {
            Self::Erase(address) => format!("an erase of the sector at {address:#06x}"),
            Self::Write(address, len) => format!("a write of {len} bytes at {address:#06x}"),
        }
    }
}

/// One step of a story.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// The beginning.
    Begin(String),
    /// Power comes on, in a unit with the version of this number.
    PowerOn(usize, bool, ComesTo),
    /// The owner changes the settings to these.
    Save(Vec<u8>, ComesTo),
    /// The change is carried out; or so many, none of which could be seen before the last of a record.
    Done(usize, ComesTo),
    /// The same, but the page no longer holds what is written into it.
    WornOut(ComesTo),
    /// Power fails.
    Cut(ChangeKind, Moment<SettingsCut>),
    /// The unit is switched off while it rests.
    Off,
}

/// The shortest way to something, from its beginning.
#[derive(Clone, Debug)]
pub struct Story {
    /// The steps.
    pub steps: Vec<Step>,
    pub(super) versions: Vec<String>,
    pub(super) names: Names,
}

impl Story {
    pub(super) fn of(steps: Vec<Step>, versions: &[Version], names: &Names) -> Self {
        Self {
            steps,
            versions: versions.iter().map(|version| version.name.clone()).collect(),
            names: names.clone(),
        }
    }

    /// How many steps it has.
    pub fn len(&self) -> usize {
        self.steps.len()
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.steps.is_empty()
    }

    fn sentence(&self, step: &Step) -> String {
        match step {
            Step::Begin(name) => format!("The unit: {name}."),
            Step::PowerOn(version, wavered, end) => {
                let name = self.versions.get(*version).map_or("?", String::as_str);
                let wavered = if *wavered {
                    "doubtful cells read otherwise; "
                } else {
                    ""
                };
                format!(
                    "Power comes on, with version {name} installed; {wavered}{}.",
                    self.comes_to(end)
                )
            }
            Step::Save(payload, end) => {
                format!(
                    "The owner sets {}; {}.",
                    self.names.words(Some(payload)),
                    self.comes_to(end)
                )
            }
            Step::Done(1, end) => format!("The change is carried out; {}.", self.comes_to(end)),
            Step::Done(changes, end) => {
                format!(
                    "This and the next changes, {changes} in all, are carried out; {}.",
                    self.comes_to(end)
                )
            }
            Step::WornOut(end) => format!(
                "The change is carried out, and the page turns out to be worn: a bit is wrong; {}.",
                self.comes_to(end)
            ),
            Step::Cut(kind, Moment::Before) => format!("Power fails just before {}.", kind.words()),
            Step::Cut(kind, Moment::After) => format!("Power fails just after {}.", kind.words()),
            Step::Cut(kind, Moment::Inside(cut)) => format!("Power fails inside {}: {}.", kind.words(), cut.words()),
            Step::Off => "The unit is switched off.".to_owned(),
        }
    }

    fn comes_to(&self, end: &ComesTo) -> String {
        match end {
            ComesTo::Change(kind) => format!("the keeper asks for {}", kind.words()),
            ComesTo::Rest(settings) => format!("the unit has {}", self.names.words(settings.as_deref())),
            ComesTo::Foreign => "the unit has settings of another version, and leaves them alone".to_owned(),
            ComesTo::Stuck(why) => format!("the keeper is stuck: {why}"),
        }
    }

    /// Each step in a sentence, in their order.
    pub fn sentences(&self) -> Vec<String> {
        self.steps.iter().map(|step| self.sentence(step)).collect()
    }
}

impl fmt::Display for Story {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, sentence) in (1..).zip(self.sentences()) {
            writeln!(f, "{number:>3}. {sentence}")?;
        }
        Ok(())
    }
}
