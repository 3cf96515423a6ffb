//! Mutated settings stores as values of one type, so that what explores them is compiled once.

use packstaff_keeper::{Config, ConfigFault, Reply, Request};
use std::any::Any;
use std::hash::{Hash, Hasher};

/// Most bytes of settings that a mutated keeper of [`Machine`] has room for.
pub(crate) const ROOM: usize = 32;
/// Most bytes that it keeps aside.
pub(crate) const ASIDE: usize = 256;

/// A mutated keeper.
pub struct Machine(Box<dyn Keeper>);

impl Machine {
    /// This one.
    pub(crate) fn of(keeper: impl Keeper) -> Self {
        Self(Box::new(keeper))
    }

    /// As [`packstaff_keeper::Keeper::step`].
    pub fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
        self.0.step(config, reply)
    }

    /// As [`packstaff_keeper::Keeper::save`].
    ///
    /// # Errors
    /// As there.
    pub fn save(&mut self, config: &Config<'_>, payload: &[u8]) -> Result<(), ConfigFault> {
        self.0.save(config, payload)
    }

    /// As [`packstaff_keeper::Keeper::settings`].
    pub fn settings(&self) -> &[u8] {
        self.0.settings()
    }
}

impl Clone for Machine {
    fn clone(&self) -> Self {
        Self(self.0.copied())
    }
}

impl PartialEq for Machine {
    fn eq(&self, other: &Self) -> bool {
        self.0.is(other.0.as_any())
    }
}

impl Eq for Machine {}

impl Hash for Machine {
    fn hash<H: Hasher>(&self, hasher: &mut H) {
        self.0.sum(hasher);
    }
}

/// What each copy can do.
pub(crate) trait Keeper: Send + Sync + 'static {
    fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_>;
    fn save(&mut self, config: &Config<'_>, payload: &[u8]) -> Result<(), ConfigFault>;
    fn settings(&self) -> &[u8];
    fn copied(&self) -> Box<dyn Keeper>;
    fn is(&self, other: &dyn Any) -> bool;
    fn sum(&self, hasher: &mut dyn Hasher);
    fn as_any(&self) -> &dyn Any;
}

/// Makes the keeper of one module one of these.
macro_rules! machine {
    ($module:ident) => {
        const _: () = {
            use crate::keeper_machine::{ASIDE, ROOM};
            use packstaff_keeper::{Config, ConfigFault, Reply, Request};
            use std::any::Any;
            use std::hash::{Hash, Hasher};

            impl crate::keeper_machine::Keeper for $module::Keeper<ROOM, ASIDE> {
                fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
                    self.step(config, reply)
                }
                fn save(&mut self, config: &Config<'_>, payload: &[u8]) -> Result<(), ConfigFault> {
                    self.save(config, payload)
                }
                fn settings(&self) -> &[u8] {
                    self.settings()
                }
                fn copied(&self) -> Box<dyn crate::keeper_machine::Keeper> {
                    Box::new(self.clone())
                }
                fn is(&self, other: &dyn Any) -> bool {
                    other.downcast_ref() == Some(self)
                }
                fn sum(&self, mut hasher: &mut dyn Hasher) {
                    self.hash(&mut hasher);
                }
                fn as_any(&self) -> &dyn Any {
                    self
                }
            }
        };
    };
}
pub(crate) use machine;
