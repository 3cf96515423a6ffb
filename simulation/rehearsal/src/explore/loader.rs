//! What is explored: a loader, as the explorer sees it.

use crate::claims::register_of;
use packstaff_installer::{
    Config, DESCRIPTOR_LEN, Descriptor, Held, Installer, Layout, Phase, Progress, REGISTER_LEN, Record, Region, Reply,
    Request, VOID_MARK_LEN,
};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::drive::{Answer, Wish};
use packstaff_unit::flash::{Change, DoubtKind, Flash};
use std::hash::Hash;

/// A loader whose whole memory is one value.
pub trait Loader: Sync {
    /// The memory.
    type State: Clone + Eq + Hash + Send + Sync;

    /// Power comes on: the memory, and the first wish.
    fn power_up(&self) -> (Self::State, Wish);

    /// The answer to the last wish; the next one.
    fn step(&self, state: &mut Self::State, answer: &Answer) -> Wish;

    /// Whether flash may be read between the question for a stick and the next change. Our installer does not do it, so that
    /// what it makes of a stick is the same in every world.
    fn looks_again(&self) -> bool {
        false
    }

    /// Whether the loader is prepared for the part to refuse this change, because the cells are programmed already.
    fn may_be_refused(&self, _change: &Change) -> bool {
        false
    }

    /// Why the loader cannot go on at all, if so; its last wish does not count then. Somebody else's may trap, for one.
    fn failure(&self, _state: &Self::State) -> Option<String> {
        None
    }

    /// What the unit is doing.
    fn phase(&self, state: &Self::State) -> Phase;

    /// What the unit is doing when it is about to change flash, for counts of what was covered.
    fn doing(&self, state: &Self::State, _change: &Change) -> Phase {
        self.phase(state)
    }

    /// Puts a world with power off into the form in which worlds are compared: contents that nobody will read before they are
    /// erased become don't-care cells ([`Flash::mark_dont_care`]), remnants of records become one representative ([`Flash::stand_in`]).
    ///
    /// Nothing is taken on trust: the explorer compares what the loader makes of the world as it is and of its settled form,
    /// and keeps the world as it is where they differ; and reading a don't-care cell ends the exploration.
    fn settle(&self, flash: &mut Flash);

    /// Puts counters that flash holds, that are only compared with each other and counted up, into their lowest form; how much lower
    /// they are now. Owners may go from one version to another and back without end, and worlds that differ in nothing but how often
    /// they did are one world.
    ///
    /// This is not taken on trust either: what the loader makes of the world as it was, with its counters lowered likewise
    /// ([`with_counters_less`](Self::with_counters_less)), must be the same.
    fn lower_counters(&self, _flash: &mut Flash) -> u32 {
        0
    }

    /// The memory of a loader that found lower counters, and else all the same.
    fn with_counters_less(&self, state: &Self::State, _less: u32) -> Self::State {
        state.clone()
    }

    /// The ranges that an install may change.
    fn may_change(&self, area: Region) -> bool;

    /// The images that flash says are there, whole, and may be relied on: each with its place.
    fn standing(&self, flash: &Flash) -> Vec<Standing>;

    /// The same, and also those that flash may seem to say so of when doubtful cells read otherwise.
    fn may_stand(&self, flash: &Flash) -> Vec<Standing> {
        self.standing(flash)
    }

    /// The floor, as its records read now.
    fn floor(&self, flash: &Flash) -> u64;

    /// Whether a change makes an image count that did not, and which.
    fn commits(&self, flash: &Flash, change: &Change) -> Option<Descriptor>;

    /// Whether a change writes the floor: to which issue, and for which image, if it says so itself.
    fn raises(&self, change: &Change) -> Option<(u64, Option<Standing>)>;

    /// The ranges that may hold an image.
    fn places(&self) -> Vec<Region>;

    /// Whether a unit that had an image needs no stick to have one again.
    fn needs_no_stick(&self) -> bool;
}

/// An image that flash says is there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standing {
    /// Where.
    pub place: Region,
    /// Which.
    pub descriptor: Descriptor,
}

/// An installer as a step machine, all of whose memory is one value: ours, or in a test one with a mistake.
pub trait InstallerMachine: Clone + Eq + Hash + Send + Sync {
    /// As [`Installer::step`].
    fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_>;

    /// As [`Installer::progress`].
    fn progress(&self, config: &Config<'_>) -> Progress;

    /// As [`Installer::with_turns_less`].
    #[must_use]
    fn with_turns_less(self, less: u32) -> Self;
}

impl InstallerMachine for Installer {
    fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
        self.step(config, reply)
    }

    fn progress(&self, config: &Config<'_>) -> Progress {
        self.progress(config)
    }

    fn with_turns_less(self, less: u32) -> Self {
        self.with_turns_less(less)
    }
}

