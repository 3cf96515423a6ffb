//! A story played again, for the worlds along its way.
//!
//! An exploration keeps sums of worlds, not worlds. The loader is driven once more along the story's steps, over flash as it
//! is: no cell is don't-care and nothing stands in for anything else, unless the story can only be followed so.

use super::change::spoilt;
use super::loader::Loader;
use super::model::Explorer;
use super::plan::Plan;
use super::run::Run;
use super::story::{ChangeKind, ComesTo, Happening, Step, Story};
use crate::moment::Moment;
use packstaff_unit::drive::{Answer, Wish};
use packstaff_unit::flash::{Change, Flash, FlashFault};
use thiserror::Error;

/// More answers than any story needs to be found again.
const ANSWERS_MAX: u32 = 1 << 25;

/// Why a story cannot be played again. It is another plan's, or another loader's.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum Strayed {
    /// The plan has no such beginning.
    #[error("the story begins with `{0}`, which the plan does not have")]
    NoSuchBeginning(String),
    /// The loader does not do what the story says.
    #[error("step {step} of the story does not happen: the loader does something else")]
    Elsewhere {
        /// The first step that never happened, from 1.
        step: usize,
    },
}

/// Plays a story again: flash after each of its steps.
///
/// # Errors
/// The story is not one of this loader and this plan.
pub fn replay<L: Loader>(loader: &L, plan: &Plan<'_>, story: &Story) -> Result<Vec<Flash>, Strayed> {
    let player = |settled| Player {
        explorer: Explorer::new(loader, plan),
        story,
        settled,
        answers_left: ANSWERS_MAX,
        furthest: 0,
    };
    match player(false).play() {
        Err(Strayed::Elsewhere { .. }) if plan.reduce => player(true).play(),
        played => played,
    }
}

struct Player<'a, L: Loader> {
    explorer: Explorer<'a, L>,
    story: &'a Story,
    /// Worlds with power off are put into the form in which the exploration compares them.
    settled: bool,
    answers_left: u32,
    furthest: usize,
}

/// How far one attempt has come.
struct Stand<S> {
    flash: Flash,
    /// The loader, about to change flash; `None` with power off.
    run: Option<Run<S>>,
    trail: Vec<Flash>,
}

