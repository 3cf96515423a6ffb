//! The exploration: every world that an install can pass through, under every fault, each visited once.
//!
//! A node is a world with power off, or a powered loader that is about to change flash. From a powered node the change is
//! carried out, or cut before, inside and after; from a world with power off, power comes on, with any stick in place. Cuts may
//! follow one another without bound, because the search is over states and not over schedules.
//!
//! # What keeps it small
//!
//! * Stretches that change nothing (mounting, the dry pass, a digest) are one transition, and those that only read the stick
//!   are remembered by the loader's state and the stick.
//! * Contents that are certain to be erased before anything reads them do not keep worlds apart ([`Flash::mark_dont_care`]). That this
//!   is so is not assumed: reading such contents ends the exploration with [`Unfinished::Unsound`].
//! * Remnants of records that do not read as whole are as good as one another ([`Flash::stand_in`]). That this is so is not
//!   assumed either: the loader is run on both, and where it comes to different states the worlds are kept apart.
//! * Worlds are told apart by keyed 128-bit sums ([`SumKey`](packstaff_unit::flash::SumKey)), kept up to date at the cost of one hash a granule. The chance
//!   that any two of n different nodes collide is about n^2 / 2^129.
//!
//! [`Plan::reduce`] switches the second off; both give the same verdict, and stories of the same length.

mod account;
mod faults;
mod judge;
mod liveness;
mod loader;
mod plan;
mod replay;
mod story;
mod strand;
mod worlds;

pub use account::Passage;
pub use faults::{Faults, UnknownFault};
pub use loader::{InstallerMachine, Loader, OurInstaller, Standing};
pub use plan::{Coverage, Exploration, NODE_BYTES, Plan, Progress, StickOption, Unfinished, Violation};
pub use replay::{Strayed, replay};
pub use story::{ChangeKind, ComesTo, Happening, Moment, Step, Story};
pub use worlds::stories;

use crate::claims::{Claim, ReleasedImage};
use packstaff_installer::{Phase, Reason, Region};
use packstaff_unit::drive::{Answer, Wish};
use packstaff_unit::flash::{Change, DoubtKind, Flash, FlashFault, Torn, outcomes};
use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, RwLock};
use story::Origin;
use strand::{Follower, Strand, Tangle};

/// A world with power off, in the form in which worlds are compared.
struct World {
    key: u128,
    flash: Flash,
    started: u64,
    /// A loader that is powered in the world as it was, before it was put into this form, reads none of the don't-care cells here:
    /// so it comes to the same from every world that differs from it in these alone. (Where it had this form already,
    /// reading them ends the exploration.)
    guarded: bool,
}

enum Node<S> {
    Off(Arc<World>),
    On {
        flash: Flash,
        strand: Box<Strand<S>>,
        /// What a cut at this moment leaves.
        rest: Arc<World>,
    },
}

/// A node that was reached, and how.
struct Reached<S> {
    key: u128,
    node: Node<S>,
    step: Step,
    /// The next node of a patient owner's unit.
    calm: bool,
    /// The next node of a unit that is left alone, without a stick.
    alone: bool,
}

/// What came of looking at one node.
struct Expanded<S> {
    key: u128,
    reached: Vec<Reached<S>>,
    /// What a patient owner's unit comes to without a further change.
    calm_end: Option<CalmEnd>,
    /// Whether a unit that is left alone, without a stick, comes to start something without a further change.
    alone_end: Option<bool>,
    /// What the unit was doing, if power was on.
    phase: Option<Phase>,
    objections: Vec<(Claim, String, Option<Step>)>,
    transitions: u64,
    cuts: u64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum CalmEnd {
    Arrived,
    Elsewhere,
    Waits(Reason),
    Fails,
    /// Something is started that is no image.
    Strange,
    /// The part cannot do what is asked of it.
    Impossible,
}

impl CalmEnd {
    fn words(self) -> String {
        match self {
            Self::Arrived => "the picked version starts".to_owned(),
            Self::Elsewhere => "another version starts instead".to_owned(),
            Self::Waits(reason) => format!("the unit waits: {reason} ({})", reason.code()),
            Self::Fails => "the loader fails".to_owned(),
            Self::Strange => "something is started that is no whole image".to_owned(),
            Self::Impossible => "the part cannot do what is asked of it".to_owned(),
        }
    }
}

/// Strands from the question for a stick on, by the loader's state and the stick.
type Memory<S> = RwLock<HashMap<(u128, Option<usize>), Arc<Vec<Strand<S>>>>>;

struct Explorer<'a, S: Loader> {
    loader: &'a S,
    plan: &'a Plan<'a>,
    follower: Follower<'a, S>,
    memory: Memory<S::State>,
}

