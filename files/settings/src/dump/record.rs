//! Records in a dump: what of each holds.

use super::numbers::{number_bytes, number_of};
use crate::layout::{ByteOrder, Keeping, Layout, Leaf, Purpose, Shape, Stored};
use std::fmt;
use std::ops::Range;

/// The bytes at the place of one copy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copy {
    /// Where it begins in the dump; `None` for a record given alone.
    pub address: Option<u32>,
    /// Its bytes: fewer than a record has, if the dump ends before.
    pub bytes: Vec<u8>,
    /// Its generation, if the layout has one.
    pub generation: Option<u64>,
    /// What does not hold.
    pub flaws: Vec<Flaw>,
    /// Byte ranges that a check value of their own proves.
    pub proven: Vec<Range<u32>>,
}

/// What does not hold of a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Flaw {
    /// The dump ends in it.
    Cut {
        /// Bytes there are.
        found: usize,
        /// Bytes there should be.
        expected: u32,
    },
    /// Erased: every byte is 0xFF.
    Blank,
    /// A constant is another number.
    Constant {
        /// The field.
        path: String,
        /// The number found.
        found: u64,
        /// The number expected.
        expected: u64,
    },
    /// A check value does not fit.
    Crc {
        /// The field.
        path: String,
        /// The value found.
        found: u32,
        /// The value of the bytes.
        expected: u32,
        /// Whether it covers the whole record and not a block in it.
        whole: bool,
    },
}

impl fmt::Display for Flaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Cut { found, expected } => write!(f, "the dump ends after {found} of its {expected} bytes"),
            Self::Blank => f.write_str("blank: every byte is 0xFF"),
            Self::Constant { path, found, expected } => write!(f, "{path} is {found:#x} and should be {expected:#x}"),
            Self::Crc {
                path, found, expected, ..
            } => {
                write!(
                    f,
                    "{path} is {found:#010x}, and the CRC-32 of its bytes is {expected:#010x}"
                )
            }
        }
    }
}

impl Copy {
    /// Whether everything holds.
    pub fn is_whole(&self) -> bool {
        self.flaws.is_empty()
    }

    /// Whether a flaw shows that this is another layout's record, or none.
    pub fn is_foreign(&self) -> bool {
        self.flaws
            .iter()
            .any(|flaw| matches!(flaw, Flaw::Constant { .. } | Flaw::Blank))
    }
}

/// The records at the places of the layout's copies. A dump that is exactly as long as a record is one. Copies that begin
/// behind the end of the dump are left out.
pub fn copies(layout: &Layout, dump: &[u8]) -> Vec<Copy> {
    if dump.len() == layout.record.size as usize {
        return vec![examine(layout, None, dump)];
    }
    let size = layout.record.size as usize;
    match &layout.memory.keeping {
        Keeping::Copies(starts) => starts
            .iter()
            .filter_map(|start| {
                let rest = dump.get(*start as usize..).filter(|rest| !rest.is_empty())?;
                let bytes = rest.get(..size).unwrap_or(rest);
                Some(examine(layout, Some(*start), bytes))
            })
            .collect(),
        Keeping::Keeper(regions) => super::store::records(layout, regions, dump),
    }
}

