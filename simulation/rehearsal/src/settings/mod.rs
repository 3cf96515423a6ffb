//! Settings under cuts: every world that a settings memory can pass through while a unit saves, is updated and is taken back to
//! an older version, each visited once.
//!
//! As in [`explore`](crate::explore): nodes are worlds with power off, or powered stores about to change their memory; power may
//! fail before, inside and after every change, any number of times; doubtful cells may read either way at every read. Owners may
//! change settings whenever the unit rests, and put any version on between two power-ups.
//!
//! What must hold, whatever happens: when the unit rests, its settings are those that it had or those that were being saved,
//! carried over to the installed version exactly as its tables say, with what was kept aside given back; once it has come up with
//! one of the two, it never comes up with the other again ([`Claim::SettingsKept`]); and the store asks of its memory only what
//! that can do, and comes to rest ([`Claim::Sane`]).

mod alike;
mod any_size;
mod ideal;
mod names;
mod parts;
mod store;
mod story;

pub use any_size::{LONGEST, Machines, Setup, Unexplored, explore_machines, explore_setup};
pub use ideal::Ideal;
pub use parts::{memory_of, new_memory};
pub use store::{ASIDE, KeeperMachine, OurKeeper, ROOM, Store, Wish};
pub use story::{ChangeKind, ComesTo, Moment, Step, Story};

use crate::claims::Claim;
use crate::explore::{Faults, Progress};
use names::Names;
use packstaff_keeper::Reply;
use packstaff_unit::flash::{Change, SumKey, Torn};
use packstaff_unit::settings_memory::{SettingsCut, SettingsMemory};
use rayon::prelude::*;
use std::collections::hash_map::Entry;
use std::collections::{BTreeSet, HashMap, HashSet};

/// A version of a product, as far as settings go.
#[derive(Clone, Debug)]
pub struct Version {
    /// What to call it.
    pub name: String,
    /// Its layout.
    pub layout: u16,
    /// Bytes of its settings.
    pub len: u16,
    /// Tables from older layouts to its own.
    pub tables: Vec<Vec<u8>>,
    /// Tables that lead back, each behind its length in two bytes.
    pub ways_back: Vec<u8>,
    /// What an owner may change the settings to.
    pub payloads: Vec<Vec<u8>>,
}

/// What to explore.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The worlds to begin with: what to call them, the memory, and the settings in it.
    pub from: Vec<(String, SettingsMemory, Ideal)>,
    /// The versions that owners have.
    pub versions: Vec<Version>,
    /// Whether there is a region aside.
    pub keeps_aside: bool,
    /// How often an owner changes settings between two power-ups.
    pub saves_max: u8,
    /// What may go wrong: cuts, what a cut inside a change leaves, and doubtful cells. The other faults do not reach settings.
    pub faults: Faults,
    /// Power is cut, before, inside and after every change: at most so often, or, with `None`, any number of times.
    pub cuts_max: Option<u8>,
    /// Power comes on at most so often, or, with `None`, any number of times.
    pub powers_max: Option<u8>,
    /// One page, any one, wears out at any write.
    pub wears_out: bool,
    /// The most nodes to visit.
    pub nodes_max: usize,
    /// Key of the sums.
    pub key: SumKey,
}

/// A claim that does not hold, with the shortest way to it.
#[derive(Clone, Debug)]
pub struct Violation {
    /// Which.
    pub claim: Claim,
    /// What was seen.
    pub seen: String,
    /// How to get there.
    pub story: Story,
}

/// What an exploration covered and found.
#[derive(Clone, Debug, Default)]
pub struct Exploration {
    /// Worlds with power off that were told apart.
    pub worlds: usize,
    /// Powered stores about to change their memory, or at rest.
    pub powered: usize,
    /// Cuts: before, inside and after changes.
    pub cuts: u64,
    /// The longest shortest way.
    pub levels: usize,
    /// Most changes of the memory from power-on to rest, if nothing happens.
    pub changes_max: usize,
    /// The first claim that does not hold.
    pub violation: Option<Violation>,
}

/// There are more nodes than were allowed for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("more than {0} nodes: allow for more, or rehearse fewer versions or payloads")]
pub struct TooLarge(pub usize);

type Ideals = BTreeSet<Ideal>;

