//! A maker's own loader, as the explorer drives it.

use crate::description::{Image, UnitKind};
use crate::fault::LoaderFault;
use crate::held::Held;
use crate::history::History;
use crate::sandbox::Sandbox;
use packstaff_envelope::VersionNumbers;
use packstaff_installer::{Descriptor, Phase, Reason, Region};
use packstaff_rehearsal::explore::{Loader, Standing};
use packstaff_unit::drive::{Answer, Wish, digest};
use packstaff_unit::flash::{Change, Flash, SumKey};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};

/// Most loaders held at a call in each half of the store: about 60 KiB each.
const HELD_MAX: usize = 512;

/// Most wishes remembered in each half of the memory: about 200 bytes each.
const WISHES_MAX: usize = 1 << 19;

/// What loaders asked for, by their histories' sums. Units in different worlds are mostly answered alike, so that most of what
/// a loader does is known already.
#[derive(Default)]
struct Memory {
    young: HashMap<u128, Outcome>,
    old: HashMap<u128, Outcome>,
}

type Outcome = Result<Wish, Arc<LoaderFault>>;

impl Memory {
    fn get(&self, sum: u128) -> Option<Outcome> {
        self.young.get(&sum).or_else(|| self.old.get(&sum)).cloned()
    }

    fn put(&mut self, sum: u128, outcome: Outcome) {
        self.young.insert(sum, outcome);
        if self.young.len() >= WISHES_MAX {
            self.old = std::mem::take(&mut self.young);
        }
    }
}

/// Loaders held at their calls, by their histories' sums. Those that nobody came back for are forgotten: they can be brought
/// to the same place again.
#[derive(Default)]
struct Shelf {
    young: HashMap<u128, Held>,
    old: HashMap<u128, Held>,
}

impl Shelf {
    fn take(&mut self, sum: u128) -> Option<Held> {
        self.young.remove(&sum).or_else(|| self.old.remove(&sum))
    }

    /// Puts one on the shelf; gives back what has to go.
    fn put(&mut self, sum: u128, held: Held) -> HashMap<u128, Held> {
        self.young.insert(sum, held);
        if self.young.len() < HELD_MAX {
            return HashMap::new();
        }
        std::mem::replace(&mut self.old, std::mem::take(&mut self.young))
    }
}

/// A maker's own loader in its kind of unit.
pub struct ForeignLoader<'a> {
    kind: &'a UnitKind,
    sandbox: Sandbox,
    key: SumKey,
    shelf: Mutex<Shelf>,
    memory: RwLock<Memory>,
}

impl<'a> ForeignLoader<'a> {
    /// The loader of this sandbox in units of this kind.
    pub fn new(kind: &'a UnitKind, sandbox: Sandbox, key: SumKey) -> Self {
        Self {
            kind,
            sandbox,
            key,
            shelf: Mutex::default(),
            memory: RwLock::default(),
        }
    }

    fn shelf(&self) -> MutexGuard<'_, Shelf> {
        // Every change of the shelf is a whole one, so that it is in order even after a panic elsewhere.
        self.shelf.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A loader that has lived through this history.
    fn held(&self, history: &History) -> Result<Held, LoaderFault> {
        if let Some(held) = self.shelf().take(history.sum()) {
            return Ok(held);
        }
        let mut held = self.sandbox.power_up();
        held.go()?;
        for answer in history.answers() {
            held.answer(answer)?;
        }
        Ok(held)
    }

    /// What the loader asks for after one more answer.
    fn advance(&self, history: &mut History, answer: &Answer) -> Outcome {
        let before = history.clone();
        history.push(answer, &self.key);
        let known = self.memory.read().ok().and_then(|memory| memory.get(history.sum()));
        if let Some(known) = known {
            return known;
        }
        let outcome = self.run(&before, history, answer).map_err(Arc::new);
        if let Ok(mut memory) = self.memory.write() {
            memory.put(history.sum(), outcome.clone());
        }
        outcome
    }

    fn run(&self, before: &History, after: &History, answer: &Answer) -> Result<Wish, LoaderFault> {
        let calls = self.sandbox.limits().calls;
        if after.len() > calls {
            return Err(LoaderFault::TooManyCalls { calls });
        }
        let mut held = self.held(before)?;
        let wish = held.answer(answer)?;
        self.keep(after, &wish, held);
        Ok(wish)
    }

