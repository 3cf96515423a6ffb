//! Single things that a rehearsal found, told: a claim that does not hold, an install, what is left out.

use super::record::BrokenClaim;
use crate::report::Cell;
use packstaff_bench::rehearse::{Install, LeftOut};
use packstaff_rehearsal::areas::Areas;
use packstaff_rehearsal::claims::{Claim, Wording};
use packstaff_rehearsal::explore::{Exploration, Violation};
use packstaff_rehearsal::picture::{KnownImage, StoryPicture, story_page};
use packstaff_rehearsal::power_up::Ending;
use packstaff_unit::flash::Flash;

/// What is needed to tell and to draw claims that do not hold, whoever's loader it is.
pub(super) struct Scene<'a> {
    /// What was rehearsed.
    pub(super) heading: String,
    /// How claims are told.
    pub(super) wording: fn(Claim) -> Wording,
    /// What the unit's flash is divided into.
    pub(super) areas: &'a Areas,
    /// Images that may be in it.
    pub(super) images: &'a [KnownImage],
    /// Which of them must run in the end.
    pub(super) target: usize,
}

impl Scene<'_> {
    /// All claims that do not hold. `worlds` is flash after each step of each story.
    pub(super) fn broken(&self, found: &Exploration, worlds: &[Vec<Flash>]) -> Vec<BrokenClaim> {
        let pairs = found.violations.iter().zip(worlds);
        pairs.map(|(violation, worlds)| self.told(violation, worlds)).collect()
    }

    fn told(&self, violation: &Violation, worlds: &[Flash]) -> BrokenClaim {
        let account = violation.story.account();
        let passages = account.iter();
        BrokenClaim {
            claim: violation.claim,
            seen: violation.seen.clone(),
            steps: violation.story.len(),
            story: passages
                .map(|passage| format!("{}. {}", passage.numbers(), passage.text))
                .collect(),
            page: story_page(&StoryPicture {
                heading: &self.heading,
                claim: violation.claim,
                wording: (self.wording)(violation.claim),
                seen: &violation.seen,
                story: &violation.story,
                worlds,
                areas: self.areas,
                images: self.images,
                target: self.target,
            }),
        }
    }
}

impl BrokenClaim {
    /// The cell of a table. `case` is what was rehearsed.
    pub(super) fn cell(&self, case: &str, wording: Wording) -> Cell {
        let after = match self.steps {
            0 => String::new(),
            1 => ", after 1 step".to_owned(),
            steps => format!(", after {steps} steps"),
        };
        Cell::fail(
            format!("{case}: {}{after}", self.seen),
            wording.statement,
            format!("{}\n{}", wording.consequence, self.story.join("\n")),
        )
    }
}

/// How an install without a cut ended.
pub(super) fn seen(install: &Install) -> String {
    let ending = match install.ending {
        Ending::Started { .. } if install.arrived => "what was picked runs".to_owned(),
        Ending::Started { .. } => "another image is started".to_owned(),
        Ending::Waiting(reason) => format!("the unit waits: {reason} ({})", reason.code()),
        Ending::Endless => "the installer does not come to an end".to_owned(),
        Ending::Impossible(fault) => format!("the installer asks for the impossible: {fault}"),
    };
    let broken: Vec<_> = install.broken.iter().map(|claim| claim.statement()).collect();
    match broken.is_empty() {
        true => ending,
        false => format!("{ending}; does not hold: {}", broken.join(" ")),
    }
}

/// What is not rehearsed of settings, in a sentence each.
pub(super) fn left_out_sentences(left_out: Option<&LeftOut>) -> Vec<String> {
    let sentence = left_out.map(|left_out| match left_out {
        LeftOut::NoLayouts => "Settings are not rehearsed: the product folder has no settings/VERSION.toml.".to_owned(),
        LeftOut::Versions(without) => format!(
            "Not rehearsed are the settings of {}: there is no settings/VERSION.toml.",
            without.join(", ")
        ),
    });
    sentence.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_out_is_said() {
        assert!(left_out_sentences(None).is_empty());
        let versions = LeftOut::Versions(vec!["1.8".to_owned(), "2.0".to_owned()]);
        assert_eq!(
            left_out_sentences(Some(&versions)),
            ["Not rehearsed are the settings of 1.8, 2.0: there is no settings/VERSION.toml."]
        );
        assert_eq!(
            left_out_sentences(Some(&LeftOut::NoLayouts)),
            ["Settings are not rehearsed: the product folder has no settings/VERSION.toml."]
        );
    }
}