#[derive(Clone)]
enum Node<S> {
    Off {
        memory: SettingsMemory,
        ideals: Ideals,
        count: Count,
    },
    On(Box<On<S>>),
}

/// A powered store about to change its memory, or at rest.
#[derive(Clone)]
struct On<S> {
    memory: SettingsMemory,
    state: S,
    version: usize,
    wish: Wish,
    /// What the settings may be if power fails now.
    ideals: Ideals,
    /// What is being saved, or was saved last.
    saved: Option<Ideals>,
    saves: u8,
    count: Count,
}

/// How often something happened so far, where it is counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
struct Count {
    cuts: u8,
    powers: u8,
}

struct Reached<S> {
    key: u128,
    node: Node<S>,
    step: Step,
}

struct Expanded<S> {
    key: u128,
    /// What was reached, each once.
    keys: HashSet<u128>,
    reached: Vec<Reached<S>>,
    objection: Option<(Claim, String, Option<Step>)>,
    cuts: u64,
    /// Where it goes if nothing happens, after how many changes: to a change, or to rest.
    calm: Option<Calm>,
}

#[derive(Clone, Copy)]
struct Calm {
    changes: usize,
    next: Option<u128>,
}

struct Origin {
    parent: Option<u128>,
    step: Step,
}

/// Which worlds are one to a store.
pub trait Alike: Sync {
    /// Puts a world with power off into the form in which worlds are compared. Gives the layout and the bytes of all settings that
    /// are still in it, or `None` if that is not looked at.
    fn settle(&self, memory: &mut SettingsMemory) -> Option<Vec<(u16, Vec<u8>)>>;

    /// Whether a cut anywhere in this change, and the change itself, leave what is settled as it is before the change. Such cuts
    /// are counted, and not carried out one by one.
    fn is_unseen(&self, memory: &SettingsMemory, change: &Change) -> bool;

    /// All that a store sees of the place that a change has hit, if a few words tell it: cuts in one change that leave the same are
    /// carried out once.
    fn face(&self, memory: &SettingsMemory, change: &Change) -> Option<(bool, bool)>;
}

/// Nothing is taken together.
pub struct Apart;

impl Alike for Apart {
    fn settle(&self, _: &mut SettingsMemory) -> Option<Vec<(u16, Vec<u8>)>> {
        None
    }

    fn is_unseen(&self, _: &SettingsMemory, _: &Change) -> bool {
        false
    }

    fn face(&self, _: &SettingsMemory, _: &Change) -> Option<(bool, bool)> {
        None
    }
}

/// So many nodes are looked at in parallel, before what they lead to is put together: what waits takes memory.
const AT_ONCE: usize = 256;

/// Reads after which a store counts as going round in circles: the largest region is read in far fewer.
const READS_MAX: u32 = 1_000_000;

struct Explorer<'a, S: Store> {
    store: &'a S,
    plan: &'a Plan,
    alike: &'a dyn Alike,
    names: Names,
}

/// Explores our own keeper, with worlds that are alike to it taken together or kept apart.
///
/// # Errors
/// Too many nodes.
pub fn explore_keeper<M: KeeperMachine>(
    keeper: &OurKeeper<M>,
    plan: &Plan,
    reduce: bool,
) -> Result<Exploration, TooLarge> {
    let alike: &dyn Alike = if reduce { keeper } else { &Apart };
    explore(keeper, plan, alike, &|_| ())
}

/// Explores a store. `watch` is told now and then how far it has come.
///
/// # Errors
/// Too many nodes.
pub fn explore<S: Store>(
    store: &S,
    plan: &Plan,
    alike: &dyn Alike,
    watch: &dyn Fn(Progress),
) -> Result<Exploration, TooLarge> {
    let names = Names::of(plan);
    let explorer = Explorer {
        store,
        plan,
        alike,
        names,
    };
    explorer.run(watch)
}

