//! What is to be put where, and from where.

use super::Context;
use super::Plan;
use crate::config::{Layout, ONE_PLACE};
use crate::descriptor::Descriptor;
use crate::geometry::Region;
use crate::register::{Held, Value};
use packstaff_envelope::Manifest;

/// An image, and the range that it is to be programmed into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Job {
    pub(crate) descriptor: Descriptor,
    pub(crate) into: Region,
    /// The second of two places, not the first.
    pub(crate) second: bool,
    /// The range has a descriptor of its own at its end. Without one, the register says what it holds.
    marked: bool,
    /// The owner has not been asked in this power-up: look at the stick afterwards.
    pub(crate) look_after: bool,
}

/// Where the image comes from.
#[derive(Clone, PartialEq, Eq, Hash)]
#[allow(clippy::large_enum_variant)] // lives in the machine's one static
pub(crate) enum Source {
    Stick(Plan),
    /// Flash, from this address.
    Flash(u32),
}

impl Job {
    /// The range has a descriptor of its own at its end; always, where there is only one place.
    pub(crate) const fn marked(&self) -> bool {
        ONE_PLACE || self.marked
    }

    /// For an update file: into the slot, into the stage, or into the slot that does not run.
    pub(crate) fn install(context: &Context<'_>, manifest: &Manifest) -> Self {
        let config = context.config;
        let descriptor = Descriptor {
            image_size: manifest.image_size,
            sequence: manifest.sequence,
            version: manifest.version,
            image_digest: manifest.image_digest,
        };
        let job = |into, second, marked| Self {
            descriptor,
            into,
            second,
            marked,
            look_after: false,
        };
        match config.layout() {
            Layout::Single => job(config.slot, false, true),
            Layout::Staged { stage } => job(stage, false, false),
            Layout::Paired { second } if context.knowledge.runs_second == Some(false) => job(second, true, false),
            Layout::Paired { .. } => job(config.slot, false, false),
        }
    }

    /// From the stage into the slot.
    pub(crate) const fn copy(context: &Context<'_>, descriptor: Descriptor, look_after: bool) -> Self {
        Self {
            descriptor,
            into: context.config.slot,
            second: false,
            marked: true,
            look_after,
        }
    }

    /// What the register is to say once this is done.
    pub(crate) fn value(&self, context: &Context<'_>) -> Value {
        let issue = context.knowledge.register.floor().max(self.descriptor.sequence);
        Value {
            issue,
            held: Some(Held {
                second: self.second,
                descriptor: self.descriptor,
            }),
        }
    }
}