/// So many nodes are looked at before what they lead to is sorted in: it bounds what is held at one time.
const PORTION: usize = 1 << 12;

/// Explores everything.
///
/// # Errors
/// Why there is no answer.
pub fn explore<S: Loader>(loader: &S, plan: &Plan<'_>) -> Result<Exploration, Unfinished> {
    explore_watched(loader, plan, &|_| ())
}

/// Explores everything, and tells `watch` again and again how far it has come.
///
/// # Errors
/// Why there is no answer.
pub fn explore_watched<S: Loader>(
    loader: &S,
    plan: &Plan<'_>,
    watch: &dyn Fn(Progress),
) -> Result<Exploration, Unfinished> {
    Explorer::new(loader, plan).run(watch, &mut |_| ())
}

impl<'a, S: Loader> Explorer<'a, S> {
    fn new(loader: &'a S, plan: &'a Plan<'a>) -> Self {
        Self {
            loader,
            plan,
            follower: Follower {
                loader,
                faults: &plan.faults,
                sticks: &plan.sticks,
                goal: plan.goal,
                key: plan.key,
                digests: RwLock::default(),
            },
            memory: RwLock::default(),
        }
    }

    fn run(
        &self,
        watch: &dyn Fn(Progress),
        at_the_end: &mut dyn FnMut(&HashMap<u128, Origin>),
    ) -> Result<Exploration, Unfinished> {
        let mut origins = HashMap::<u128, Origin>::new();
        let mut calm = HashMap::<u128, liveness::Calm>::new();
        let mut alone = HashMap::<u128, liveness::Calm>::new();
        // Worlds of units that have run an image: these shall have one again without a stick.
        let mut owed = Vec::new();
        let mut found = Exploration {
            worlds: 0,
            powered: 0,
            transitions: 0,
            cuts: 0,
            levels: 0,
            phases: BTreeMap::new(),
            changes_max: 0,
            violations: Vec::new(),
            to_the_end: false,
        };
        let mut frontier = Vec::new();
        for (name, flash) in &self.plan.from {
            let world = self.off(flash.clone(), self.loader.floor(flash));
            let key = world.key;
            let node = Node::Off(world);
            if origins
                .insert(
                    key,
                    Origin {
                        parent: None,
                        step: Step::Begin(name.clone()),
                    },
                )
                .is_none()
            {
                frontier.push((key, node));
            }
        }
        while !frontier.is_empty() {
            found.levels += 1;
            for (key, node) in &frontier {
                match node {
                    Node::Off(world) => {
                        found.worlds += 1;
                        owed.extend((world.started > 0).then_some(*key));
                    }
                    Node::On { .. } => found.powered += 1,
                }
            }
            let level = std::mem::take(&mut frontier);
            for portion in level.chunks(PORTION) {
                let expanded: Result<Vec<_>, Tangle> =
                    portion.par_iter().map(|(key, node)| self.expand(*key, node)).collect();
                for expanded in expanded.map_err(unfinished)? {
                    found.transitions += expanded.transitions;
                    found.cuts += expanded.cuts;
                    let mut coverage = expanded.phase.map(|phase| found.phases.entry(phase).or_default());
                    if let Some(coverage) = &mut coverage {
                        coverage.powered += 1;
                        coverage.cuts += expanded.cuts;
                    }
                    for (claim, seen, step) in expanded.objections {
                        if found.violations.iter().all(|known| known.claim != claim) {
                            let story = story::tell(&origins, expanded.key, step, &self.names());
                            found.violations.push(Violation { claim, seen, story });
                        }
                    }
                    if let Some(end) = expanded.calm_end {
                        calm.insert(expanded.key, liveness::Calm::Ends(end == CalmEnd::Arrived, end.words()));
                    }
                    if let Some(starts) = expanded.alone_end {
                        alone.insert(expanded.key, liveness::Calm::Ends(starts, "the unit waits".to_owned()));
                    }
                    for reached in expanded.reached {
                        if reached.alone {
                            alone.entry(expanded.key).or_insert(liveness::Calm::Goes(reached.key));
                        }
                        if reached.calm {
                            calm.entry(expanded.key).or_insert(liveness::Calm::Goes(reached.key));
                        }
                        if let std::collections::hash_map::Entry::Vacant(place) = origins.entry(reached.key) {
                            place.insert(Origin {
                                parent: Some(expanded.key),
                                step: reached.step,
                            });
                            if let (Some(coverage), Node::Off(_)) = (&mut coverage, &reached.node) {
                                coverage.worlds += 1;
                            }
                            frontier.push((reached.key, reached.node));
                        }
                    }
                }
                watch(Progress {
                    worlds: found.worlds,
                    nodes: origins.len(),
                    ahead: frontier.len(),
                    cuts: found.cuts,
                });
                if origins.len() > self.plan.nodes_max {
                    return Err(Unfinished::TooLarge(self.plan.nodes_max));
                }
            }
            if self.plan.stop_at_first && !found.violations.is_empty() {
                // Worlds that were reached, and not looked at any more.
                found.worlds += frontier.iter().filter(|(_, node)| matches!(node, Node::Off(_))).count();
                return Ok(found);
            }
        }
        found.to_the_end = true;
        let alive = liveness::resolve(
            &calm,
            origins
                .iter()
                .filter(|(_, origin)| origin.step.ends_off())
                .map(|(key, _)| *key),
        );
        found.changes_max = alive.changes_max;
        if let Some((key, why)) = alive.stuck_first(|key| story::length(&origins, key)) {
            let story = story::tell(&origins, key, None, &self.names());
            let seen = format!("with a good stick and no further cut, {why}");
            found.violations.push(Violation {
                claim: Claim::Arrives,
                seen,
                story,
            });
        }
        if self.loader.needs_no_stick() {
            let ends = liveness::resolve(&alone, owed.into_iter());
            if let Some((key, why)) = ends.stuck_first(|key| story::length(&origins, key)) {
                let story = story::tell(&origins, key, None, &self.names());
                let seen = format!("without a stick and no further cut, {why}");
                found.violations.push(Violation {
                    claim: Claim::StandsAlone,
                    seen,
                    story,
                });
            }
        }
        found.violations.sort_by_key(|violation| violation.claim);
        at_the_end(&origins);
        Ok(found)
    }