impl<S: Store> Explorer<'_, S> {
    fn run(&self, watch: &dyn Fn(Progress)) -> Result<Exploration, TooLarge> {
        let mut found = Exploration::default();
        let mut origins = HashMap::<u128, Origin>::new();
        let mut calm = HashMap::<u128, Calm>::new();
        let mut frontier = Vec::new();
        for (name, memory, ideal) in &self.plan.from {
            let node = self.off(memory.clone(), BTreeSet::from([ideal.clone()]), Count::default());
            let key = self.key_of(&node);
            let step = Step::Begin(name.clone());
            if origins.insert(key, Origin { parent: None, step }).is_none() {
                frontier.push((key, node));
            }
        }
        while !frontier.is_empty() {
            found.levels += 1;
            for (_, node) in &frontier {
                match node {
                    Node::Off { .. } => found.worlds += 1,
                    Node::On(_) => found.powered += 1,
                }
            }
            let level = std::mem::take(&mut frontier);
            for portion in level.chunks(AT_ONCE) {
                let expanded: Vec<_> = portion.par_iter().map(|(key, node)| self.expand(*key, node)).collect();
                for expanded in expanded {
                    found.cuts += expanded.cuts;
                    if let (None, Some((claim, seen, step))) = (&found.violation, expanded.objection) {
                        let story = self.tell(&origins, expanded.key, step);
                        found.violation = Some(Violation { claim, seen, story });
                    }
                    if let Some(next) = expanded.calm {
                        calm.insert(expanded.key, next);
                    }
                    for reached in expanded.reached {
                        if let Entry::Vacant(place) = origins.entry(reached.key) {
                            place.insert(Origin {
                                parent: Some(expanded.key),
                                step: reached.step,
                            });
                            frontier.push((reached.key, reached.node));
                        }
                    }
                }
                if origins.len() > self.plan.nodes_max {
                    return Err(TooLarge(self.plan.nodes_max));
                }
                watch(Progress {
                    worlds: found.worlds,
                    nodes: origins.len(),
                    ahead: frontier.len(),
                    cuts: found.cuts,
                });
            }
            if found.violation.is_some() {
                return Ok(found);
            }
        }
        match longest(&calm) {
            Ok(changes) => found.changes_max = changes,
            Err(key) => {
                let story = self.tell(&origins, key, None);
                let seen = "the store goes on changing its memory for ever".to_owned();
                found.violation = Some(Violation {
                    claim: Claim::Sane,
                    seen,
                    story,
                });
            }
        }
        Ok(found)
    }

    fn tell(&self, origins: &HashMap<u128, Origin>, key: u128, last: Option<Step>) -> Story {
        let mut steps: Vec<_> = last.into_iter().collect();
        let mut here = Some(key);
        while let Some(origin) = here.and_then(|key| origins.get(&key)) {
            steps.push(origin.step.clone());
            here = origin.parent;
        }
        steps.reverse();
        Story::of(steps, &self.plan.versions, &self.names)
    }

    /// Settings that are nowhere in the memory any more cannot come back, and if they do, that is found.
    fn off(&self, mut memory: SettingsMemory, mut ideals: Ideals, count: Count) -> Node<S::State> {
        if let Some(held) = self.alike.settle(&mut memory) {
            let layout = |ideal: &Ideal| self.plan.versions.get(ideal.version).map(|version| version.layout);
            let is_held = |ideal: &Ideal| match &ideal.value {
                None => true,
                Some(value) => held
                    .iter()
                    .any(|(number, bytes)| layout(ideal) == Some(*number) && bytes == value),
            };
            if ideals.iter().any(is_held) {
                ideals.retain(is_held);
            }
        }
        Node::Off { memory, ideals, count }
    }

    fn key_of(&self, node: &Node<S::State>) -> u128 {
        let key = &self.plan.key;
        match node {
            Node::Off { memory, ideals, count } => key.hash(&(memory.sum(key), ideals, count)),
            Node::On(on) => key.hash(&(
                (on.memory.sum(key), &on.state, on.version),
                (&on.wish, &on.ideals, &on.saved, on.saves, on.count),
            )),
        }
    }

    fn expand(&self, key: u128, node: &Node<S::State>) -> Expanded<S::State> {
        let mut out = Expanded {
            key,
            keys: HashSet::new(),
            reached: Vec::new(),
            objection: None,
            cuts: 0,
            calm: None,
        };
        match node {
            Node::Off { memory, ideals, count } => self.expand_off(memory, ideals, *count, &mut out),
            Node::On(on) => match on.wish.change() {
                Some(change) => self.expand_change(on, &change, &mut out),
                None => self.expand_rest(on, &mut out),
            },
        }
        out
    }

    /// Any version is installed now.
    fn expand_off(&self, memory: &SettingsMemory, ideals: &Ideals, mut count: Count, out: &mut Expanded<S::State>) {
        if let Some(most) = self.plan.powers_max {
            count.powers = count.powers.saturating_add(1);
            if count.powers > most {
                return;
            }
        }
        for (index, version) in self.plan.versions.iter().enumerate() {
            let under = |ideal: &Ideal| ideal.under(&self.plan.versions, index, self.plan.keeps_aside);
            let carried: Ideals = ideals.iter().filter_map(under).collect();
            let (state, wish) = self.store.power_up(version);
            let both = ideals | &carried;
            let on = On {
                memory: memory.clone(),
                state,
                version: index,
                wish,
                ideals: both,
                saved: None,
                saves: 0,
                count,
            };
            for (wavered, end) in self.follow(on, out) {
                let step = |end| Step::PowerOn(index, wavered, end);
                self.arrive(end, step, Some((ideals, &carried)), out);
            }
        }
    }

    /// At rest: the owner changes something, or switches off.
    fn expand_rest(&self, on: &On<S::State>, out: &mut Expanded<S::State>) {
        self.reach(self.off(on.memory.clone(), on.ideals.clone(), on.count), Step::Off, out);
        let (Wish::Rest(value), Some(version)) = (&on.wish, self.plan.versions.get(on.version)) else {
            return;
        };
        if on.saves >= self.plan.saves_max {
            return;
        }
        for payload in &version.payloads {
            if value.as_ref() == Some(payload) {
                continue;
            }
            let mut saving = on.clone();
            saving.saves += 1;
            saving.wish = self.store.save(version, &mut saving.state, payload);
            let saved: Ideals = on
                .ideals
                .iter()
                .map(|ideal| Ideal {
                    version: on.version,
                    value: Some(payload.clone()),
                    aside: ideal.aside.clone(),
                })
                .collect();
            saving.ideals.extend(saved.iter().cloned());
            saving.saved = Some(saved);
            for (_, end) in self.follow(saving, out) {
                let payload = payload.clone();
                self.arrive(end, |end| Step::Save(payload, end), None, out);
            }
        }
    }

    fn expand_change(&self, on: &On<S::State>, change: &Change, out: &mut Expanded<S::State>) {
        if let Err(fault) = on.memory.check(change) {
            out.objection = Some((Claim::Sane, fault, None));
            return;
        }
        let kind = ChangeKind::of(change);
        let unseen = self.alike.is_unseen(&on.memory, change);
        let mut after = on.memory.clone();
        if let Err(fault) = after.apply(change) {
            out.objection = Some((Claim::Sane, fault, None));
            return;
        }
        if self.plan.faults.cuts && self.plan.cuts_max.is_none_or(|most| on.count.cuts < most) {
            let mut count = on.count;
            if self.plan.cuts_max.is_some() {
                count.cuts = count.cuts.saturating_add(1);
            }
            let torn = self.torn(on, change);
            out.cuts += torn.len() as u64 + 2;
            let before = (Moment::Before, on.memory.clone());
            let mut cut = |(moment, memory)| {
                self.reach(self.off(memory, on.ideals.clone(), count), Step::Cut(kind, moment), out);
            };
            cut(before);
            if !unseen {
                cut((Moment::After, after.clone()));
                let mut faces = HashSet::new();
                let torn = torn.into_iter().filter_map(|inside| {
                    let mut memory = on.memory.clone();
                    memory.tear(change, inside).ok()?;
                    let known = self.alike.face(&memory, change).is_some_and(|face| !faces.insert(face));
                    (!known).then_some((Moment::Inside(inside), memory))
                });
                torn.for_each(cut);
            }
        }
        let stretch = unseen && !self.plan.wears_out;
        self.carried_out(on, after, stretch, out);
        if let (true, SettingsMemory::Pages(pages), Change::Program { address, .. }) =
            (self.plan.wears_out, &on.memory, change)
            && !pages.is_worn()
        {
            let mut worn = pages.clone();
            worn.wear_out(*address);
            let mut worn = SettingsMemory::Pages(worn);
            if worn.apply(change).is_ok() {
                for (_, end) in self.go_on(on, worn, out) {
                    self.arrive(end, Step::WornOut, None, out);
                }
            }
        }
    }

    /// Every way in which a cut can fall inside a change, as far as it is looked at.
    fn torn(&self, on: &On<S::State>, change: &Change) -> Vec<SettingsCut> {
        let faults = &self.plan.faults;
        let looked_at = |cut: &SettingsCut| match cut {
            SettingsCut::Page(_) => !faults.insides.is_empty(),
            SettingsCut::Flash(Torn::Program { inside, .. }) => faults.insides.contains(inside),
            SettingsCut::Flash(Torn::Erase(cut)) => faults.erases.contains(cut),
        };
        on.memory.cuts(change).into_iter().filter(looked_at).collect()
    }

    /// How many cuts there are in a change: before, inside and after it.
    fn cuts_in(&self, on: &On<S::State>, change: &Change) -> u64 {
        let may = self.plan.faults.cuts && self.plan.cuts_max.is_none_or(|most| on.count.cuts < most);
        if may { self.torn(on, change).len() as u64 + 2 } else { 0 }
    }

    /// After a change. In a `stretch`, all further changes that nobody can see are carried out at once: a cut in any of them leads
    /// where one before the first does.
    fn carried_out(&self, on: &On<S::State>, memory: SettingsMemory, stretch: bool, out: &mut Expanded<S::State>) {
        let mut ends = self.go_on(on, memory, out);
        let mut changes = 1;
        while stretch && let [(_, end)] = &ends[..] {
            let Some(change) = end.wish.change() else { break };
            if !self.alike.is_unseen(&end.memory, &change) {
                break;
            }
            let mut after = end.memory.clone();
            if after.apply(&change).is_err() {
                break;
            }
            out.cuts += self.cuts_in(end, &change);
            changes += 1;
            ends = self.go_on(end, after, out);
        }
        for (wavered, end) in ends {
            let came = self.arrive(end, |end| Step::Done(changes, end), None, out);
            if !wavered && out.calm.is_none() {
                out.calm = came.map(|next| Calm { changes, next });
            }
        }
    }

    /// The change is done, with this memory: on to the next.
    fn go_on(
        &self,
        on: &On<S::State>,
        memory: SettingsMemory,
        out: &mut Expanded<S::State>,
    ) -> Vec<(bool, On<S::State>)> {
        let mut next = on.clone();
        next.memory = memory;
        if let Some(version) = self.plan.versions.get(on.version) {
            next.wish = self.store.step(version, &mut next.state, Reply::Done);
        }
        self.follow(next, out)
    }

    /// Goes on up to the next change or the end, in every reading of doubtful cells.
    fn follow(&self, on: On<S::State>, out: &mut Expanded<S::State>) -> Vec<(bool, On<S::State>)> {
        let mut open = vec![(false, on, 0_u32)];
        let mut ends = Vec::new();
        // Readings that come to the same are followed once, those without an odd reading first. Before anything was read in two
        // ways there is nothing to compare.
        let mut seen = HashSet::new();
        let mut parted = false;
        while let Some((wavered, mut on, mut steps)) = open.pop() {
            loop {
                if parted && !seen.insert(self.plan.key.hash(&(&on.state, &on.wish))) {
                    break;
                }
                let Wish::Read(address, len) = on.wish else {
                    ends.push((wavered, on));
                    break;
                };
                if steps > READS_MAX {
                    let seen = "the store reads on and on without coming to rest".to_owned();
                    out.objection.get_or_insert((Claim::Sane, seen, None));
                    break;
                }
                steps += 1;
                let Some(version) = self.plan.versions.get(on.version) else {
                    break;
                };
                if self.plan.faults.wavering && on.memory.wavers(address, len) {
                    parted = true;
                    let mut odd = on.clone();
                    self.answer(version, &mut odd, address, len, true);
                    open.push((true, odd, steps));
                }
                self.answer(version, &mut on, address, len, false);
            }
        }
        ends
    }

    fn answer(&self, version: &Version, on: &mut On<S::State>, address: u32, len: u32, otherwise: bool) {
        let bytes = on.memory.read(address, len, otherwise);
        let reply = bytes.as_deref().map_or(Reply::Failed, Reply::Bytes);
        on.wish = self.store.step(version, &mut on.state, reply);
    }

    /// A store has come to its next change, to rest, or to an end. `came` is where it would go on if nothing happens.
    fn arrive(
        &self,
        mut on: On<S::State>,
        step: impl FnOnce(ComesTo) -> Step,
        powered: Option<(&Ideals, &Ideals)>,
        out: &mut Expanded<S::State>,
    ) -> Option<Option<u128>> {
        let end = match &on.wish {
            Wish::Rest(value) => ComesTo::Rest(value.clone()),
            Wish::Foreign => ComesTo::Foreign,
            Wish::NotCarried(why) | Wish::Stuck(why) => ComesTo::Stuck(why.clone()),
            wish => ComesTo::Change(ChangeKind::of(&wish.change()?)),
        };
        let objection = self.judge(&mut on, powered);
        let step = step(end.clone());
        if let Some((claim, seen)) = objection {
            out.objection.get_or_insert((claim, seen, Some(step)));
            return None;
        }
        let rests = !matches!(end, ComesTo::Change(_));
        let key = self.reach(Node::On(Box::new(on)), step, out);
        Some((!rests).then_some(key))
    }

    /// At rest: the settings are some that they may be, and from now on no others.
    fn judge(&self, on: &mut On<S::State>, powered: Option<(&Ideals, &Ideals)>) -> Option<(Claim, String)> {
        match &on.wish {
            Wish::Stuck(why) => Some((Claim::Sane, format!("the store is stuck: {why}"))),
            Wish::NotCarried(why) => Some((Claim::SettingsKept, why.clone())),
            Wish::Foreign => {
                // Right where there is no way from any of the layouts that the settings may have.
                let way = |ideal: &Ideal| {
                    ideal
                        .under(&self.plan.versions, on.version, self.plan.keeps_aside)
                        .is_some()
                };
                if let Some((old, _)) = powered {
                    on.ideals = old.clone();
                }
                let all = on.ideals.iter().all(way);
                all.then(|| {
                    let seen = "there is a way from the settings to this version, and it is not taken".to_owned();
                    (Claim::SettingsKept, seen)
                })
            }
            Wish::Rest(value) => {
                let installed = |ideal: &Ideal| {
                    let layout = |index: usize| self.plan.versions.get(index).map(|version| version.layout);
                    layout(ideal.version) == layout(on.version) || ideal.value.is_none()
                };
                let matching: Ideals = match &on.saved {
                    Some(saved) => saved.clone(),
                    None => on.ideals.iter().filter(|ideal| installed(ideal)).cloned().collect(),
                };
                let matching: Ideals = matching.into_iter().filter(|ideal| ideal.value == *value).collect();
                if matching.is_empty() {
                    let words = |value: &Option<Vec<u8>>| self.names.words(value.as_deref());
                    let may: BTreeSet<_> = on.ideals.iter().map(|ideal| words(&ideal.value)).collect();
                    let may: Vec<_> = may.into_iter().collect();
                    let seen = format!("the unit has {}, and should have {}", words(value), may.join(", or "));
                    return Some((Claim::SettingsKept, seen));
                }
                on.ideals = matching;
                on.saved = None;
                None
            }
            _ => None,
        }
    }

    fn reach(&self, node: Node<S::State>, step: Step, out: &mut Expanded<S::State>) -> u128 {
        let key = self.key_of(&node);
        if out.keys.insert(key) {
            out.reached.push(Reached { key, node, step });
        }
        key
    }
}

/// Most changes on the way to rest; or a node from which there is no way.
fn longest(calm: &HashMap<u128, Calm>) -> Result<usize, u128> {
    let mut known = HashMap::<u128, usize>::new();
    let mut most = 0;
    for start in calm.keys() {
        let mut way = Vec::new();
        let mut here = Some(*start);
        let mut changes = loop {
            let Some(key) = here else { break 0 };
            if let Some(changes) = known.get(&key) {
                break *changes;
            }
            let Some(step) = calm.get(&key) else { break 0 };
            if way.len() > calm.len() {
                return Err(*start);
            }
            way.push((key, step.changes));
            here = step.next;
        };
        for (key, own) in way.into_iter().rev() {
            changes += own;
            known.insert(key, changes);
        }
        most = most.max(changes);
    }
    Ok(most)
}
