//! Hypotheses: what can have happened, so that flash is as it was read.

use crate::cells::Cells;
use crate::known::{KindOfUnit, ReleaseId};
use crate::place::{Ground, Stood};
use crate::records::Records;
use packstaff_installer::{Layout, Region, Register, Value};
use packstaff_unit::blueprint::Blueprint;
use serde::Serialize;

/// What an install was doing when it was broken off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Work {
    /// Nothing: no install is under way.
    Nothing,
    /// What was written is being recorded: descriptor and register.
    Recording,
    /// The image is being written, or is written.
    Writing,
    /// The place is given up and being erased, or is erased.
    Erasing,
    /// This is nothing that an install leaves, whenever it is cut: flash was damaged, or changed by something else, or the
    /// read-out is of another unit.
    Damaged,
}

/// Where.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Where {
    /// The slot, or the first of two.
    Slot,
    /// The second slot.
    SecondSlot,
    /// The stage, from which the slot is filled.
    Stage,
}

/// One hypothesis of what happened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Hypothesis {
    /// What was being done.
    pub work: Work,
    /// To which place.
    pub place: Where,
    /// The release that was being installed, or that is installed: one of these. Empty: it cannot be told.
    pub installing: Vec<ReleaseId>,
    /// Flash does not show which release was being installed; the owner's stick does.
    pub by_stick: bool,
    /// Remains of these releases lie in the place.
    pub remains: Vec<ReleaseId>,
    /// Bytes written so far, of how many.
    pub written: Option<(u32, u32)>,
    /// Where the cut fell, if it shows.
    pub torn: Option<u32>,
    /// The release that the unit can still start meanwhile, if there is one.
    pub runs: Option<ReleaseId>,
}

impl Hypothesis {
    pub(crate) fn of(work: Work, place: Where) -> Self {
        Self {
            work,
            place,
            installing: Vec::new(),
            by_stick: false,
            remains: Vec::new(),
            written: None,
            torn: None,
            runs: None,
        }
    }
}

/// Every hypothesis of what happened that leaves flash as it was read, likeliest first; never empty.
pub(crate) fn hypotheses(
    kind: &KindOfUnit,
    blueprint: &Blueprint,
    cells: &Cells,
    records: &Records,
) -> Vec<Hypothesis> {
    let ground = Ground {
        kind,
        blueprint,
        cells,
        records,
    };
    let mut found = match blueprint.slots {
        Layout::Single => single(&ground),
        Layout::Staged { stage } => staged(&ground, stage),
        Layout::Paired { second } => paired(&ground, second),
    };
    let mut kept = Vec::<Hypothesis>::new();
    for hypothesis in found.drain(..) {
        if !kept.contains(&hypothesis) {
            kept.push(hypothesis);
        }
    }
    if kept.is_empty() {
        kept.push(Hypothesis::of(Work::Damaged, Where::Slot));
    }
    // Damage is the last thing to think of where something else explains what is there.
    kept.sort_by_key(|hypothesis| hypothesis.work == Work::Damaged);
    kept
}

/// Whether the register says `value` already; `None` if that was not read.
fn settled(records: &Records, value: Value) -> Option<bool> {
    let register: Register = records.register();
    match register.next(value, None) {
        None => Some(true),
        Some(_) if records.register_is_read() => Some(false),
        Some(_) => None,
    }
}

/// Nothing under way, or the register still being written.
fn at_rest(ground: &Ground<'_>, value: Value, hypothesis: impl Fn(Work) -> Hypothesis) -> Vec<Hypothesis> {
    match settled(ground.records, value) {
        Some(true) => vec![hypothesis(Work::Nothing)],
        Some(false) => vec![hypothesis(Work::Recording)],
        None => vec![hypothesis(Work::Nothing), hypothesis(Work::Recording)],
    }
}

fn single(ground: &Ground<'_>) -> Vec<Hypothesis> {
    let mut found = Vec::new();
    for stood in ground.slot() {
        match stood {
            Stood::Stands(descriptor) => {
                let value = Value {
                    issue: descriptor.sequence,
                    held: None,
                };
                let release = ground.kind.named(&descriptor);
                found.extend(at_rest(ground, value, |work| Hypothesis {
                    installing: ground.ids(release.as_slice()),
                    runs: ground.id(release),
                    ..Hypothesis::of(work, Where::Slot)
                }));
            }
            Stood::Hypothesis(hypothesis) => found.push(hypothesis),
        }
    }
    found
}

/// Images that the register names and that are, or may be, there whole.
fn named(ground: &Ground<'_>) -> Vec<(packstaff_installer::Held, Region, bool)> {
    let blueprint = ground.blueprint;
    let place = |held: packstaff_installer::Held| match blueprint.slots {
        Layout::Single => blueprint.slot,
        Layout::Staged { stage } => stage,
        Layout::Paired { second } if held.second => second,
        Layout::Paired { .. } => blueprint.slot,
    };
    let candidates = ground.records.register().candidates().filter_map(|value| value.held);
    let there = candidates.filter_map(|held| {
        let region = place(held);
        match ground.holds(region, &held.descriptor) {
            Some(false) => None,
            sure => Some((held, region, sure == Some(true))),
        }
    });
    there.collect()
}