pub(super) fn examine(layout: &Layout, address: Option<u32>, bytes: &[u8]) -> Copy {
    let mut copy = Copy {
        address,
        bytes: bytes.to_vec(),
        generation: None,
        flaws: Vec::new(),
        proven: Vec::new(),
    };
    if bytes.len() < layout.record.size as usize {
        copy.flaws.push(Flaw::Cut {
            found: bytes.len(),
            expected: layout.record.size,
        });
    }
    if bytes.iter().all(|byte| *byte == 0xff) {
        copy.flaws.push(Flaw::Blank);
        return copy;
    }
    let big = layout.order == ByteOrder::Big;
    for leaf in layout.leaves() {
        let Some(stored) = stored(&leaf, bytes, big) else {
            continue;
        };
        match leaf.purpose {
            Purpose::Constant(expected) if stored != i128::from(expected) => copy.flaws.push(Flaw::Constant {
                path: leaf.path.clone(),
                found: u64::try_from(stored).unwrap_or(u64::MAX),
                expected,
            }),
            Purpose::Generation => copy.generation = u64::try_from(stored).ok(),
            Purpose::Crc { start, size } => {
                let begin = leaf.group_at + start;
                let Some(covered) = part(bytes, begin, size) else {
                    continue;
                };
                let expected = packstaff_keeper::checksum(covered);
                if stored == i128::from(expected) {
                    copy.proven.push(begin..begin + size);
                } else {
                    copy.flaws.push(Flaw::Crc {
                        path: leaf.path.clone(),
                        found: u32::try_from(stored).unwrap_or(0),
                        expected,
                        whole: leaf.group_at == 0 && leaf.indices.is_empty() && size >= layout.record.size / 2,
                    });
                }
            }
            _ => {}
        }
    }
    copy
}

fn stored(leaf: &Leaf<'_>, bytes: &[u8], big: bool) -> Option<i128> {
    let Shape::Number(number) = &leaf.field.shape else {
        return None;
    };
    match number_of(number.repr, part(bytes, leaf.at, leaf.size)?, big)? {
        Stored::Integer(value) => Some(value),
        Stored::Real(_) => None,
    }
}

pub(super) fn part(bytes: &[u8], at: u32, size: u32) -> Option<&[u8]> {
    let end = at.checked_add(size)?;
    bytes.get(at as usize..end as usize)
}

fn put(bytes: &mut [u8], at: u32, new: &[u8]) {
    if let Some(room) = bytes.get_mut(at as usize..).and_then(|rest| rest.get_mut(..new.len())) {
        room.copy_from_slice(new);
    }
}

/// Writes everything into a record that is no setting: constants, spare bytes, the generation, and check values, the innermost
/// first. Padding stays as it is.
pub fn seal(layout: &Layout, record: &mut [u8], generation: u64) {
    let big = layout.order == ByteOrder::Big;
    let mut checks = Vec::new();
    for leaf in layout.leaves() {
        let fixed = match (leaf.purpose, &leaf.field.shape) {
            (Purpose::Constant(value), Shape::Number(number)) => {
                number_bytes(number.repr, Stored::Integer(value.into()), big)
            }
            (Purpose::Generation, Shape::Number(number)) => {
                number_bytes(number.repr, Stored::Integer(generation.into()), big)
            }
            (Purpose::Spare(fill), _) => vec![fill; leaf.size as usize],
            (Purpose::Crc { start, size }, _) => {
                checks.push((size, leaf.group_at + start, leaf.at));
                continue;
            }
            _ => continue,
        };
        put(record, leaf.at, &fixed);
    }
    checks.sort_unstable();
    for (size, start, at) in checks {
        let Some(covered) = part(record, start, size) else {
            continue;
        };
        let check = packstaff_keeper::checksum(covered);
        let bytes = if big { check.to_be_bytes() } else { check.to_le_bytes() };
        put(record, at, &bytes);
    }
}

/// A record with every setting as in a new unit, not sealed yet.
pub(super) fn fresh(layout: &Layout) -> Vec<u8> {
    let mut record = vec![0; layout.record.size as usize];
    let big = layout.order == ByteOrder::Big;
    for leaf in layout.leaves() {
        let bytes = match &leaf.field.shape {
            Shape::Number(number) => number_bytes(number.repr, number.default, big),
            Shape::Text { default, .. } => default.as_bytes().to_vec(),
            Shape::Bytes { length, default } => vec![*default; *length as usize],
            Shape::Group(_) => continue,
        };
        put(&mut record, leaf.at, &bytes);
    }
    record
}

pub(super) fn put_leaf(record: &mut [u8], leaf: &Leaf<'_>, bytes: &[u8]) {
    let mut padded = bytes.to_vec();
    padded.resize(leaf.size as usize, 0);
    put(record, leaf.at, &padded);
}
