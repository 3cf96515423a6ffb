//! The place that a build is meant for.

use std::ops::Range;

use sha2::{Digest, Sha256};

use super::Core;
use crate::build::{Build, FlattenError};

/// The place that a build is meant for. Nothing here has to be consistent: a target that makes no
/// sense fails checks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Target {
    /// The addresses of the slot.
    pub slot: Range<u32>,
    /// How many bytes, from the slot's start, an image may use.
    pub usable: u32,
    /// Why it may not use more.
    pub limit: Limit,
    /// The addresses of the RAM that the image may use for its stack.
    pub ram: Vec<Range<u32>>,
    /// The processor core.
    pub core: Core,
    /// What else lies in the address space and must not be touched, by name: installer, floor,
    /// settings, option bytes.
    pub reserved: Vec<(String, Range<u32>)>,
    /// What an erased byte of the flash reads as: 0xFF for most parts, 0x00 for some.
    pub erased: u8,
    /// Earlier releases: the version, and the SHA-256 of the image, as [`Target::image_digest`]
    /// gives it.
    pub earlier: Vec<(String, [u8; 32])>,
}

/// Why an image may not use all of its slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// The rest of the slot holds the descriptor.
    Descriptor,
    /// An image is put together in a stage first, and that is smaller.
    Stage,
    /// Images run in either of two slots, and must fit both.
    SecondSlot,
}

impl Limit {
    /// What lies behind the last byte that an image may use.
    pub(super) const fn behind(self) -> &'static str {
        match self {
            Self::Descriptor => "the slot's descriptor",
            Self::Stage => "more than the stage holds",
            Self::SecondSlot => "more than the smaller slot holds",
        }
    }

    /// The same in a sentence.
    pub(super) const fn reason(self) -> &'static str {
        match self {
            Self::Descriptor => {
                "The image may use the slot up to its descriptor; a longer one would overwrite the record by which the unit knows \
                 that the image is whole."
            }
            Self::Stage => {
                "The image is put together in the stage before it is copied to the slot, and the stage is the smaller of the two."
            }
            Self::SecondSlot => "The image runs in either of the two slots, and must fit both.",
        }
    }
}

impl Target {
    /// The addresses that an image may use.
    #[must_use]
    pub fn usable_range(&self) -> Range<u32> {
        let end = self.slot.start.saturating_add(self.usable).min(self.slot.end);
        self.slot.start..end.max(self.slot.start)
    }

    /// The image as it is sent and programmed: every byte from the slot's start to the build's
    /// last, gaps filled with the erased value.
    ///
    /// # Errors
    /// If the build places a byte outside the usable part of the slot.
    pub fn image(&self, build: &Build) -> Result<Vec<u8>, FlattenError> {
        let usable = self.usable_range();
        let end = u32::try_from(build.span().end).unwrap_or(u32::MAX);
        // An end outside the slot is left for `flatten` to refuse with the slot's own range in the
        // message.
        let end = if usable.start < end && end <= usable.end {
            end
        } else {
            usable.end
        };
        build.flatten(usable.start..end, self.erased)
    }

    /// The SHA-256 of [`Target::image`], which is the digest that a unit verifies.
    ///
    /// # Errors
    /// As [`Target::image`].
    pub fn image_digest(&self, build: &Build) -> Result<[u8; 32], FlattenError> {
        Ok(Sha256::digest(self.image(build)?).into())
    }
}