    fn names(&self) -> Vec<String> {
        self.plan.sticks.iter().map(|option| option.name.clone()).collect()
    }

    /// The world that is left when power goes.
    fn off(&self, flash: Flash, started: u64) -> Arc<World> {
        let mut settled = flash.clone();
        let mut less = 0;
        if self.plan.reduce {
            self.loader.settle(&mut settled);
            less = self.loader.lower_counters(&mut settled);
        }
        let guarded = settled == flash || self.alike(&flash, &settled, less);
        let flash = if guarded { settled } else { flash };
        Arc::new(World {
            key: self.key_of_world(&flash, started),
            flash,
            started,
            guarded,
        })
    }

    /// Whether a loader that is powered in one of two worlds comes to the same as in the other, in every reading, up to its
    /// question for a stick; in the other, it finds counters that are lower by `less`.
    ///
    /// The first is looked at with the don't-care cells of the second: a loader that reads any of them does not come to the
    /// same.
    fn alike(&self, flash: &Flash, settled: &Flash, less: u32) -> bool {
        let mut guarded = flash.clone();
        for ignored in settled
            .doubts()
            .iter()
            .filter(|doubt| doubt.kind == DoubtKind::DontCare)
        {
            guarded.mark_dont_care(ignored.area);
        }
        let ends = |flash| self.follower.follow(flash, self.follower.power_up(), true);
        match (ends(&guarded), ends(settled)) {
            (Ok(one), Ok(other)) => {
                let plain = |ends: &[Strand<S::State>], less: u32| {
                    let ends = ends.iter().map(|end| {
                        let state = self.loader.with_counters_less(&end.state, less);
                        self.plan.key.hash(&(state, end.stick, end.picked))
                    });
                    ends.collect::<std::collections::BTreeSet<_>>()
                };
                // To start an image is to read it, whether or not the loader has read it before.
                let reads_dont_care = other.iter().any(|end| match end.wish {
                    Wish::Start(address) => self.place_at(address).is_some_and(|place| settled.has_dont_care(place)),
                    _ => false,
                });
                plain(&one, less) == plain(&other, 0) && !reads_dont_care
            }
            _ => false,
        }
    }

