//! What a unit knows about itself. Built into the installer at the factory; never changed by an install.

use crate::descriptor::Place;
use crate::geometry::{Geometry, Region};
use packstaff_envelope::{Anchor, UnitKey};

/// Largest granule that the installer can program, in bytes.
pub const GRANULE_MAX: u32 = 512;

/// Everything that the machine needs to know and that never changes while it runs.
#[derive(Clone, Copy, Debug)]
pub struct Config<'a> {
    /// Vendor identifier: RFC 9562 UUIDv5 of the maker's domain.
    pub vendor: [u8; 16],
    /// Class identifier of this board revision.
    pub class: [u8; 16],
    /// Class identifiers of the product's other board revisions: only to tell the owner which mistake was made.
    pub siblings: &'a [[u8; 16]],
    /// Signing keys that this unit accepts.
    pub anchors: &'a [Anchor],
    /// The key of this unit's generation.
    pub key: &'a UnitKey,
    /// Ending of update files' names, upper case, padded with spaces.
    pub extension: [u8; 3],
    /// The flash that the image runs from, and that the register lies in.
    pub flash: Geometry<'a>,
    /// A second memory that holds the stage, where there is one: external NOR flash beside a part's own, say. Its addresses are the
    /// port's choice, as long as they are no addresses of `flash`.
    pub beside: Option<Geometry<'a>>,
    /// The range that holds one image and its descriptor: whole sectors.
    pub slot: Region,
    /// What there is beside the slot.
    pub layout: Layout,
    /// The two sectors that hold the register: the floor, and which image counts.
    pub floors: [Region; 2],
}

/// Whether an image can be started without a digest at all: see the crate's features.
pub(crate) const BY_DESCRIPTOR: bool = cfg!(feature = "by-descriptor");

/// When the image in the slot is digested.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum StartCheck {
    /// At every start. It costs a digest over the image each time, and is the only thing that stands between the owner and cells
    /// that read otherwise than they did when the install was over.
    #[default]
    EveryStart,
    /// When an install is over; from then on a descriptor that stands is enough. For layouts with a descriptor in the slot: two
    /// slots that take turns are digested at every start in any case.
    AfterInstall,
}

/// How many images a unit can hold, and how a new one takes its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Layout {
    /// One slot. While it is programmed the unit has no image, and after a cut it needs a stick.
    Single,
    /// A second range, where an image is put together before it is copied to the slot: after a cut no stick is needed.
    Staged {
        /// The second range: whole sectors, of the same memory or of the one beside it.
        stage: Region,
    },
    /// Two slots that take turns. The image runs in either: the part maps the one that is started to the address that the
    /// image was linked for. After a cut no stick is needed, and the old image is there until the new one has taken over.
    Paired {
        /// The second slot: whole sectors of the same memory.
        second: Region,
    },
}

impl Layout {
    /// The second range, if there is one.
    pub const fn second(self) -> Option<Region> {
        match self {
            Self::Single => None,
            Self::Staged { stage } => Some(stage),
            Self::Paired { second } => Some(second),
        }
    }

    /// Bytes that an image may have, with this `slot` in `flash`.
    pub const fn usable(self, slot: Region, flash: Geometry<'_>) -> u32 {
        let slot = match self {
            Self::Paired { .. } => slot.size,
            Self::Single | Self::Staged { .. } => slot.size.saturating_sub(Place::in_slot(slot, flash).size()),
        };
        match self.second() {
            Some(second) if second.size < slot => second.size,
            _ => slot,
        }
    }
}

/// The code for two places was left out.
pub(crate) const ONE_PLACE: bool = cfg!(feature = "one-place");

impl<'a> Config<'a> {
    /// The layout; always [`Layout::Single`] where the code for others was left out.
    pub const fn layout(&self) -> Layout {
        match ONE_PLACE {
            true => Layout::Single,
            false => self.layout,
        }
    }

