//! One case explored.

use super::cases::Case;
use super::memory::{nodes_for, peak};
use super::outcome::{Broken, CaseOutcome};
use super::stage::Stage;
use crate::progress::Progress;
use miette::{Diagnostic, IntoDiagnostic, Result};
use rehearsal::explore::{Faults, NODE_BYTES, OurInstaller, Plan, Unfinished, Violation, explore_watched, replay};
use rehearsal::picture::{StoryPicture, grouped, story_page};
use std::cell::Cell;
use std::time::{Duration, Instant};
use thiserror::Error;

/// What may go wrong in an exploration, and how far it may go.
#[derive(Clone, Debug)]
pub struct Limits {
    /// What may go wrong.
    pub faults: Faults,
    /// The most nodes; `None` for as many as fit into memory.
    pub nodes_max: Option<usize>,
}

impl Limits {
    /// The most nodes, where each takes so many bytes of memory.
    pub(super) fn nodes(&self, bytes: usize) -> usize {
        self.nodes_max.unwrap_or_else(|| nodes_for(bytes))
    }
}

/// So often a person is told how far it has come.
const TELL_EVERY: Duration = Duration::from_millis(200);

/// Explores a case. Its number and its installs are left to the caller.
///
/// # Errors
/// A unit cannot be made, or the exploration gave no answer.
pub fn explore_case(stage: &Stage<'_>, case: &Case, limits: &Limits, progress: &Progress) -> Result<CaseOutcome> {
    let words = format!("rehearsing board {}, to {}", case.board, case.to);
    progress.say(&words);
    let plan = stage.plan(&case.to, &case.from, limits.faults.clone(), limits.nodes(NODE_BYTES))?;
    let subject = OurInstaller::of(&stage.blueprint);
    let found = explore_watched(&subject, &plan, &watch(progress, &words)).map_err(|why| no_answer(case, why))?;
    let broken = found
        .violations
        .iter()
        .map(|violation| broken(stage, &subject, &plan, case, violation));
    let broken = broken.collect::<Result<Vec<_>>>()?;
    let two_places = stage.blueprint.slots.second().is_some();
    Ok(CaseOutcome::of(case, &plan, two_places, &found, broken))
}

/// Tells a person now and then how far an exploration has come.
pub(super) fn watch<'a>(progress: &'a Progress, words: &'a str) -> impl Fn(rehearsal::explore::Progress) + 'a {
    let begun = Instant::now();
    let told = Cell::new(begun);
    move |seen| {
        if told.get().elapsed() < TELL_EVERY {
            return;
        }
        told.set(Instant::now());
        let rate = seen.nodes as f64 / begun.elapsed().as_secs_f64().max(0.001);
        let memory = peak().map_or("unknown".to_owned(), |bytes| format!("{} MiB", bytes >> 20));
        progress.say(&format!(
            "{words}: {} worlds, {} cuts, {rate:.0} nodes a second, {} ahead, peak memory {memory}",
            grouped(seen.worlds as u64),
            grouped(seen.cuts),
            grouped(seen.ahead as u64),
        ));
    }
}

/// A case that no answer was found for.
#[derive(Debug, Error, Diagnostic)]
pub(super) enum NoAnswer {
    #[error("{case}: there are more than {} nodes: the rehearsal was given up, and says nothing about this case", grouped(*nodes as u64))]
    #[diagnostic(help(
        "allow for more with --nodes (about {bytes} bytes of memory each), begin with fewer versions, or leave faults out with --faults"
    ))]
    TooLarge { case: String, nodes: usize, bytes: usize },
    #[error("{case}: {why}")]
    #[diagnostic(help("please report it: our own installer should not come to this"))]
    Other { case: String, why: Unfinished },
}

fn no_answer(case: &Case, why: Unfinished) -> NoAnswer {
    let case = case.name();
    match why {
        Unfinished::TooLarge(nodes) => NoAnswer::TooLarge {
            case,
            nodes,
            bytes: NODE_BYTES,
        },
        why => NoAnswer::Other { case, why },
    }
}

fn broken(
    stage: &Stage<'_>,
    subject: &OurInstaller<'_>,
    plan: &Plan<'_>,
    case: &Case,
    violation: &Violation,
) -> Result<Broken> {
    let names = stage
        .files
        .iter()
        .map(|file| (file.manifest, format!("version {}", file.version)));
    let story = violation.story.clone().with_files(names.collect());
    let worlds = replay(subject, plan, &story).into_diagnostic()?;
    let images = stage.images()?;
    let target = images.iter().position(|image| image.name == case.to).unwrap_or(0);
    let page = story_page(&StoryPicture {
        heading: &format!("{}: {}", stage.product_name(), case.name()),
        claim: violation.claim,
        seen: &violation.seen,
        story: &story,
        worlds: &worlds,
        blueprint: &stage.blueprint,
        images: &images,
        target,
    });
    let account = story.account();
    Ok(Broken {
        claim: violation.claim.id().to_owned(),
        seen: violation.seen.clone(),
        steps: story.len(),
        story: account
            .iter()
            .map(|passage| format!("{}. {}", passage.numbers(), passage.text))
            .collect(),
        page,
    })
}
