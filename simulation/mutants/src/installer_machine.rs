//! Mutated installers as values of one type, so that what explores them is compiled once.

use packstaff_installer::{Config, Progress, Reply, Request};
use std::any::Any;
use std::hash::{Hash, Hasher};

/// A mutated installer.
pub struct Machine(Box<dyn Installer>);

impl Machine {
    /// This one.
    pub(crate) fn of(installer: impl Installer) -> Self {
        Self(Box::new(installer))
    }

    /// As [`packstaff_installer::Installer::step`].
    pub fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
        self.0.step(config, reply)
    }

    /// As [`packstaff_installer::Installer::progress`].
    pub fn progress(&self, config: &Config<'_>) -> Progress {
        self.0.progress(config)
    }

    /// As [`packstaff_installer::Installer::with_turns_less`].
    #[must_use]
    pub fn with_turns_less(self, less: u32) -> Self {
        Self(self.0.with_turns_less(less))
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
pub(crate) trait Installer: Send + Sync + 'static {
    fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_>;
    fn progress(&self, config: &Config<'_>) -> Progress;
    fn with_turns_less(self: Box<Self>, less: u32) -> Box<dyn Installer>;
    fn copied(&self) -> Box<dyn Installer>;
    fn is(&self, other: &dyn Any) -> bool;
    fn sum(&self, hasher: &mut dyn Hasher);
    fn as_any(&self) -> &dyn Any;
}

/// Makes the installer of one module one of these.
macro_rules! machine {
    ($module:ident) => {
        const _: () = {
            use packstaff_installer::{Config, Progress, Reply, Request};
            use std::any::Any;
            use std::hash::{Hash, Hasher};

            impl crate::installer_machine::Installer for $module::Installer {
                fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
                    self.step(config, reply)
                }
                fn progress(&self, config: &Config<'_>) -> Progress {
                    self.progress(config)
                }
                fn with_turns_less(self: Box<Self>, less: u32) -> Box<dyn crate::installer_machine::Installer> {
                    Box::new((*self).with_turns_less(less))
                }
                fn copied(&self) -> Box<dyn crate::installer_machine::Installer> {
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