impl<L: Loader> Player<'_, L> {
    /// The steps name what happened, not when in a stretch it did; so more than one way may fit a step, and only one of them
    /// the steps that follow. Ways are tried until one fits to the end.
    fn play(mut self) -> Result<Vec<Flash>, Strayed> {
        let Some(Step::Begin(name)) = self.story.steps.first() else {
            return Err(Strayed::Elsewhere { step: 1 });
        };
        let begin = self.explorer.plan.from.iter().find(|(known, _)| known == name);
        let (_, flash) = begin.ok_or_else(|| Strayed::NoSuchBeginning(name.clone()))?;
        let flash = self.off(flash.clone());
        let mut open = vec![Stand {
            trail: vec![flash.clone()],
            flash,
            run: None,
        }];
        while let Some(stand) = open.pop() {
            let at = stand.trail.len();
            self.furthest = self.furthest.max(at);
            let Some(step) = self.story.steps.get(at) else {
                return Ok(stand.trail);
            };
            // The likeliest comes last, and is tried first.
            open.extend(self.take(stand, step));
        }
        Err(Strayed::Elsewhere {
            step: self.furthest + 1,
        })
    }

    fn off(&self, flash: Flash) -> Flash {
        match self.settled {
            false => flash,
            true => self.explorer.off(flash, 0).flash.clone(),
        }
    }

    /// Every way in which a step can happen from here.
    fn take(&mut self, stand: Stand<L::State>, step: &Step) -> Vec<Stand<L::State>> {
        let mut flash = stand.flash;
        match (step, stand.run) {
            (Step::Cut(kind, moment), Some(run)) => {
                let Wish::Change(change) = &run.wish else {
                    return Vec::new();
                };
                let done = match moment {
                    _ if ChangeKind::of(change) != *kind => return Vec::new(),
                    Moment::Before => Ok(()),
                    Moment::Inside(torn) => flash.tear(change, *torn),
                    Moment::After if self.is_refused(&flash, change) => match spoilt(&flash, change) {
                        Some(after) => {
                            flash = after;
                            Ok(())
                        }
                        None => return Vec::new(),
                    },
                    Moment::After => flash.apply(change),
                };
                match done {
                    Ok(()) => vec![arrived(self.off(flash), None, stand.trail)],
                    Err(_) => Vec::new(),
                }
            }
            (
                Step::Runs {
                    stick: Some(stick),
                    happened,
                    comes_to,
                },
                None,
            ) => {
                let mut run = self.explorer.runner.power_up();
                run.stick = *stick;
                self.run(&flash, run, happened, *comes_to, &stand.trail)
            }
            (
                Step::Runs {
                    stick: None,
                    happened,
                    comes_to,
                },
                Some(mut run),
            ) => {
                let Wish::Change(change) = run.wish.clone() else {
                    return Vec::new();
                };
                let rest = match happened.split_first() {
                    Some((Happening::Refused, rest)) => {
                        self.explorer.runner.answer(&mut run, &Answer::Failed);
                        let spoilt = spoilt(&flash, &change).filter(|_| self.is_refused(&flash, &change));
                        let mut stands = self.run(&flash, run.clone(), rest, *comes_to, &stand.trail);
                        if let Some(after) = spoilt {
                            stands.extend(self.run(&after, run, rest, *comes_to, &stand.trail));
                        }
                        return stands;
                    }
                    _ if flash.apply(&change).is_ok() => {
                        self.explorer.runner.answer(&mut run, &Answer::Done);
                        happened
                    }
                    _ => return Vec::new(),
                };
                self.run(&flash, run, rest, *comes_to, &stand.trail)
            }
            _ => Vec::new(),
        }
    }

    /// Whether the part refuses a change, and the loader is prepared for it.
    fn is_refused(&self, flash: &Flash, change: &Change) -> bool {
        let refused = matches!(flash.check(change), Err(FlashFault::AlreadyProgrammed { .. }));
        refused && self.explorer.loader.may_be_refused(change)
    }

    /// Drives a powered loader to its next change, its wait or its start, so that just this happens on the way.
    fn run(
        &mut self,
        flash: &Flash,
        run: Run<L::State>,
        happened: &[Happening],
        comes_to: ComesTo,
        trail: &[Flash],
    ) -> Vec<Stand<L::State>> {
        let mut ends = Vec::new();
        let mut open = vec![(run, happened)];
        while let Some((mut run, mut ahead)) = open.pop() {
            while self.answers_left > 0 {
                if let Some(end) = self.end_of(&run) {
                    if ahead.is_empty() && end == comes_to {
                        let powered = matches!(end, ComesTo::Change(_)).then_some(run);
                        let flash = match powered {
                            Some(_) => flash.clone(),
                            None => self.off(flash.clone()),
                        };
                        ends.push(arrived(flash, powered, trail.to_vec()));
                    }
                    break;
                }
                self.answers_left -= 1;
                let answers = self.explorer.runner.answers(flash, &run).unwrap_or_default();
                let fitting = answers.into_iter().filter_map(|(answer, happening)| match &happening {
                    None => Some((answer, happening, ahead)),
                    Some(expected) => {
                        let (first, rest) = ahead.split_first()?;
                        (first == expected).then_some((answer, happening, rest))
                    }
                });
                let mut fitting: Vec<_> = fitting.collect();
                let Some((answer, happening, rest)) = fitting.pop() else {
                    break;
                };
                for (answer, happening, rest) in fitting {
                    let mut branch = run.clone();
                    self.explorer.runner.take(&mut branch, &answer, happening);
                    open.push((branch, rest));
                }
                self.explorer.runner.take(&mut run, &answer, happening);
                ahead = rest;
            }
        }
        ends
    }

    fn end_of(&self, run: &Run<L::State>) -> Option<ComesTo> {
        if self.explorer.loader.failure(&run.state).is_some() {
            return Some(ComesTo::Failure);
        }
        match &run.wish {
            Wish::Change(change) => Some(ComesTo::Change(ChangeKind::of(change))),
            Wish::Wait(reason) => Some(ComesTo::Wait(*reason)),
            Wish::Start(address) => Some(ComesTo::Start(*address)),
            _ => None,
        }
    }
}

fn arrived<S>(flash: Flash, run: Option<Run<S>>, mut trail: Vec<Flash>) -> Stand<S> {
    trail.push(flash.clone());
    Stand { flash, run, trail }
}