    fn key_of_world(&self, flash: &Flash, started: u64) -> u128 {
        self.plan.key.hash(&(flash.sum(), started))
    }

    fn key_of_strand(&self, flash: &Flash, started: u64, strand: &Strand<S::State>) -> u128 {
        self.plan
            .key
            .hash(&(flash.sum(), started, &strand.state, strand.stick, strand.picked))
    }

    fn expand(&self, key: u128, node: &Node<S::State>) -> Result<Expanded<S::State>, Tangle> {
        let mut out = Expanded {
            key,
            reached: Vec::new(),
            calm_end: None,
            alone_end: None,
            phase: None,
            objections: Vec::new(),
            transitions: 0,
            cuts: 0,
        };
        match node {
            Node::Off(world) => self.expand_off(world, &mut out)?,
            Node::On { flash, strand, rest } => {
                out.phase = match &strand.wish {
                    Wish::Change(change) => Some(self.loader.doing(&strand.state, change)),
                    _ => None,
                };
                self.expand_on(flash, strand, rest, &mut out)?;
            }
        }
        Ok(out)
    }

    fn expand_off(&self, world: &Arc<World>, out: &mut Expanded<S::State>) -> Result<(), Tangle> {
        let flash = &world.flash;
        self.judge_world(flash, out);
        let first = self.follower.follow(flash, self.follower.power_up(), true)?;
        let options = std::iter::once(None).chain((0..self.plan.sticks.len()).map(Some));
        for stick in options {
            for before in &first {
                let patient = stick == Some(self.plan.good_stick) && before.calm;
                if before.wish != Wish::FindStick {
                    // The stick was not asked for: it makes no difference which one is there.
                    let mut end = before.clone();
                    end.stick = stick;
                    self.arrive(flash, world, end, before.happened.clone(), patient, Some(stick), out)?;
                    continue;
                }
                for end in self.after_find(flash, before, stick)?.iter() {
                    let happened = [&before.happened[..], &end.happened].concat();
                    self.arrive(
                        flash,
                        world,
                        end.clone(),
                        happened,
                        patient && end.calm,
                        Some(stick),
                        out,
                    )?;
                }
            }
        }
        Ok(())
    }

    /// Strands from the question for a stick on; they read no flash, so that they can be remembered for every world.
    fn after_find(
        &self,
        flash: &Flash,
        before: &Strand<S::State>,
        stick: Option<usize>,
    ) -> Result<Arc<Vec<Strand<S::State>>>, Tangle> {
        let key = (self.plan.key.hash(&before.state), stick);
        let remember = !self.loader.looks_again();
        if let Some(known) = self.memory.read().ok().and_then(|memory| memory.get(&key).cloned()) {
            return Ok(known);
        }
        let fresh = Strand {
            stick,
            happened: Vec::new(),
            calm: true,
            ..before.clone()
        };
        let ends = Arc::new(self.follower.follow(flash, fresh, false)?);
        if remember && let Ok(mut memory) = self.memory.write() {
            memory.insert(key, ends.clone());
        }
        Ok(ends)
    }