    /// The memory that `address` belongs to: the one beside, if it has a sector there.
    pub fn memory_at(&self, address: u32) -> Geometry<'a> {
        match self.beside {
            Some(beside) if !ONE_PLACE && beside.sector_at(address).is_some() => beside,
            _ => self.flash,
        }
    }

    /// The first of the register's two sectors, or else the second.
    pub const fn floor_sector(&self, index: usize) -> Region {
        let [first, second] = self.floors;
        if index == 0 { first } else { second }
    }

    /// Where the slot's descriptor lies.
    pub const fn place(&self) -> Place {
        Place::in_slot(self.slot, self.flash)
    }

    /// Bytes of the slot that an image may use.
    pub const fn usable(&self) -> u32 {
        self.layout().usable(self.slot, self.flash)
    }

    /// Finds what a board's author got wrong. A port calls this once, at build time or at its first start.
    ///
    /// # Errors
    /// The first rule that the configuration breaks.
    pub fn check(&self) -> Result<(), ConfigFault> {
        let is_granule = |granule: u32| granule.is_power_of_two() && granule <= GRANULE_MAX;
        if !is_granule(self.flash.granule) || self.beside.is_some_and(|beside| !is_granule(beside.granule)) {
            return Err(ConfigFault::Granule);
        }
        if self.anchors.is_empty() {
            return Err(ConfigFault::NoAnchor);
        }
        if !is_whole_sectors(self.flash, self.slot) || self.usable() == 0 {
            return Err(ConfigFault::Slot);
        }
        let place = self.place();
        if self.flash.sector_at(place.record.base) != self.flash.sector_at(place.void.base) {
            return Err(ConfigFault::DescriptorSplit);
        }
        if self
            .floors
            .iter()
            .any(|floor| self.flash.sector_at(floor.base) != Some(*floor))
        {
            return Err(ConfigFault::FloorSector);
        }
        let [first, second] = self.floors;
        let place = match self.layout() {
            Layout::Single => None,
            // An image runs in either of two slots.
            Layout::Paired { second } => Some((self.flash, second)),
            Layout::Staged { stage } => Some((self.memory_at(stage.base), stage)),
        };
        if let Some((memory, place)) = place {
            if !is_whole_sectors(memory, place) {
                return Err(ConfigFault::Slot);
            }
            if place.overlaps(self.slot) || place.overlaps(first) || place.overlaps(second) {
                return Err(ConfigFault::Overlap);
            }
        }
        if let Some(beside) = self.beside
            && beside
                .sectors()
                .any(|sector| self.flash.sectors().any(|own| own.overlaps(sector)))
        {
            return Err(ConfigFault::Overlap);
        }
        if first.overlaps(second) || first.overlaps(self.slot) || second.overlaps(self.slot) {
            return Err(ConfigFault::Overlap);
        }
        Ok(())
    }
}

fn is_whole_sectors(memory: Geometry<'_>, region: Region) -> bool {
    let starts = memory.sectors().any(|sector| sector.base == region.base);
    let ends = memory.sectors().any(|sector| sector.end() == region.end());
    starts && ends
}

/// What is wrong with a [`Config`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ConfigFault {
    /// The granule is not a power of two up to [`GRANULE_MAX`].
    Granule,
    /// There is no signing key to accept.
    NoAnchor,
    /// The slot does not consist of whole sectors, or is smaller than its descriptor.
    Slot,
    /// The descriptor's record and its void mark lie in different sectors, so that an erase could take away the mark alone.
    DescriptorSplit,
    /// A floor region is not exactly one sector.
    FloorSector,
    /// The floor sectors, the slot and what there is beside it share bytes, or two memories share addresses.
    Overlap,
}

impl core::fmt::Display for ConfigFault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Granule => "a memory's granule must be a power of two of at most 512 bytes",
            Self::NoAnchor => "at least one signing key must be trusted, or the unit could never be updated",
            Self::Slot => "the slot must consist of whole sectors and be larger than its descriptor",
            Self::DescriptorSplit => "the last sector of the slot must be large enough for the whole descriptor",
            Self::FloorSector => "each floor region must be exactly one sector",
            Self::Overlap => "the slot, the place beside it and the two floor sectors must not share a byte, nor two memories an address",
        })
    }
}

impl core::error::Error for ConfigFault {}
