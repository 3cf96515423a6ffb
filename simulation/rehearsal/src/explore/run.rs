//! A run: what a powered loader does from one change of flash to the next, with everything that may happen to it.

use super::faults::Faults;
use super::loader::Loader;
use super::{Happening, StickOption};
use packstaff_envelope::sha256;
use packstaff_installer::{Listing, Phase, Region};
use packstaff_unit::drive::{Answer, Wish, digest, look};
use packstaff_unit::flash::{DoubtKind, Flash, SumKey};
use packstaff_unit::stick::Stick;
use std::collections::{HashMap, HashSet};
use std::sync::RwLock;

/// More steps than any stretch without a change of flash needs.
const STEPS_MAX: u32 = 1 << 25;

/// A powered loader with a wish that is not answered yet.
#[derive(Clone)]
pub(super) struct Run<S> {
    pub(super) state: S,
    pub(super) wish: Wish,
    /// The stick in the unit.
    pub(super) stick: Option<usize>,
    /// The loader has asked for a stick since power came on.
    pub(super) asked: bool,
    /// The file that the owner picked, by its manifest's digest.
    pub(super) picked: Option<[u8; 32]>,
    /// What happened since the last change of flash, or since power came on.
    pub(super) happened: Vec<Happening>,
    /// Nothing happened since then but what a patient owner with a good stick would do.
    pub(super) fault_free: bool,
    /// What the unit was doing when it had its last wish.
    pub(super) phase: Phase,
}

/// Why runs cannot be followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum RunFault {
    /// Contents were read that were declared as read by nobody.
    DontCareRead(u32),
    /// The loader does not come to a change of flash, a wait or a start.
    Endless,
}

pub(super) struct Runner<'a, L: Loader> {
    pub(super) loader: &'a L,
    pub(super) faults: &'a Faults,
    pub(super) sticks: &'a [StickOption],
    /// The file that a patient owner picks.
    pub(super) goal: [u8; 32],
    pub(super) key: SumKey,
    pub(super) digests: RwLock<Digests>,
}

/// Digests of ranges of flash, by the range and the sum of its sectors; `None` where it cannot be read.
type Digests = HashMap<(u32, u32, u128), Option<[u8; 32]>>;