fn staged(ground: &Ground<'_>, stage: Region) -> Vec<Hypothesis> {
    let mut found = Vec::new();
    let named = named(ground);
    for (held, _, _) in &named {
        // What the stage holds is being copied to the slot.
        let release = ground.kind.named(&held.descriptor);
        let ids = ground.ids(release.as_slice());
        for stood in ground.slot() {
            match stood {
                Stood::Stands(_) => found.push(Hypothesis {
                    installing: ids.clone(),
                    runs: ground.id(release),
                    ..Hypothesis::of(Work::Recording, Where::Slot)
                }),
                Stood::Hypothesis(hypothesis) if hypothesis.work != Work::Nothing => {
                    let ours =
                        hypothesis.installing.is_empty() || ids.iter().any(|id| hypothesis.installing.contains(id));
                    if ours || ids.is_empty() {
                        found.push(Hypothesis {
                            installing: ids.clone(),
                            runs: ground.id(release),
                            ..hypothesis
                        });
                    }
                }
                Stood::Hypothesis(_) => {}
            }
        }
        let value = Value {
            issue: ground.records.register().floor(),
            held: Some(*held),
        };
        if settled(ground.records, value) != Some(true) {
            found.push(Hypothesis {
                installing: ids.clone(),
                runs: ground.id(release),
                ..Hypothesis::of(Work::Recording, Where::Stage)
            });
        }
    }
    if named.iter().any(|(_, _, sure)| *sure) {
        return found;
    }
    for stood in ground.slot() {
        match stood {
            Stood::Stands(descriptor) => {
                let value = Value {
                    issue: descriptor.sequence,
                    held: None,
                };
                let release = ground.kind.named(&descriptor);
                let hypothesis = |work| Hypothesis {
                    installing: ground.ids(release.as_slice()),
                    runs: ground.id(release),
                    ..Hypothesis::of(work, Where::Slot)
                };
                let beside = ground.unmarked(stage, Where::Stage, release);
                if settled(ground.records, value) != Some(true) {
                    found.extend(ground.being_recorded(stage, Where::Stage, release));
                    found.push(hypothesis(Work::Recording));
                }
                if settled(ground.records, value) != Some(false) {
                    found.extend(beside.into_iter().map(|beside| match beside.work {
                        Work::Nothing => hypothesis(Work::Nothing),
                        _ => beside,
                    }));
                }
            }
            Stood::Hypothesis(hypothesis) => {
                let beside = ground.unmarked(stage, Where::Stage, None);
                let at_stage = beside.into_iter().filter(|beside| beside.work != Work::Nothing);
                found.extend(at_stage);
                if ground.records.register_in_the_middle() {
                    found.push(Hypothesis::of(Work::Recording, Where::Stage));
                }
                if hypothesis.work == Work::Nothing || !ground.blank(stage) {
                    found.push(hypothesis);
                }
            }
        }
    }
    found
}

fn paired(ground: &Ground<'_>, second: Region) -> Vec<Hypothesis> {
    let mut found = Vec::new();
    let named = named(ground);
    let running = named.iter().find(|(_, _, sure)| *sure).or_else(|| named.first());
    let Some((held, _, sure)) = running.copied() else {
        // Nothing runs: the first install goes into the first slot.
        found.extend(ground.unmarked(ground.blueprint.slot, Where::Slot, None));
        if ground.records.register_in_the_middle() {
            found.push(Hypothesis::of(Work::Recording, Where::Slot));
        }
        return found;
    };
    let value = ground
        .records
        .register()
        .candidates()
        .find(|value| value.held == Some(held))
        .unwrap_or(Value::EMPTY);
    let release = ground.kind.named(&held.descriptor);
    let (here, other, there) = match held.second {
        true => (Where::SecondSlot, ground.blueprint.slot, Where::Slot),
        false => (Where::Slot, second, Where::SecondSlot),
    };
    let at_rest = at_rest(ground, value, |work| Hypothesis {
        installing: ground.ids(release.as_slice()),
        runs: ground.id(release),
        ..Hypothesis::of(work, here)
    });
    let beside = ground.unmarked(other, there, release);
    for hypothesis in at_rest {
        match hypothesis.work {
            Work::Nothing => found.extend(beside.iter().map(|beside| match beside.work {
                Work::Nothing => hypothesis.clone(),
                _ => beside.clone(),
            })),
            _ => {
                // Two whole records that differ: the later is being settled. One alone: the other may be about to name either.
                if !ground.records.both_are_whole() {
                    found.extend(ground.being_recorded(other, there, release));
                }
                found.push(hypothesis);
            }
        }
    }
    if !sure {
        found.push(Hypothesis::of(Work::Damaged, here));
    }
    found
}
