//! One case: each install once without a cut, and then every world that it can come to.

use super::board::BoardUnderTest;
use super::cases::{Case, Way};
use super::error::RehearseError;
use super::install::Install;
use super::limits::Limits;
use crate::progress::{Explored, Progress, Step};
use packstaff_rehearsal::areas::Areas;
use packstaff_rehearsal::explore::{Exploration, NODE_BYTES, OurInstaller, Plan, Unfinished, explore_watched, replay};
use packstaff_rehearsal::picture::KnownImage;
use packstaff_unit::flash::Flash;

/// What came of one case.
#[derive(Clone, Debug)]
pub struct CaseOutcome {
    /// The case.
    pub case: Case,
    /// The sticks that may be in the unit, by what they are called in stories.
    pub sticks: Vec<String>,
    /// Whether the unit has room for two images.
    pub places: Places,
    /// What was covered, and found.
    pub found: Exploration,
    /// What draws the ways to claims that do not hold; `None` if all hold.
    pub scene: Option<Scene>,
    /// Installs without a cut.
    pub installs: Vec<Install>,
}

/// How many images a unit has room for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Places {
    /// One.
    One,
    /// Two.
    Two,
}

/// Flash along the ways to claims that do not hold.
#[derive(Clone, Debug)]
pub struct Scene {
    /// For each violation, in their order, flash after each step of its story.
    pub worlds: Vec<Vec<Flash>>,
    /// What the unit's flash is divided into.
    pub areas: Areas,
    /// Images that may be in it.
    pub images: Vec<KnownImage>,
    /// Which of them must run in the end; out of range if none of them is that.
    pub target: usize,
}

impl CaseOutcome {
    /// Whether every claim holds, and every install without a cut does what it should.
    pub fn holds(&self) -> bool {
        self.found.holds() && self.installs.iter().all(Install::holds)
    }
}

/// Rehearses a board: installs once without a cut on each of `ways`, and explores `case`.
///
/// # Errors
/// A unit cannot be made, or the exploration gave no answer. A claim that does not hold is an answer.
pub fn rehearse_board(
    board: &BoardUnderTest<'_>,
    case: &Case,
    ways: &[Way],
    limits: &Limits,
    progress: &dyn Progress,
) -> Result<CaseOutcome, RehearseError> {
    let installs = ways.iter().map(|way| {
        progress.at(&Step::Installing {
            board: &board.board.revision,
            from: way.from.version(),
            to: &way.to,
        });
        board.install(way)
    });
    let installs = installs.collect::<Result<Vec<_>, _>>()?;
    Ok(CaseOutcome {
        installs,
        ..explore_case(board, case, limits, progress)?
    })
}

/// Explores a case, without any install of its own.
///
/// # Errors
/// As [`rehearse_board`].
pub fn explore_case(
    board: &BoardUnderTest<'_>,
    case: &Case,
    limits: &Limits,
    progress: &dyn Progress,
) -> Result<CaseOutcome, RehearseError> {
    let plan = board.plan(case, limits)?;
    let installer = OurInstaller::of(&board.blueprint);
    let what = Explored::Installs {
        board: &case.board,
        to: &case.to,
    };
    progress.at(&Step::Exploring { what, counts: None });
    let told = |seen| {
        let counts = Some(packstaff_rehearsal::explore::Progress::into(seen));
        progress.at(&Step::Exploring { what, counts });
    };
    let mut found = explore_watched(&installer, &plan, &told).map_err(|why| no_answer(case, why))?;
    let scene = match found.holds() {
        true => None,
        false => Some(scene(board, &installer, &plan, case, &mut found)?),
    };
    Ok(CaseOutcome {
        case: case.clone(),
        sticks: plan.sticks.iter().map(|option| option.name.clone()).collect(),
        places: match board.blueprint.slots.second() {
            None => Places::One,
            Some(_) => Places::Two,
        },
        found,
        scene,
        installs: Vec::new(),
    })
}

fn no_answer(case: &Case, why: Unfinished) -> RehearseError {
    let case = case.name();
    match why {
        Unfinished::TooLarge(nodes) => RehearseError::TooLarge {
            case,
            nodes,
            node_bytes: NODE_BYTES,
        },
        why => RehearseError::NoAnswer { case, why },
    }
}

/// Gives the stories the names of files and places, and follows each once more.
fn scene(
    board: &BoardUnderTest<'_>,
    installer: &OurInstaller<'_>,
    plan: &Plan<'_>,
    case: &Case,
    found: &mut Exploration,
) -> Result<Scene, RehearseError> {
    let files = board.files.iter();
    let names: Vec<_> = files
        .map(|file| (file.manifest, format!("version {}", file.version)))
        .collect();
    let areas = Areas::of(&board.blueprint);
    for violation in &mut found.violations {
        violation.story = violation
            .story
            .clone()
            .with_files(names.clone())
            .with_areas(areas.clone());
    }
    let worlds = found.violations.iter();
    let worlds = worlds.map(|violation| replay(installer, plan, &violation.story));
    let images = board.images()?;
    Ok(Scene {
        worlds: worlds.collect::<Result<_, _>>()?,
        target: images
            .iter()
            .position(|image| image.name == case.to)
            .unwrap_or(images.len()),
        areas,
        images,
    })
}