    fn expand_on(
        &self,
        flash: &Flash,
        strand: &Strand<S::State>,
        rest: &Arc<World>,
        out: &mut Expanded<S::State>,
    ) -> Result<(), Tangle> {
        let Wish::Change(change) = &strand.wish else {
            return Ok(());
        };
        let started = rest.started;
        let area = area_of(flash, change);
        if !self.loader.may_change(area) {
            let seen = format!("{} bytes at {:#010x} are changed", area.size, area.base);
            out.objections.push((Claim::KeepsOut, seen, None));
        }
        if flash.has_dont_care(area) && matches!(change, Change::Program { .. }) {
            return Err(Tangle::DontCare(area.base));
        }
        match flash.check(change) {
            Ok(()) => {}
            Err(FlashFault::AlreadyProgrammed { .. }) if self.loader.may_be_refused(change) => {
                return self.expand_refused(flash, change, strand, rest, out);
            }
            Err(fault) => {
                out.calm_end = Some(CalmEnd::Impossible);
                out.objections.push((Claim::Sane, fault.to_string(), None));
                return Ok(());
            }
        }
        self.judge_commit(flash, change, strand, started, out);
        self.judge_raise(flash, change, started, out);
        let kind = ChangeKind::of(change);
        if self.plan.faults.cuts {
            self.cut(flash, rest, change, area, kind, out);
        }
        let mut after = flash.clone();
        if let Err(fault) = after.apply(change) {
            out.objections.push((Claim::Sane, fault.to_string(), None));
            return Ok(());
        }
        let rest_after =
            if self.is_out_of_sight(rest, area) && self.loader.standing(&after) == self.loader.standing(flash) {
                rest.clone()
            } else {
                self.off(after.clone(), started)
            };
        if self.plan.faults.cuts {
            out.cuts += 1;
            self.reach(rest_after.clone(), Step::Cut(kind, story::Moment::After), out);
        }
        let mut done = strand.clone();
        done.happened = Vec::new();
        if self.plan.faults.refused {
            let mut refused = done.clone();
            refused.calm = false;
            refused.happened.push(Happening::Refused);
            self.follower.answer(&mut refused, &Answer::Failed);
            for end in self.follower.follow(flash, refused, false)? {
                let happened = end.happened.clone();
                self.arrive(flash, rest, end, happened, false, None, out)?;
            }
        }
        let patient = self.is_patient(strand);
        self.follower.answer(&mut done, &Answer::Done);
        for end in self.follower.follow(&after, done, false)? {
            let happened = end.happened.clone();
            let calm = patient && end.calm;
            self.arrive(&after, &rest_after, end, happened, calm, None, out)?;
        }
        Ok(())
    }

    /// The part refuses a second program of a granule, which the loader is prepared for. Cells with check bits may be spoilt
    /// by it; power may be cut before and after.
    fn expand_refused(
        &self,
        flash: &Flash,
        change: &Change,
        strand: &Strand<S::State>,
        rest: &Arc<World>,
        out: &mut Expanded<S::State>,
    ) -> Result<(), Tangle> {
        let kind = ChangeKind::of(change);
        let spoilt = spoilt(flash, change).map(|after| {
            let rest = self.off(after.clone(), rest.started);
            (after, rest)
        });
        if self.plan.faults.cuts {
            out.cuts += 1;
            self.reach(rest.clone(), Step::Cut(kind, story::Moment::Before), out);
            if let Some((_, rest)) = &spoilt {
                out.cuts += 1;
                self.reach(rest.clone(), Step::Cut(kind, story::Moment::After), out);
            }
        }
        let patient = self.is_patient(strand);
        let mut refused = strand.clone();
        refused.happened = vec![Happening::Refused];
        self.follower.answer(&mut refused, &Answer::Failed);
        for end in self.follower.follow(flash, refused.clone(), false)? {
            let happened = end.happened.clone();
            let calm = patient && end.calm;
            self.arrive(flash, rest, end, happened, calm, None, out)?;
        }
        if let Some((after, rest)) = spoilt {
            for end in self.follower.follow(&after, refused, false)? {
                let happened = end.happened.clone();
                self.arrive(&after, &rest, end, happened, false, None, out)?;
            }
        }
        Ok(())
    }

