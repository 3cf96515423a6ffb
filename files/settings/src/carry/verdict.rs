//! Every ordered pair of versions at once, and what may not be released.

use super::{Carrier, CarryError, History, Lost, Plan};
use crate::layout::Way;
use std::fmt;

/// How far back owners may go: what is before the first version that they may is not objected to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reach<'v> {
    /// The oldest version that an owner may go back to; `None` for every one.
    pub oldest: Option<&'v str>,
}

/// All plans of a history.
#[derive(Clone, Debug, PartialEq)]
pub struct Matrix {
    /// The versions, the oldest first.
    pub versions: Vec<String>,
    /// A plan for every ordered pair of two versions, by the version come from, then the version gone to.
    pub plans: Vec<Plan>,
}

/// Why a release must not go out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Objection {
    /// A calibration or a counter is lost without a reason.
    Loses {
        /// From this version.
        from: String,
        /// To this one.
        to: String,
        /// Up or down.
        way: Way,
        /// What.
        lost: Lost,
    },
    /// Nobody carries settings over, and the maker does not say that this is meant.
    LeftAlone {
        /// From this version.
        from: String,
        /// To this one.
        to: String,
        /// Up or down.
        way: Way,
    },
}

impl History {
    /// Works out every ordered pair.
    ///
    /// # Errors
    /// A rule cannot be followed.
    pub fn matrix(&self) -> Result<Matrix, CarryError> {
        let versions: Vec<String> = self.layouts().iter().map(|layout| layout.version.clone()).collect();
        let mut plans = Vec::new();
        for from in &versions {
            for to in versions.iter().filter(|to| *to != from) {
                plans.push(self.plan(from, to)?);
            }
        }
        Ok(Matrix { versions, plans })
    }
}

impl Matrix {
    /// The plan of a pair.
    pub fn plan(&self, from: &str, to: &str) -> Option<&Plan> {
        self.plans.iter().find(|plan| plan.from == from && plan.to == to)
    }

    /// What is wrong with going to or from a version. Pairs of other versions were judged when those were released.
    pub fn objections(&self, version: &str, reach: Reach<'_>) -> Vec<Objection> {
        let place = |version: &str| self.versions.iter().position(|other| other == version);
        let first = reach.oldest.and_then(place).unwrap_or(0);
        let barred = |plan: &Plan| plan.way == Way::Down && place(&plan.to).is_some_and(|place| place < first);
        let mut objections = Vec::new();
        for plan in self
            .plans
            .iter()
            .filter(|plan| plan.from == version || plan.to == version)
        {
            if !barred(plan) {
                objections.extend(plan.objections());
            }
        }
        objections
    }
}

impl Plan {
    /// What is wrong with this pair.
    pub fn objections(&self) -> Vec<Objection> {
        let (from, to) = (self.from.clone(), self.to.clone());
        match &self.carrier {
            Carrier::Unchanged | Carrier::Nobody { because: Some(_) } => Vec::new(),
            Carrier::Nobody { because: None } => vec![Objection::LeftAlone {
                from,
                to,
                way: self.way,
            }],
            Carrier::Keeper | Carrier::Firmware => {
                let serious = self.lost.iter().filter(|lost| lost.needs_reason());
                serious
                    .map(|lost| Objection::Loses {
                        from: from.clone(),
                        to: to.clone(),
                        way: self.way,
                        lost: lost.clone(),
                    })
                    .collect()
            }
        }
    }
}

impl Objection {
    /// What to do about it.
    pub fn advice(&self) -> String {
        match self {
            Self::Loses { from, to, way, lost } => {
                let (newer, older, way) = newer_first(from, to, *way);
                format!(
                    "In settings/{newer}.toml, under [[from]] version = \"{older}\", say which field it becomes with [[from.pair]], or why owners can do without it: [[from.loss]] field = \"{}\", way = \"{way}\", because = \"...\"",
                    lost.field
                )
            }
            Self::LeftAlone { from, to, way } => {
                let (newer, older, _) = newer_first(from, to, *way);
                match way {
                    Way::Up => format!(
                        "If the firmware of {newer} does carry them over, add [[from]] version = \"{older}\" to settings/{newer}.toml"
                    ),
                    Way::Down => format!(
                        "In settings/{newer}.toml, under [[from]] version = \"{older}\", say why that will do: left = \"...\""
                    ),
                }
            }
        }
    }
}

fn newer_first<'v>(from: &'v str, to: &'v str, way: Way) -> (&'v str, &'v str, &'static str) {
    match way {
        Way::Up => (to, from, "up"),
        Way::Down => (from, to, "down"),
    }
}

impl fmt::Display for Objection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Loses { from, to, lost, .. } => write!(
                f,
                "from {from} to {to}, the {} {lost} would be lost, and no reason is given",
                lost.kind.word()
            ),
            Self::LeftAlone { from, to, .. } => write!(
                f,
                "from {from} to {to}, nobody carries the settings over: {to} would find none that it knows"
            ),
        }
    }
}
