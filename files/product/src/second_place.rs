//! What a board has beside the slot: nothing, a stage where an image is put together first, or a second slot.

use crate::board::{Makeup, Named, unknown_part};
use crate::flash::Flash;
use packstaff_document::Range;
use packstaff_document::{Entry, Section};
use packstaff_parts::PartsTable;

const MEMORY_KEYS: &[&str] = &["part", "base"];

/// What there is beside the slot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SecondPlace {
    /// Nothing: while an image is installed there is none.
    None,
    /// A stage, where an image is put together before it is copied to the slot.
    Stage {
        /// Where it lies.
        range: Range,
        /// The memory that it lies in; `None` if that is the part's own.
        memory: Option<StageMemory>,
    },
    /// A second slot; the two take turns.
    Slot(Range),
}

impl SecondPlace {
    /// Where it lies.
    pub const fn range(&self) -> Option<Range> {
        match self {
            Self::None => None,
            Self::Stage { range, .. } | Self::Slot(range) => Some(*range),
        }
    }

    /// The memory beside the part's own, if there is one.
    pub const fn memory(&self) -> Option<&StageMemory> {
        match self {
            Self::Stage { memory, .. } => memory.as_ref(),
            Self::None | Self::Slot(_) => None,
        }
    }
}

/// A memory beside the part's own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StageMemory {
    /// Its identifier in the parts table.
    pub part: String,
    /// The address of its first byte, as the installer's drivers have it.
    pub base: u32,
}

const MOVE: &str =
    "Give as `base` the address that your driver shows the memory at: any from which all of it is apart from all else.";

/// Reads the keys `stage`, `stage_memory` and `second_slot`; `range` reads a range and takes note of it.
pub(crate) fn read<'d, 's>(
    section: &Section<'d, 's>,
    range: &mut impl FnMut(Option<Entry<'d, 's>>, &str, Makeup) -> Option<Range>,
) -> Option<SecondPlace> {
    let (stage, slot, memory) = (
        section.find("stage"),
        section.find("second_slot"),
        section.find("stage_memory"),
    );
    match (stage, slot) {
        (Some(_), Some(slot)) => slot.misfit(
            "stands beside `stage`: a unit has one or the other",
            "With a stage, images are copied to the slot; with two slots, they run where they were put. Take one of the two out.",
        ),
        (None, slot) => {
            if let Some(memory) = memory {
                return memory.misfit(
                    "is given, but no `stage` in it",
                    "Say with `stage` which range of this memory images are put together in, or take `stage_memory` out.",
                );
            }
            match slot {
                None => Some(SecondPlace::None),
                Some(slot) => range(Some(slot), "second slot", Makeup::WholeSectors).map(SecondPlace::Slot),
            }
        }
        (Some(stage), None) => {
            let makeup = match memory {
                Some(_) => Makeup::StageSectors,
                None => Makeup::WholeSectors,
            };
            let range = range(Some(stage), "stage", makeup);
            let memory = match memory {
                Some(entry) => Some(read_memory(&entry)?),
                None => None,
            };
            Some(SecondPlace::Stage { range: range?, memory })
        }
    }
}

fn read_memory(entry: &Entry<'_, '_>) -> Option<StageMemory> {
    let section = entry.section("the stage's memory", MEMORY_KEYS)?;
    let part = section.value("part").and_then(|entry| entry.text());
    let base = section.value("base").and_then(|entry| entry.integer_u32(0..=u32::MAX));
    Some(StageMemory {
        part: part?,
        base: base?,
    })
}

/// Whether the memory is known, is apart from the `own` flash of the microcontroller, and holds the stage in whole sectors.
pub(crate) fn fit_memory(
    section: &Section<'_, '_>,
    named: &[Named],
    memory: &StageMemory,
    own: &Flash<'_>,
    parts: &PartsTable,
) {
    let Some(entry) = section.find("stage_memory") else {
        return;
    };
    let Some(part) = parts.flash(&memory.part) else {
        return unknown_part(&entry, "stage_memory", "the parts table as flash", &memory.part, parts);
    };
    let flash = Flash::at(part, memory.base);
    match (flash.extent(), own.extent()) {
        (Some(extent), Some(taken)) if extent.shared_with(taken).is_some() => {
            let why = format!(
                "has addresses, {extent}, that are those of the flash of {}, {taken}",
                own.id()
            );
            let _: Option<()> = entry.misfit(why, MOVE);
        }
        (None, _) => {
            let why = "reaches beyond the 32-bit address space";
            let _: Option<()> = entry.misfit(why, MOVE);
        }
        _ => {}
    }
    for one in named.iter().filter(|one| matches!(one.makeup, Makeup::StageSectors)) {
        if let Some(why) = flash.against_whole_sectors(one.range) {
            one.does_not_fit(section, &memory.part, why);
        }
    }
}
