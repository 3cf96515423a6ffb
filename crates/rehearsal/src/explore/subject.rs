//! What is explored: a loader, as the explorer sees it.

use installer::{DESCRIPTOR_LEN, Descriptor, FLOOR_LEN, Floor, Installer, Phase, Region, Reply, VOID_MARK_LEN};
use std::hash::Hash;
use unit::blueprint::Blueprint;
use unit::drive::{Answer, Wish};
use unit::flash::{Change, Flash};

/// A loader whose whole memory is one value.
pub trait Subject: Sync {
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

    /// Why the loader cannot go on at all, if so; its last wish does not count then. Somebody else's may trap, for one.
    fn failure(&self, _state: &Self::State) -> Option<String> {
        None
    }

    /// What the unit is doing.
    fn phase(&self, state: &Self::State) -> Phase;

    /// Puts a world with power off into the form in which worlds are compared: contents that nobody will read before they are
    /// erased are buried ([`Flash::bury`]), remnants of records become one representative ([`Flash::stand_in`]).
    ///
    /// Nothing is taken on trust: the explorer compares what the loader makes of the world as it is and of its settled form,
    /// and keeps the world as it is where they differ; and reading buried contents ends the exploration.
    fn settle(&self, flash: &mut Flash);

    /// The ranges that an install may change.
    fn may_change(&self, area: Region) -> bool;

    /// What flash says it holds and may start, if it says so.
    fn standing(&self, flash: &Flash) -> Option<Descriptor>;

    /// The floor, as its records read now.
    fn floor(&self, flash: &Flash) -> u64;

    /// Whether a change commits an image, and to which.
    fn commits(&self, change: &Change) -> Option<Descriptor>;

    /// Whether a change raises the floor, and to which issue.
    fn raises(&self, change: &Change) -> Option<u64>;

    /// The slot.
    fn slot(&self) -> Region;
}

/// Our own installer, in a unit of this kind.
pub struct OurInstaller<'a> {
    /// The kind of unit.
    pub blueprint: &'a Blueprint,
    /// The machine at power-up.
    pub machine: Installer,
}

impl<'a> OurInstaller<'a> {
    /// The installer as it is.
    pub fn of(blueprint: &'a Blueprint) -> Self {
        Self {
            blueprint,
            machine: Installer::new(),
        }
    }

    /// The slot without its descriptor.
    fn body(&self) -> Region {
        let slot = self.blueprint.slot;
        Region {
            base: slot.base,
            size: self.blueprint.config().usable().min(slot.size),
        }
    }
}

impl Subject for OurInstaller<'_> {
    type State = Installer;

    fn power_up(&self) -> (Installer, Wish) {
        let mut machine = self.machine.clone();
        let wish = machine.step(&self.blueprint.config(), Reply::PowerUp).into();
        (machine, wish)
    }

    fn step(&self, state: &mut Installer, answer: &Answer) -> Wish {
        state.step(&self.blueprint.config(), answer.reply()).into()
    }

    fn phase(&self, state: &Installer) -> Phase {
        state.progress(&self.blueprint.config()).phase
    }

    /// Without a descriptor that stands, the slot's contents are erased before anything reads them; and whatever a cut left of
    /// a descriptor or of a floor record that does not read as whole is as good as any other such remnant.
    fn settle(&self, flash: &mut Flash) {
        let config = self.blueprint.config();
        if self.standing(flash).is_none() {
            let place = config.place();
            let mark = place.void;
            let (blank, wavers) = (flash.is_blank(mark.base, mark.size) == Ok(true), flash.wavers(mark));
            flash.bury(self.body());
            flash.stand_in(place.record, false, false);
            flash.stand_in(mark, blank, wavers);
        }
        for floor in self.blueprint.floors {
            let record = Region {
                base: floor.base,
                size: config.flash.whole_granules(FLOOR_LEN as u32),
            };
            let bytes = flash.bytes(record.base, record.size).ok();
            let whole = bytes.filter(|bytes| Floor::decode(bytes).is_some());
            let wavers = flash.wavers(record);
            // Our installer erases a floor sector before it programs it, whatever it holds; if it did not, the stand-in would
            // refuse to be programmed, and the exploration would say so.
            flash.stand_in(floor, true, false);
            match whole {
                None => flash.stand_in(record, false, false),
                Some(bytes) => flash.hold(record.base, &bytes, wavers),
            }
        }
    }

    fn may_change(&self, area: Region) -> bool {
        let within = |allowed: Region| area.base >= allowed.base && area.end() <= allowed.end();
        within(self.blueprint.slot) || self.blueprint.floors.iter().any(|floor| within(*floor))
    }

    fn standing(&self, flash: &Flash) -> Option<Descriptor> {
        let place = self.blueprint.config().place();
        let descriptor = Descriptor::decode(&flash.bytes(place.record.base, DESCRIPTOR_LEN as u32).ok()?)?;
        let mark = flash.bytes(place.void.base, VOID_MARK_LEN as u32).ok()?;
        mark.iter()
            .all(|byte| *byte == flash.layout().geometry().erased)
            .then_some(descriptor)
    }

    fn floor(&self, flash: &Flash) -> u64 {
        crate::claims::floor_of(self.blueprint, flash)
    }

    fn commits(&self, change: &Change) -> Option<Descriptor> {
        let place = self.blueprint.config().place();
        match change {
            Change::Program { address, data } if *address == place.record.base => Descriptor::decode(data),
            _ => None,
        }
    }

    fn raises(&self, change: &Change) -> Option<u64> {
        match change {
            Change::Program { address, data } if self.blueprint.floors.iter().any(|floor| floor.base == *address) => {
                Some(Floor::decode(data)?.issue)
            }
            _ => None,
        }
    }

    fn slot(&self) -> Region {
        self.blueprint.slot
    }
}
