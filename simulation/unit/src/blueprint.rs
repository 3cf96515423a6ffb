//! A kind of unit: everything that its installer is built with, owned.

use crate::flash::{Change, Flash, FlashFault, FlashLayout, Memory, SumKey};
use crate::world::{Settings, World};
use packstaff_envelope::{Anchor, UnitKey};
use packstaff_installer::{Config, ConfigFault, Region};
use std::sync::Arc;

/// All units that are built alike: one board revision, one generation of keys.
#[derive(Clone, Debug)]
pub struct Blueprint {
    /// Vendor identifier.
    pub vendor: [u8; 16],
    /// Class identifier.
    pub class: [u8; 16],
    /// Class identifiers of the product's other board revisions.
    pub siblings: Vec<[u8; 16]>,
    /// Signing keys that the units accept.
    pub anchors: Vec<Anchor>,
    /// The key of their generation.
    pub key: UnitKey,
    /// Ending of update files' names.
    pub extension: [u8; 3],
    /// The flash.
    pub layout: Arc<FlashLayout>,
    /// The installer's own region: nothing may ever change it.
    pub installer: Region,
    /// The slot.
    pub slot: Region,
    /// What there is beside the slot.
    pub slots: packstaff_installer::Layout,
    /// The floor sectors.
    pub floors: [Region; 2],
}

/// A unit that cannot be built.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BlueprintError {
    /// The installer's configuration breaks a rule.
    #[error("the memory map does not suit the installer: {0}")]
    Config(#[from] ConfigFault),
    /// The installer's region shares bytes with the slot or a floor sector, or lies outside the part.
    #[error("the installer's region at {base:#010x} with {size} bytes is not free for it alone")]
    Installer {
        /// First address.
        base: u32,
        /// Bytes.
        size: u32,
    },
}

impl Blueprint {
    /// As the machine takes it.
    pub fn config(&self) -> Config<'_> {
        Config {
            vendor: self.vendor,
            class: self.class,
            siblings: &self.siblings,
            anchors: &self.anchors,
            key: &self.key,
            extension: self.extension,
            flash: self.layout.geometry(),
            beside: self.layout.beside().map(Memory::geometry),
            slot: self.slot,
            layout: self.slots,
            floors: self.floors,
        }
    }

    /// Every range that may hold an image.
    pub fn places(&self) -> impl Iterator<Item = Region> + '_ {
        [self.slot].into_iter().chain(self.slots.second())
    }

    /// Whether the installer is prepared for the part to refuse a change, because the cells are programmed already: it programs
    /// the void mark before every erase, whatever it reads as, since a mark that a cut has hit may read as erased later.
    pub fn may_be_refused(&self, change: &Change) -> bool {
        matches!(change, Change::Program { address, .. } if *address == self.config().place().void.base)
    }

    /// Whether such a unit can be built.
    ///
    /// # Errors
    /// What is in the way.
    pub fn check(&self) -> Result<(), BlueprintError> {
        self.config().check()?;
        let Region { base, size } = self.installer;
        let shared = self
            .slots
            .second()
            .is_some_and(|second| second.overlaps(self.installer))
            || self.installer.overlaps(self.slot)
            || self.floors.iter().any(|floor| floor.overlaps(self.installer));
        let sector = self.layout.geometry().sector_at(base);
        if shared || sector.is_none() || size == 0 {
            return Err(BlueprintError::Installer { base, size });
        }
        Ok(())
    }

    /// A new unit: its installer in place, no image, floor 0, and `settings` in its settings memory.
    ///
    /// # Errors
    /// What is in the way.
    pub fn new_unit(&self, settings: Vec<u8>, key: SumKey) -> Result<World, BlueprintError> {
        self.check()?;
        let mut flash = Flash::erased(self.layout.clone(), key);
        // The installer's own code is not simulated; a pattern stands for it, so that any change of it shows.
        let pattern = (0..self.installer.size)
            .map(|offset| (offset.wrapping_mul(0x9e37_79b9) >> 24) as u8)
            .collect();
        let Region { base, size } = self.installer;
        let fill = Change::Program {
            address: base,
            data: pattern,
        };
        flash
            .apply(&fill)
            .map_err(|_: FlashFault| BlueprintError::Installer { base, size })?;
        Ok(World {
            flash,
            settings: Settings::new(settings),
            stick: None,
        })
    }
}