    /// Every cut before and inside a change.
    fn cut(
        &self,
        flash: &Flash,
        rest: &Arc<World>,
        change: &Change,
        area: Region,
        kind: ChangeKind,
        out: &mut Expanded<S::State>,
    ) {
        let torn: Vec<Torn> = outcomes(flash, change, &self.plan.faults.insides, &self.plan.faults.erases).collect();
        out.cuts += torn.len() as u64 + 1;
        self.reach(rest.clone(), Step::Cut(kind, story::Moment::Before), out);
        // A cut leaves its traces inside the change's own cells. Where nobody sees these, every outcome is the same world: the
        // one in which the change was not begun.
        if self.is_out_of_sight(rest, area) {
            out.transitions += torn.len() as u64;
            return;
        }
        for torn in torn {
            let mut after = flash.clone();
            if after.tear(change, torn).is_ok() {
                let world = self.off(after, rest.started);
                self.reach(world, Step::Cut(kind, story::Moment::Inside(torn)), out);
            }
        }
    }

    /// Whether changes in `area` make no difference to a loader that is powered in this world.
    fn is_out_of_sight(&self, world: &World, area: Region) -> bool {
        world.guarded && world.flash.is_dont_care(area)
    }

    fn reach(&self, world: Arc<World>, step: Step, out: &mut Expanded<S::State>) {
        out.transitions += 1;
        out.reached.push(Reached {
            key: world.key,
            node: Node::Off(world),
            step,
            calm: false,
            alone: false,
        });
    }

    /// A strand has come to its next change, its wait, or its start. `stick` is the one that was in place when power came on, if
    /// it has just done so.
    #[allow(clippy::too_many_arguments)] // what it takes to say how a node was reached
    fn arrive(
        &self,
        flash: &Flash,
        rest: &Arc<World>,
        mut end: Strand<S::State>,
        happened: Vec<Happening>,
        calm: bool,
        stick: Option<Option<usize>>,
        out: &mut Expanded<S::State>,
    ) -> Result<(), Tangle> {
        // A unit that is left alone: no stick, and nothing happens to it.
        let ordinary = |happening: &Happening| matches!(happening, Happening::Told(_) | Happening::Refused);
        let alone = end.stick.is_none() && end.calm && happened.iter().all(ordinary);
        if let Some(seen) = self.loader.failure(&end.state) {
            if calm {
                out.calm_end = Some(CalmEnd::Fails);
            }
            let step = Step::Runs {
                stick,
                happened,
                comes_to: story::ComesTo::Failure,
            };
            out.objections.push((Claim::Sane, seen, Some(step)));
            return Ok(());
        }
        match end.wish.clone() {
            Wish::Change(change) => {
                self.judge_harm(flash, &change, end.asked, stick, &happened, out);
                out.transitions += 1;
                let step = Step::Runs {
                    stick,
                    happened,
                    comes_to: story::ComesTo::Change(ChangeKind::of(&change)),
                };
                end.happened = Vec::new();
                end.calm = true;
                out.reached.push(Reached {
                    key: self.key_of_strand(flash, rest.started, &end),
                    node: Node::On {
                        flash: flash.clone(),
                        strand: Box::new(end),
                        rest: rest.clone(),
                    },
                    step,
                    calm,
                    alone,
                });
            }
            Wish::Wait(reason) => {
                if alone {
                    out.alone_end = Some(false);
                }
                if calm {
                    out.calm_end = Some(CalmEnd::Waits(reason));
                }
                let step = Step::Runs {
                    stick,
                    happened,
                    comes_to: story::ComesTo::Wait(reason),
                };
                self.reach(rest.clone(), step, out);
            }
            Wish::Start(address) => {
                if alone {
                    out.alone_end = Some(true);
                }
                self.start(flash, rest, address, stick, happened, calm, out)?;
            }
            _ => {}
        }
        Ok(())
    }

