//! A claim that does not hold, told and drawn, whoever's loader it is.

use super::outcome::{Broken, PhaseCounts};
use packstaff_rehearsal::claims::Wording;
use packstaff_rehearsal::explore::Exploration;
use packstaff_rehearsal::picture::{StoryPicture, phase_words, story_page};
use packstaff_words::report::Cell;

impl Broken {
    /// What is kept of a violation.
    pub(super) fn of(picture: &StoryPicture<'_>) -> Self {
        let account = picture.story.account();
        let passages = account.iter();
        Self {
            claim: picture.claim.id().to_owned(),
            seen: picture.seen.to_owned(),
            steps: picture.story.len(),
            story: passages
                .map(|passage| format!("{}. {}", passage.numbers(), passage.text))
                .collect(),
            page: story_page(picture),
        }
    }

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

impl PhaseCounts {
    /// What an exploration covered, by what the unit was doing.
    pub(super) fn of(found: &Exploration) -> Vec<Self> {
        let phases = found.phases.iter().map(|(phase, coverage)| Self {
            doing: phase_words(*phase).to_owned(),
            powered: coverage.powered,
            cuts: coverage.cuts,
            worlds: coverage.worlds,
        });
        phases.collect()
    }
}