    fn keep(&self, history: &History, wish: &Wish, held: Held) {
        if !matches!(wish, Wish::Wait(_) | Wish::Start(_)) {
            // What has to go is dropped when the shelf is free for others again.
            let gone = self.shelf().put(history.sum(), held);
            drop(gone);
        }
    }

    fn settle_wish(history: &mut History, outcome: Outcome) -> Wish {
        match outcome {
            Ok(wish) => {
                history.note(&wish);
                wish
            }
            Err(fault) => {
                history.fault = Some(fault);
                // The explorer asks for the fault before it looks at a last wish.
                Wish::Wait(Reason::FlashFault)
            }
        }
    }

    /// Why the loader cannot go on after this history.
    pub fn fault(&self, history: &History) -> Option<LoaderFault> {
        history.fault.as_deref().cloned()
    }
}

impl Loader for ForeignLoader<'_> {
    type State = History;

    fn power_up(&self) -> (History, Wish) {
        let mut history = History::begin(&self.key);
        let known = self.memory.read().ok().and_then(|memory| memory.get(history.sum()));
        let outcome = known.unwrap_or_else(|| {
            let mut held = self.sandbox.power_up();
            let outcome = held.go().map_err(Arc::new);
            if let Ok(wish) = &outcome {
                self.keep(&history, wish, held);
            }
            if let Ok(mut memory) = self.memory.write() {
                memory.put(history.sum(), outcome.clone());
            }
            outcome
        });
        let wish = Self::settle_wish(&mut history, outcome);
        (history, wish)
    }

    fn step(&self, history: &mut History, answer: &Answer) -> Wish {
        let outcome = match &history.fault {
            Some(fault) => Err(fault.clone()),
            None => self.advance(history, answer),
        };
        Self::settle_wish(history, outcome)
    }

    fn looks_again(&self) -> bool {
        true
    }

    fn failure(&self, history: &History) -> Option<String> {
        Some(history.fault.as_deref()?.to_string())
    }

    fn phase(&self, history: &History) -> Phase {
        history.phase()
    }

    /// What it does it for, its calls do not tell.
    fn doing(&self, _history: &History, change: &Change) -> Phase {
        match change {
            Change::Erase { .. } => Phase::Erase,
            Change::Program { .. } => Phase::Program,
        }
    }

    /// Only what the maker declares. The explorer keeps the world as it is where the loader reads it after all.
    fn settle(&self, flash: &mut Flash) {
        self.kind
            .erased_before_read
            .iter()
            .for_each(|range| flash.mark_dont_care(*range));
    }

    fn may_change(&self, area: Region) -> bool {
        let within = |allowed: &Region| area.base >= allowed.base && area.end() <= allowed.end();
        self.kind.may_change.iter().any(within)
    }

    /// Which genuine image lies in the slot, where issues count: the loader's own records are not known here.
    fn standing(&self, flash: &Flash) -> Vec<Standing> {
        if !self.kind.floor {
            return Vec::new();
        }
        let place = self.kind.slot;
        let lies =
            |image: &&Image| digest(flash, place.base, image.release.image_size) == Ok(image.release.image_digest);
        let there = self.kind.images.iter().find(lies);
        let standing = there.and_then(|image| {
            let descriptor = Descriptor {
                image_size: image.release.image_size,
                sequence: image.issue,
                version: VersionNumbers::new(&[0])?,
                image_digest: image.release.image_digest,
            };
            Some(Standing { place, descriptor })
        });
        standing.into_iter().collect()
    }

    fn floor(&self, flash: &Flash) -> u64 {
        self.standing(flash)
            .iter()
            .map(|standing| standing.descriptor.sequence)
            .max()
            .unwrap_or(0)
    }

    fn commits(&self, _flash: &Flash, _change: &Change) -> Option<Descriptor> {
        None
    }

    fn raises(&self, _change: &Change) -> Option<(u64, Option<Standing>)> {
        None
    }

    fn places(&self) -> Vec<Region> {
        vec![self.kind.slot]
    }

    fn needs_no_stick(&self) -> bool {
        false
    }
}
