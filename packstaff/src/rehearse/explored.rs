//! One case explored.

use super::cases::Case;
use super::memory::nodes_for;
use super::outcome::{Broken, CaseOutcome};
use super::stage::Stage;
use super::watch::Watch;
use crate::progress::Progress;
use miette::{Diagnostic, IntoDiagnostic, Result};
use packstaff_rehearsal::areas::Areas;
use packstaff_rehearsal::explore::{
    Faults, NODE_BYTES, OurInstaller, Plan, Unfinished, Violation, explore_watched, replay,
};
use packstaff_rehearsal::picture::{StoryPicture, grouped};
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

/// Explores a case. Its number and its installs are left to the caller.
///
/// # Errors
/// A unit cannot be made, or the exploration gave no answer.
pub fn explore_case(stage: &Stage<'_>, case: &Case, limits: &Limits, progress: &Progress) -> Result<CaseOutcome> {
    let plan = stage.plan(&case.to, &case.from, limits.faults.clone(), limits.nodes(NODE_BYTES))?;
    let subject = OurInstaller::of(&stage.blueprint);
    let watch = Watch::begin(format!("rehearsing board {}, to {}", case.board, case.to), progress);
    let found = explore_watched(&subject, &plan, &|seen| watch.tell(seen)).map_err(|why| no_answer(case, why))?;
    let broken = found
        .violations
        .iter()
        .map(|violation| broken(stage, &subject, &plan, case, violation));
    let broken = broken.collect::<Result<Vec<_>>>()?;
    let two_places = stage.blueprint.slots.second().is_some();
    Ok(CaseOutcome::of(case, &plan, two_places, &found, broken))
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
    let areas = Areas::of(&stage.blueprint);
    let story = violation
        .story
        .clone()
        .with_files(names.collect())
        .with_areas(areas.clone());
    let worlds = replay(subject, plan, &story).into_diagnostic()?;
    let images = stage.images()?;
    let target = images.iter().position(|image| image.name == case.to).unwrap_or(0);
    Ok(Broken::of(&StoryPicture {
        heading: &format!("{}: {}", stage.product_name(), case.name()),
        claim: violation.claim,
        wording: violation.claim.wording(),
        seen: &violation.seen,
        story: &story,
        worlds: &worlds,
        areas: &areas,
        images: &images,
        target,
    }))
}