impl<L: Loader> Runner<'_, L> {
    pub(super) fn power_up(&self) -> Run<L::State> {
        let (state, wish) = self.loader.power_up();
        let phase = self.loader.phase(&state);
        Run {
            state,
            wish,
            stick: None,
            asked: false,
            picked: None,
            happened: Vec::new(),
            fault_free: true,
            phase,
        }
    }

    pub(super) fn answer(&self, run: &mut Run<L::State>, answer: &Answer) {
        run.wish = self.loader.step(&mut run.state, answer);
    }

    /// Follows a run, and all that branch off it, up to their next change, wait or start; with `to_find`, only up to the
    /// question for a stick.
    pub(super) fn follow(
        &self,
        flash: &Flash,
        run: Run<L::State>,
        to_find: bool,
    ) -> Result<Vec<Run<L::State>>, RunFault> {
        let mut ends = Vec::new();
        let mut open = vec![run];
        let mut seen = HashSet::new();
        let mut steps = 0_u32;
        while let Some(mut run) = open.pop() {
            loop {
                steps += 1;
                if steps > STEPS_MAX {
                    return Err(RunFault::Endless);
                }
                if matches!(run.wish, Wish::Change(_) | Wish::Wait(_) | Wish::Start(_))
                    || (to_find && run.wish == Wish::FindStick)
                {
                    ends.push(run);
                    break;
                }
                let answers = self.answers(flash, &run)?;
                let Some(((fault_free, happening), rest)) = answers.split_first() else {
                    break;
                };
                for (answer, happening) in rest {
                    let mut branch = run.clone();
                    branch.fault_free = false;
                    self.take(&mut branch, answer, happening.clone());
                    // Most faults lead to the same few places: each of these is followed once.
                    if seen.insert(self.key.hash(&(&branch.state, branch.stick, branch.picked))) {
                        open.push(branch);
                    }
                }
                self.take(&mut run, fault_free, happening.clone());
            }
        }
        // The fault-free one first, so that a story prefers it.
        ends.sort_by_key(|end| (!end.fault_free, end.happened.len()));
        Ok(ends)
    }

    pub(super) fn take(&self, run: &mut Run<L::State>, answer: &Answer, happening: Option<Happening>) {
        match &happening {
            Some(Happening::Swapped(other)) => run.stick = Some(*other),
            Some(Happening::Picked(digest)) => run.picked = Some(*digest),
            _ => {}
        }
        run.asked |= run.wish == Wish::FindStick;
        run.phase = self.loader.phase(&run.state);
        run.happened.extend(happening);
        self.answer(run, answer);
    }

    /// What a loader finds where it only looks. Digests are remembered: most worlds hold one of a few images.
    fn look(&self, wish: &Wish, flash: &Flash, stick: Option<&Stick>) -> Answer {
        match wish {
            Wish::DigestFlash(region) => self.digest(flash, *region).map_or(Answer::Failed, Answer::Digest),
            wish => look(wish, flash, stick).unwrap_or(Answer::Failed),
        }
    }

    /// The digest of a range as it reads now; `None` if it cannot be read.
    pub(super) fn digest(&self, flash: &Flash, region: Region) -> Option<[u8; 32]> {
        let key = (region.base, region.size, flash.sum_of(region));
        if let Some(known) = self.digests.read().ok().and_then(|known| known.get(&key).copied()) {
            return known;
        }
        let found = digest(flash, region.base, region.size).ok();
        if let Ok(mut known) = self.digests.write() {
            known.insert(key, found);
        }
        found
    }

    /// What can be answered: the fault-free answer first.
    pub(super) fn answers(
        &self,
        flash: &Flash,
        run: &Run<L::State>,
    ) -> Result<Vec<(Answer, Option<Happening>)>, RunFault> {
        let stick = run
            .stick
            .and_then(|index| self.sticks.get(index))
            .map(|option| &option.stick);
        match &run.wish {
            Wish::Tell(reason) => Ok(vec![(Answer::Done, Some(Happening::Told(*reason)))]),
            Wish::Ask(listing) => Ok(self.choices(listing)),
            Wish::ReadStick(block) => {
                let read = |option: Option<usize>| {
                    let stick = option
                        .and_then(|index| self.sticks.get(index))
                        .map(|option| &option.stick);
                    self.look(&run.wish, flash, stick)
                };
                let mut answers = vec![(read(run.stick), None)];
                if self.faults.pulled {
                    answers.push((Answer::Failed, Some(Happening::Unreadable(*block))));
                }
                if self.faults.swapped && self.loader.phase(&run.state) != run.phase {
                    let others = (0..self.sticks.len()).filter(|index| Some(*index) != run.stick);
                    answers.extend(others.map(|other| (read(Some(other)), Some(Happening::Swapped(other)))));
                }
                Ok(answers)
            }
            Wish::ReadFlash(region) | Wish::DigestFlash(region) | Wish::CheckBlank(region) => {
                if flash.has_dont_care(*region) {
                    return Err(RunFault::DontCareRead(region.base));
                }
                let fault_free = self.look(&run.wish, flash, stick);
                let mut answers = vec![(fault_free.clone(), None)];
                if self.faults.wavering {
                    let others = other_readings(flash, *region, &fault_free);
                    answers.extend(others.map(|other| (other, Some(Happening::Wavered(region.base)))));
                }
                Ok(answers)
            }
            wish => Ok(vec![(self.look(wish, flash, stick), None)]),
        }
    }

    fn choices(&self, listing: &Listing) -> Vec<(Answer, Option<Happening>)> {
        let pick = |index: usize, digest| (Answer::Chosen(Some(index)), Some(Happening::Picked(digest)));
        let mut choices: Vec<_> = listing
            .offers()
            .map(|(index, _, offer)| (index, offer.manifest))
            .collect();
        choices.sort_by_key(|(_, digest)| *digest != self.goal);
        let declines = (Answer::Chosen(None), Some(Happening::Declined));
        let goal_first = choices.first().is_some_and(|(_, digest)| *digest == self.goal);
        let picks = choices.into_iter().map(|(index, digest)| pick(index, digest));
        match (goal_first, self.faults.any_choice) {
            (true, true) => picks.chain([declines]).collect(),
            (true, false) => picks.take(1).collect(),
            (false, true) => [declines].into_iter().chain(picks).collect(),
            (false, false) => vec![declines],
        }
    }
}

/// Other readings of cells that waver: all of them as neither what they read as now nor anything whole; or, where that may be,
/// as erased.
fn other_readings(flash: &Flash, region: Region, fault_free: &Answer) -> impl Iterator<Item = Answer> + use<> {
    let erased = flash.layout().memory_at(region.base).erased();
    let otherwise = reading(flash, region, fault_free, DoubtKind::wavers, |byte| byte ^ 0x5a);
    let as_erased = reading(flash, region, fault_free, DoubtKind::may_read_erased, |_| erased);
    let as_erased = as_erased.filter(|answer| matches!(answer, Answer::Flash(_)) && answer != fault_free);
    otherwise.into_iter().chain(as_erased)
}

/// The reading in which cells in certain doubts read otherwise; `None` if there are no such cells.
fn reading(
    flash: &Flash,
    region: Region,
    fault_free: &Answer,
    which: impl Fn(DoubtKind) -> bool,
    other: impl Fn(u8) -> u8,
) -> Option<Answer> {
    let mut doubts = flash.doubts_over(region).filter(|doubt| which(doubt.kind)).peekable();
    doubts.peek()?;
    Some(match fault_free {
        Answer::Flash(bytes) => {
            let mut bytes = bytes.clone();
            for doubt in doubts {
                let from = doubt.area.base.saturating_sub(region.base) as usize;
                let to = (doubt.area.end().saturating_sub(u64::from(region.base)) as usize).min(bytes.len());
                bytes[from.min(to)..to].iter_mut().for_each(|byte| *byte = other(*byte));
            }
            Answer::Flash(bytes)
        }
        Answer::Digest(digest) => Answer::Digest(sha256(digest)),
        Answer::Blank(blank) => Answer::Blank(!blank),
        other => other.clone(),
    })
}
