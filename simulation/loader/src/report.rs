//! What a rehearsal of a maker's own loader says.

use crate::description::UnitKind;
use crate::rehearse::Case;
use crate::words::wording;
use packstaff_rehearsal::areas::Areas;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::{Faults, Violation};
use packstaff_rehearsal::picture::KnownImage;
use std::fmt;

/// Which claims were judged, and why the others were not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judged {
    /// Judged.
    pub claims: Vec<Claim>,
    /// Not judged, and why.
    pub left_out: Vec<(Claim, &'static str)>,
}

impl Judged {
    /// As far as the description goes.
    pub fn of(kind: &UnitKind) -> Self {
        let bad_stick = kind.sticks.iter().any(|stick| stick.installs.is_none());
        let why_not = |claim: Claim| match claim {
            Claim::Authentic | Claim::Arrives | Claim::Solid | Claim::KeepsOut | Claim::Sane => None,
            Claim::Harmless if bad_stick => None,
            Claim::Harmless => Some("no stick without a good file is described"),
            Claim::FloorRises if kind.floor => None,
            Claim::FloorRises => Some("the loader is not said to keep a floor"),
            Claim::FloorEarned => Some("the loader's records of a floor are not known here"),
            Claim::OwnersChoice => Some("the loader does not ask its owner: it takes what is on the stick"),
            Claim::Truthful => Some("the loader's own records are not known here"),
            Claim::StandsAlone => Some("the loader is not said to need no stick"),
            Claim::SettingsKept => Some("settings are outside what a loader reaches here"),
        };
        Self {
            claims: Claim::ALL
                .into_iter()
                .filter(|claim| why_not(*claim).is_none())
                .collect(),
            left_out: Claim::ALL
                .into_iter()
                .filter_map(|claim| Some((claim, why_not(claim)?)))
                .collect(),
        }
    }
}

/// What was covered and found.
#[derive(Clone, Debug)]
pub struct Report {
    /// One exploration for each version to arrive at.
    pub cases: Vec<Case>,
    /// Versions for which there was none, because an earlier one ended at the first claim that does not hold.
    pub not_begun: Vec<String>,
    /// Which claims were judged.
    pub judged: Judged,
    /// Whether every world was looked at: not so if the exploration ended at the first claim that does not hold.
    pub to_the_end: bool,
    /// Which faults were looked at.
    pub faults: Faults,
    /// Most calls after one power-up, with nothing going wrong.
    pub calls_max: u32,
    /// Most changes of flash after one power-up, with nothing going wrong.
    pub changes_max: u32,
    /// What the unit's flash is divided into.
    pub areas: Areas,
    /// The genuine images.
    pub images: Vec<KnownImage>,
}

impl Report {
    /// Whether every claim that was judged holds.
    pub fn holds(&self) -> bool {
        self.cases.iter().all(|case| case.found.holds())
    }

    /// The claims that do not hold, each with its shortest story.
    pub fn violations(&self) -> Vec<&Violation> {
        let mut all: Vec<_> = self.cases.iter().flat_map(|case| &case.found.violations).collect();
        all.sort_by_key(|violation| (violation.claim, violation.story.len()));
        all.dedup_by_key(|violation| violation.claim);
        all
    }
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for case in &self.cases {
            let found = &case.found;
            writeln!(
                f,
                "Towards {} with {}: {} worlds, {} powered units about to change flash, {} cuts.",
                case.image, case.stick, found.worlds, found.powered, found.cuts
            )?;
            if found.holds() {
                writeln!(
                    f,
                    "  From each of them, {} runs after at most {} changes of flash.",
                    case.image, found.changes_max
                )?;
            }
        }
        writeln!(
            f,
            "With nothing going wrong, at most {} calls and {} changes of flash after one power-up.",
            self.calls_max, self.changes_max
        )?;
        writeln!(f, "\nLooked at:")?;
        self.faults
            .covered()
            .iter()
            .try_for_each(|fault| writeln!(f, "  {fault}"))?;
        let violations = self.violations();
        writeln!(f, "\nJudged:")?;
        for claim in &self.judged.claims {
            let broken = violations.iter().any(|violation| violation.claim == *claim);
            let word = match (broken, self.to_the_end) {
                (true, _) => "NO",
                (false, true) => "ok",
                (false, false) => "..",
            };
            writeln!(f, "  {word}  {:<13} {}", claim.id(), wording(*claim).statement)?;
        }
        if !self.to_the_end {
            writeln!(
                f,
                "  (..: not to the end, because the exploration ended at the first claim that does not hold)"
            )?;
        }
        writeln!(f, "\nNot judged:")?;
        for (claim, why) in &self.judged.left_out {
            writeln!(f, "  --  {:<13} {why}", claim.id())?;
        }
        for violation in violations {
            writeln!(f, "\n{}: {}\n{}", violation.claim.id(), violation.seen, violation.story)?;
        }
        Ok(())
    }
}
