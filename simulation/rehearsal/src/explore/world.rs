//! Nodes of the search: worlds with power off, in the form in which they are compared, and powered loaders about to change flash.

use super::loader::Loader;
use super::model::Explorer;
use super::run::Run;
use packstaff_installer::Region;
use packstaff_unit::drive::Wish;
use packstaff_unit::flash::{DoubtKind, Flash};
use std::collections::BTreeSet;
use std::sync::Arc;

/// A world with power off, in the form in which worlds are compared.
pub(super) struct World {
    pub(super) key: u128,
    pub(super) flash: Flash,
    /// The highest issue that has run.
    pub(super) started: u64,
    /// A loader that is powered in the world as it was, before it was put into this form, reads none of the don't-care cells here:
    /// so it comes to the same from every world that differs from it in these alone. (Where it had this form already,
    /// reading them ends the exploration.)
    guarded: bool,
}

impl World {
    /// Whether changes in `area` make no difference to a loader that is powered in this world.
    pub(super) fn is_out_of_sight(&self, area: Region) -> bool {
        self.guarded && self.flash.is_dont_care(area)
    }
}

/// A node of the search.
pub(super) enum Node<S> {
    Off(Arc<World>),
    On {
        flash: Flash,
        /// The loader, about to change flash.
        run: Box<Run<S>>,
        /// What a cut at this moment leaves.
        rest: Arc<World>,
    },
}

impl<L: Loader> Explorer<'_, L> {
    /// The world that is left when power goes.
    pub(super) fn off(&self, flash: Flash, started: u64) -> Arc<World> {
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

    /// The same world, once an image of this issue has run.
    pub(super) fn after_start(&self, world: &World, issue: u64) -> Arc<World> {
        let started = world.started.max(issue);
        Arc::new(World {
            key: self.key_of_world(&world.flash, started),
            flash: world.flash.clone(),
            started,
            guarded: world.guarded,
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
        let ends = |flash| self.runner.follow(flash, self.runner.power_up(), true);
        match (ends(&guarded), ends(settled)) {
            (Ok(one), Ok(other)) => {
                let plain = |ends: &[Run<L::State>], less: u32| {
                    let ends = ends.iter().map(|end| {
                        let state = self.loader.with_counters_less(&end.state, less);
                        self.plan.key.hash(&(state, end.stick, end.picked))
                    });
                    ends.collect::<BTreeSet<_>>()
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

    pub(super) fn key_of_run(&self, flash: &Flash, started: u64, run: &Run<L::State>) -> u128 {
        self.plan
            .key
            .hash(&(flash.sum(), started, &run.state, run.stick, run.picked))
    }

    /// The place that begins at an address.
    pub(super) fn place_at(&self, address: u32) -> Option<Region> {
        self.loader.places().into_iter().find(|place| place.base == address)
    }

    /// The digest of an image of `size` bytes in a place.
    pub(super) fn digest(&self, flash: &Flash, place: Region, size: u32) -> Option<[u8; 32]> {
        let image = Region { base: place.base, size };
        self.runner.digest(flash, image)
    }
}