/// Our own installer, in a unit of this kind.
pub struct OurInstaller<'a, M = Installer> {
    /// The kind of unit.
    pub blueprint: &'a Blueprint,
    /// The machine at power-up.
    pub machine: M,
}

impl<'a> OurInstaller<'a> {
    /// The installer as it is.
    pub fn of(blueprint: &'a Blueprint) -> Self {
        Self {
            blueprint,
            machine: Installer::new(),
        }
    }
}

impl<M> OurInstaller<'_, M> {
    /// The slot without its descriptor.
    fn body(&self) -> Region {
        let slot = self.blueprint.slot;
        Region {
            base: slot.base,
            size: slot.size.saturating_sub(self.blueprint.config().place().size()),
        }
    }

    /// The image that the slot's own descriptor names.
    fn described(&self, flash: &Flash) -> Option<Descriptor> {
        let place = self.blueprint.config().place();
        let mark = flash.bytes(place.void.base, VOID_MARK_LEN as u32).ok()?;
        let erased = flash.layout().own().erased();
        self.recorded(flash).filter(|_| mark.iter().all(|byte| *byte == erased))
    }

    /// What the slot's own descriptor says, voided or not.
    fn recorded(&self, flash: &Flash) -> Option<Descriptor> {
        let record = self.blueprint.config().place().record;
        Descriptor::decode(&flash.bytes(record.base, DESCRIPTOR_LEN as u32).ok()?)
    }

    /// The images that the register names, likelier first.
    fn named(&self, flash: &Flash) -> Vec<Standing> {
        let held = register_of(self.blueprint, flash)
            .candidates()
            .filter_map(|value| value.held);
        held.map(|held| self.standing_at(held)).collect()
    }

    fn standing_at(&self, held: Held) -> Standing {
        let place = match self.blueprint.slots {
            Layout::Single => self.blueprint.slot,
            Layout::Staged { stage } => stage,
            Layout::Paired { second } if held.second => second,
            Layout::Paired { .. } => self.blueprint.slot,
        };
        Standing {
            place,
            descriptor: held.descriptor,
        }
    }

    fn settle_slot(&self, flash: &mut Flash) {
        if self.described(flash).is_none() && self.once_described(flash).is_none() {
            self.settle_body(flash);
        }
    }

    /// The image that the slot's own descriptor names if its mark reads as erased: one that a cut has hit may.
    fn once_described(&self, flash: &Flash) -> Option<Descriptor> {
        let mark = self.blueprint.config().place().void;
        let doubtful = flash.doubts_over(mark).any(|doubt| doubt.kind.may_read_erased());
        self.recorded(flash).filter(|_| doubtful)
    }

    fn settle_body(&self, flash: &mut Flash) {
        let place = self.blueprint.config().place();
        let mark = place.void;
        let blank = flash.is_blank(mark.base, mark.size) == Ok(true);
        let doubt = wavering_kind(flash, mark);
        flash.mark_dont_care(self.body());
        flash.stand_in(place.record, false, Some(DoubtKind::Begun));
        flash.stand_in(mark, blank, doubt.or((!blank).then_some(DoubtKind::Begun)));
    }

    /// Where the record in a sector of the register lies.
    fn record_in(&self, sector: Region) -> Region {
        Region {
            base: sector.base,
            size: self.blueprint.config().flash.whole_granules(REGISTER_LEN as u32),
        }
    }

    fn settle_register(&self, flash: &mut Flash) {
        for sector in self.blueprint.floors {
            let record = self.record_in(sector);
            let bytes = flash.bytes(record.base, record.size).ok();
            let whole = bytes.filter(|bytes| Record::decode(bytes).is_some());
            let doubt = wavering_kind(flash, record);
            // Our installer erases a sector of the register before it programs it, whatever it holds; if it did not, the
            // stand-in would refuse to be programmed, and the exploration would say so.
            flash.stand_in(sector, true, None);
            match whole {
                None => flash.stand_in(record, false, Some(DoubtKind::Begun)),
                Some(bytes) => flash.hold(record.base, &bytes, doubt),
            }
        }
    }
}

/// How cells of `area` waver, if they do: as erased too, rather than never so.
fn wavering_kind(flash: &Flash, area: Region) -> Option<DoubtKind> {
    let kinds = || flash.doubts_over(area).map(|doubt| doubt.kind);
    let blank = flash.is_blank(area.base, area.size) == Ok(true);
    let kind = if blank { DoubtKind::Faint } else { DoubtKind::Wavering };
    let as_erased = kinds().any(DoubtKind::may_read_erased).then_some(kind);
    as_erased.or_else(|| kinds().any(DoubtKind::wavers).then_some(DoubtKind::Noise))
}

