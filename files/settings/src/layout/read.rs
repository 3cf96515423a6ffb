//! Reading a layout file.
//!
//! Fields are read first, each once; then groups are put together from the innermost out, which gives offsets and sizes;
//! then kinds are handed down from groups to their fields.

mod carry;
mod field;
mod group;

pub(crate) use field::stored;

use super::FORMAT;
use super::{ByteOrder, Keeping, Layout, Memory, Purpose, Shape};
use crate::layout::MOST_LEAVES;
use packstaff_document::{DocumentError, Range};
use packstaff_document::{Notes, Section, parse};

/// Bytes of a record at most: what a carry-over table can say.
pub const LARGEST: u32 = 65_535;

/// Groups inside groups at most.
pub(super) const DEEPEST: usize = 8;

const ROOT_KEYS: &[&str] = &[
    "format", "version", "number", "order", "name", "size", "packed", "memory", "field", "group", "from",
];
const ORDERS: &[(&str, ByteOrder)] = &[("little", ByteOrder::Little), ("big", ByteOrder::Big)];
const MEMORY_KEYS: &[&str] = &["copies", "regions", "aside"];

pub(super) fn layout(name: &str, text: &str) -> Result<Layout, DocumentError> {
    let notes = Notes::new(text);
    let layout = parse(&notes).and_then(|root| read(&Section::root(&notes, &root, ROOT_KEYS)));
    notes.finish(name, layout)
}

fn read(root: &Section<'_, '_>) -> Option<Layout> {
    let format = root.value("format").and_then(|entry| {
        let found = entry.integer(1..=u64::from(u32::MAX))?;
        if found == FORMAT {
            Some(found)
        } else {
            entry.refuse(
                format!("format {FORMAT}, the only one there is"),
                "A newer packstaff may be needed.",
            )
        }
    });
    let version = root.value("version").and_then(|entry| entry.text());
    let number = root
        .value("number")
        .and_then(|entry| entry.integer(0..=u64::from(u16::MAX)));
    let order = match root.find("order") {
        Some(entry) => entry.word(ORDERS),
        None => Some(ByteOrder::Little),
    };
    let record = group::record(root);
    let carries = record.as_ref().and_then(|record| carry::carries(root, record));
    let memory = root
        .table("memory", "[memory]", MEMORY_KEYS)
        .and_then(|section| memory(&section, record.as_ref().map_or(1, |record| record.size)));
    let layout = Layout {
        version: version?,
        number: u16::try_from(number?).ok()?,
        order: order?,
        memory: memory?,
        record: record?,
        carries: carries?,
    };
    format?;
    check_whole(root, &layout)?;
    Some(layout)
}

fn memory(section: &Section<'_, '_>, size: u32) -> Option<Memory> {
    let aside = match section.find("aside") {
        Some(entry) => Some(entry.range()?),
        None => None,
    };
    let keeping = match (section.find("copies"), section.find("regions")) {
        (Some(copies), None) => {
            let list = copies.list()?;
            let starts: Vec<_> = list.iter().map(|entry| entry.integer_u32(0..=u32::MAX)).collect();
            let starts: Vec<u32> = starts.into_iter().collect::<Option<_>>()?;
            let ranges: Option<Vec<Range>> = starts.iter().map(|start| Range::new(*start, size).ok()).collect();
            let Some(ranges) = ranges.filter(|ranges| !ranges.is_empty() && apart(ranges, aside)) else {
                return copies.refuse(
                    format!("a list of addresses that are {size} bytes or more apart"),
                    "Give the address of every copy; two are usual. What is kept aside must lie elsewhere too.",
                );
            };
            drop(ranges);
            Keeping::Copies(starts)
        }
        (None, Some(regions)) => {
            let list = regions.list()?;
            let ranges: Vec<_> = list.iter().map(|entry| entry.range()).collect();
            let ranges: Vec<Range> = ranges.into_iter().collect::<Option<_>>()?;
            if ranges.is_empty() || !apart(&ranges, aside) {
                return regions.refuse(
                    "a list of ranges that share no byte",
                    "Write each as { start = ..., size = ... }. What is kept aside must lie elsewhere too.",
                );
            }
            Keeping::Keeper(ranges)
        }
        (Some(_), Some(entry)) => {
            return entry.refuse(
                "a key that can stand beside `copies`",
                "Keep `copies` where the firmware saves by its own code, `regions` where keeper does.",
            );
        }
        (None, None) => {
            section.value("copies")?;
            return None;
        }
    };
    Some(Memory { keeping, aside })
}

fn apart(ranges: &[Range], aside: Option<Range>) -> bool {
    let all: Vec<Range> = ranges.iter().copied().chain(aside).collect();
    !all.iter().enumerate().any(|(index, one)| {
        all.iter()
            .skip(index + 1)
            .any(|other| one.shared_with(*other).is_some())
    })
}

/// What only the whole layout shows.
fn check_whole(root: &Section<'_, '_>, layout: &Layout) -> Option<()> {
    let Some(entry) = root.find("field") else {
        return Some(());
    };
    // Every element has at least one byte.
    debug_assert!(
        MOST_LEAVES >= LARGEST as usize,
        "a record cannot have more elements than bytes"
    );
    if matches!(layout.memory.keeping, Keeping::Copies(_)) {
        let fields = &layout.record.fields;
        let generations = fields
            .iter()
            .filter(|field| field.purpose == Purpose::Generation)
            .count();
        if generations > 1 {
            return entry.refuse(
                "a record with one generation",
                "Let one field alone say which copy is newer.",
            );
        }
    }
    let leaves = layout.leaves();
    if !leaves.iter().any(|leaf| matches!(leaf.purpose, Purpose::Setting(_))) {
        return entry.refuse(
            "a record with at least one setting",
            "Describe what the unit keeps; header and CRC alone are no settings.",
        );
    }
    let in_arrays = leaves.iter().any(|leaf| {
        !leaf.indices.is_empty() && leaf.purpose == Purpose::Generation
            || matches!(
                (&leaf.field.shape, leaf.purpose),
                (Shape::Group(_), Purpose::Crc { .. })
            )
    });
    if in_arrays {
        return entry.refuse(
            "a record whose generation stands alone",
            "Take the generation out of the array.",
        );
    }
    Some(())
}