    #[allow(clippy::too_many_arguments)] // what it takes to say how a node was reached
    fn start(
        &self,
        flash: &Flash,
        rest: &Arc<World>,
        address: u32,
        stick: Option<Option<usize>>,
        happened: Vec<Happening>,
        calm: bool,
        out: &mut Expanded<S::State>,
    ) -> Result<(), Tangle> {
        let step = Step::Runs {
            stick,
            happened,
            comes_to: story::ComesTo::Start(address),
        };
        let place = self.place_at(address);
        let runs = place.and_then(|place| {
            let held =
                |release: &&ReleasedImage| self.digest(flash, place, release.image_size) == Some(release.image_digest);
            self.plan.releases.iter().find(held)
        });
        let Some(runs) = runs else {
            if place.is_some_and(|place| flash.has_dont_care(place)) {
                return Err(Tangle::DontCare(address));
            }
            if calm {
                out.calm_end = Some(CalmEnd::Strange);
            }
            let seen = "what was started is no whole image that the maker released".to_owned();
            out.objections.push((Claim::Authentic, seen, Some(step)));
            return Ok(());
        };
        let image = Region {
            base: address,
            size: runs.image_size,
        };
        if flash.wavers(image) {
            let seen = "the image that was started has cells that were not programmed to the end".to_owned();
            out.objections.push((Claim::Solid, seen, Some(step.clone())));
        }
        let named = self.loader.may_stand(flash).into_iter();
        let named =
            named.filter(|named| Some(named.place) == place && named.descriptor.image_digest == runs.image_digest);
        let issue = named.map(|named| named.descriptor.sequence).max().unwrap_or(0);
        let started = rest.started;
        if issue < started {
            let seen = format!("issue {issue} was started after issue {started}");
            out.objections.push((Claim::FloorRises, seen, Some(step.clone())));
        }
        if calm {
            out.calm_end = Some(if *runs == self.plan.target {
                CalmEnd::Arrived
            } else {
                CalmEnd::Elsewhere
            });
        }
        let world = World {
            key: self.key_of_world(&rest.flash, started.max(issue)),
            flash: rest.flash.clone(),
            started: started.max(issue),
            guarded: rest.guarded,
        };
        self.reach(Arc::new(world), step, out);
        Ok(())
    }

    /// Whether a patient owner's unit could be here: the good stick is in place, and what was picked, if anything, is the goal.
    fn is_patient(&self, strand: &Strand<S::State>) -> bool {
        strand.stick == Some(self.plan.good_stick) && strand.picked.is_none_or(|picked| picked == self.plan.goal)
    }

    /// The place that begins at an address.
    fn place_at(&self, address: u32) -> Option<Region> {
        self.loader.places().into_iter().find(|place| place.base == address)
    }

    fn digest(&self, flash: &Flash, place: Region, size: u32) -> Option<[u8; 32]> {
        let image = Region { base: place.base, size };
        self.follower.digest(flash, image)
    }
}

fn unfinished(tangle: Tangle) -> Unfinished {
    match tangle {
        Tangle::DontCare(address) => Unfinished::Unsound { address },
        Tangle::Endless => Unfinished::Endless,
    }
}

/// What a second program that the part refuses leaves all the same, where cells have check bits: they do not fit any more.
fn spoilt(flash: &Flash, change: &Change) -> Option<Flash> {
    let Change::Program { address, data } = change else {
        return None;
    };
    flash.layout().memory_at(*address).has_check_bits().then(|| {
        let mut after = flash.clone();
        after.hold(*address, data, Some(DoubtKind::Unreadable));
        after
    })
}

/// The cells that a change touches.
fn area_of(flash: &Flash, change: &Change) -> Region {
    match change {
        Change::Erase { address } => {
            let sector = flash.layout().sector_at(*address);
            sector.unwrap_or(Region {
                base: *address,
                size: 0,
            })
        }
        Change::Program { address, data } => Region {
            base: *address,
            size: data.len() as u32,
        },
    }
}