impl<M: InstallerMachine> Loader for OurInstaller<'_, M> {
    type State = M;

    fn power_up(&self) -> (M, Wish) {
        let mut machine = self.machine.clone();
        let wish = machine.step(&self.blueprint.config(), Reply::PowerUp).into();
        (machine, wish)
    }

    fn step(&self, state: &mut M, answer: &Answer) -> Wish {
        state.step(&self.blueprint.config(), answer.reply()).into()
    }

    fn may_be_refused(&self, change: &Change) -> bool {
        self.blueprint.may_be_refused(change)
    }

    fn phase(&self, state: &M) -> Phase {
        state.progress(&self.blueprint.config()).phase
    }

    /// An image that nothing names is erased before anything reads it; and whatever a cut left of a descriptor or of a record
    /// of the register that does not read as whole is as good as any other such remnant.
    fn settle(&self, flash: &mut Flash) {
        match self.blueprint.slots {
            Layout::Single => self.settle_slot(flash),
            Layout::Staged { stage } => {
                if self.named(flash).is_empty() {
                    flash.mark_dont_care(stage);
                }
                self.settle_slot(flash);
            }
            Layout::Paired { .. } => {
                let named = self.named(flash);
                for place in self.places() {
                    if named.iter().all(|standing| standing.place != place) {
                        flash.mark_dont_care(place);
                    }
                }
            }
        }
        self.settle_register(flash);
    }

    fn lower_counters(&self, flash: &mut Flash) -> u32 {
        // With one slot the register holds the floor alone, which rises so often as there are issues.
        if self.blueprint.slots == Layout::Single {
            return 0;
        }
        let areas = self.blueprint.floors.map(|sector| self.record_in(sector));
        let whole = areas.into_iter().filter_map(|area| {
            let bytes = flash.bytes(area.base, area.size).ok()?;
            Some((area, Record::decode(&bytes)?, bytes))
        });
        let whole: Vec<_> = whole.collect();
        let lowest = whole.iter().map(|(_, record, _)| record.turn).min().unwrap_or(1);
        let less = lowest.saturating_sub(1);
        for (area, record, mut bytes) in whole.into_iter().filter(|_| less > 0) {
            let doubt = wavering_kind(flash, area);
            bytes[..REGISTER_LEN].copy_from_slice(&record.with_turn_less(less).encode());
            flash.hold(area.base, &bytes, doubt);
        }
        less
    }

    fn with_counters_less(&self, state: &M, less: u32) -> M {
        state.clone().with_turns_less(less)
    }

    fn may_change(&self, area: Region) -> bool {
        let within = |allowed: Region| area.base >= allowed.base && area.end() <= allowed.end();
        self.blueprint.places().any(within) || self.blueprint.floors.iter().any(|floor| within(*floor))
    }

    fn standing(&self, flash: &Flash) -> Vec<Standing> {
        let slot = self.blueprint.slot;
        let described = || {
            self.described(flash).map(|descriptor| Standing {
                place: slot,
                descriptor,
            })
        };
        match self.blueprint.slots {
            Layout::Single => described().into_iter().collect(),
            Layout::Staged { .. } => {
                // While the stage is named it is copied; what the slot holds then is of no account.
                let named = self.named(flash);
                if named.is_empty() {
                    described().into_iter().collect()
                } else {
                    named
                }
            }
            Layout::Paired { .. } => self.named(flash),
        }
    }

    fn may_stand(&self, flash: &Flash) -> Vec<Standing> {
        let mut standing = self.standing(flash);
        standing.extend(self.once_described(flash).map(|descriptor| Standing {
            place: self.blueprint.slot,
            descriptor,
        }));
        standing
    }

    fn floor(&self, flash: &Flash) -> u64 {
        register_of(self.blueprint, flash).floor()
    }

    fn commits(&self, flash: &Flash, change: &Change) -> Option<Descriptor> {
        let place = self.blueprint.config().place();
        match change {
            Change::Program { address, data } if *address == place.record.base => {
                let descriptor = Descriptor::decode(data)?;
                // A copy from the stage was picked when the stage was filled.
                let staged = matches!(self.blueprint.slots, Layout::Staged { .. });
                (!staged
                    || self
                        .named(flash)
                        .iter()
                        .all(|standing| standing.descriptor != descriptor))
                .then_some(descriptor)
            }
            Change::Program { address, data } if self.blueprint.floors.iter().any(|floor| floor.base == *address) => {
                let held = Record::decode(data)?.value.held?.descriptor;
                self.named(flash)
                    .iter()
                    .all(|standing| standing.descriptor != held)
                    .then_some(held)
            }
            _ => None,
        }
    }

    fn raises(&self, change: &Change) -> Option<(u64, Option<Standing>)> {
        match change {
            Change::Program { address, data } if self.blueprint.floors.iter().any(|floor| floor.base == *address) => {
                let value = Record::decode(data)?.value;
                Some((value.issue, value.held.map(|held| self.standing_at(held))))
            }
            _ => None,
        }
    }

    fn places(&self) -> Vec<Region> {
        self.blueprint.places().collect()
    }

    fn needs_no_stick(&self) -> bool {
        self.blueprint.slots != Layout::Single
    }
}
