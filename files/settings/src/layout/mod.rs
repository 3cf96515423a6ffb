//! A layout as data: what one version keeps, and where each byte of it lies.
//!
//! A [`Layout`] is one record: the bytes of one copy of the settings, from their first to their last. Offsets are
//! resolved, whether the file gave them or C's rules did, so whoever uses one need not know the rules.

mod leaf;
mod number;
mod offsets;
mod read;
mod render;

pub use leaf::{Leaf, MOST_LEAVES};
pub use read::LARGEST;

/// The form of a layout file that this crate reads and writes.
pub const FORMAT: u64 = 1;

pub(crate) use read::stored;
pub(crate) use render::quoted;

use crate::{Ratio, Unit};
use packstaff_document::{DocumentError, Range};

/// What one version keeps in its settings memory.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// The version that writes it.
    pub version: String,
    /// Which layout it is, as a unit's records say it. Two versions may have the same layout and number.
    pub number: u16,
    /// Order of the bytes of every number.
    pub order: ByteOrder,
    /// Where records lie.
    pub memory: Memory,
    /// The record.
    pub record: Group,
    /// What a machine cannot know about earlier versions' settings.
    pub carries: Vec<Carry>,
}

/// Order of a number's bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ByteOrder {
    /// Lowest first, as Cortex-M keeps them.
    Little,
    /// Highest first.
    Big,
}

/// Where records lie in the settings memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Memory {
    /// Who writes records.
    pub keeping: Keeping,
    /// Where what an older version cannot hold is kept aside, so that going back and forth loses nothing.
    pub aside: Option<Range>,
}

/// Who writes records, and how.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Keeping {
    /// The firmware's own code: a whole record at each of these addresses. The record itself then says what it is, with
    /// fields that hold a constant, a generation and a CRC.
    Copies(Vec<u32>),
    /// Packstaff's unit-side crate `keeper`, with frames of its own around each record, in these regions.
    Keeper(Vec<Range>),
}

/// Fields that lie together: the record itself, a C struct inside it, one of several records of a kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The C type's name, without `struct`.
    pub name: String,
    /// Bytes, padding at the end included.
    pub size: u32,
    /// Its own alignment in bytes, a power of two.
    pub align: u32,
    /// Fields by rising offset.
    pub fields: Vec<Field>,
}

/// One field of a group.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// Its name in C and Rust.
    pub name: String,
    /// What it means, for people.
    pub means: Option<String>,
    /// Offset in its group in bytes.
    pub at: u32,
    /// How many there are, one behind the other; `None` when it is no array.
    pub count: Option<u32>,
    /// For an array: the field of the same group that says how many of it are in use.
    pub used: Option<String>,
    /// What it is there for.
    pub purpose: Purpose,
    /// What one of it looks like.
    pub shape: Shape,
}

/// What a field is there for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Something that belongs to the owner or the unit, and is to survive. What a group as a whole is, its fields are,
    /// unless they say that they are something else than a preference.
    Setting(Kind),
    /// Always this number: it says what the record is, or how long.
    Constant(u64),
    /// One more at every save: of two whole copies the higher one counts.
    Generation,
    /// CRC-32 (IEEE 802.3, as zlib has it) of these bytes of its group.
    Crc {
        /// First byte covered, from the start of the group that holds the CRC.
        start: u32,
        /// Bytes covered.
        size: u32,
    },
    /// Not used; every byte is written as this.
    Spare(u8),
}

/// What a setting is, which decides how much it hurts to lose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// The owner's choice, which the owner can make again.
    Preference,
    /// Measured once on this unit; cannot be made again where the owner is.
    Calibration,
    /// Counts something that has happened.
    Counter,
    /// Never shown.
    Secret,
}

impl Kind {
    /// The words of a layout file.
    pub const WORDS: &[(&str, Self)] = &[
        ("preference", Self::Preference),
        ("calibration", Self::Calibration),
        ("counter", Self::Counter),
        ("secret", Self::Secret),
    ];

    /// The word of a layout file.
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, kind)| *kind == self).map_or("", |it| it.0)
    }

    /// Whether losing it needs a reason.
    pub const fn is_irreplaceable(self) -> bool {
        matches!(self, Self::Calibration | Self::Counter)
    }
}

/// What one element of a field looks like.
#[derive(Clone, Debug, PartialEq)]
// A layout has a few dozen at most: boxes would cost more than they save.
#[allow(clippy::large_enum_variant)]
pub enum Shape {
    /// A number.
    Number(Number),
    /// UTF-8 text of at most `length` bytes, filled up with NULs; no NUL when all are used.
    Text {
        /// Bytes.
        length: u32,
        /// What a new unit has: at most `length` bytes.
        default: String,
    },
    /// Bytes whose meaning is nobody's business here.
    Bytes {
        /// Bytes.
        length: u32,
        /// What every byte of a new unit is.
        default: u8,
    },
    /// Fields of its own.
    Group(Group),
}

/// A number, as it is stored and as it is meant.
#[derive(Clone, Debug, PartialEq)]
pub struct Number {
    /// How it is stored.
    pub repr: Repr,
    /// How it is meant.
    pub meaning: Meaning,
    /// Smallest stored value allowed.
    pub lowest: Option<Stored>,
    /// Largest stored value allowed.
    pub highest: Option<Stored>,
    /// What a new unit has stored.
    pub default: Stored,
}

/// A number as stored.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stored {
    /// For every integer: 128 bits hold all of `u64` and `i64`.
    Integer(i128),
    /// For `f32` (exactly) and `f64`.
    Real(f64),
}

/// How a number is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum Repr {
    U8,
    U16,
    U32,
    U64,
    I8,
    I16,
    I32,
    I64,
    /// IEEE 754 binary32.
    F32,
    /// IEEE 754 binary64.
    F64,
}

/// How a stored number is meant.
#[derive(Clone, Debug, PartialEq)]
pub enum Meaning {
    /// A quantity: stored value times `scale`, in `unit`. A scale other than 1 makes an integer fixed-point.
    Quantity {
        /// What a stored 1 is worth in the unit.
        scale: Ratio,
        /// The unit; `None` for a bare number.
        unit: Option<Unit>,
        /// A difference between two values on the unit's scale, not a value on it: matters for °C and °F.
        difference: bool,
    },
    /// One of these names, each with its stored value.
    Names(Vec<(String, i128)>),
    /// Any of these flags, each with its bit (0 is the lowest).
    Flags(Vec<(String, u8)>),
}

/// What a machine cannot know about going between an earlier version and the one whose file states it. One statement
/// holds for both directions.
#[derive(Clone, Debug, PartialEq)]
pub struct Carry {
    /// The earlier version.
    pub version: String,
    /// Which field is which.
    pub pairs: Vec<Pair>,
    /// What a field that the earlier version lacks becomes, where that is not a new unit's default.
    pub sets: Vec<Set>,
    /// What may be lost, and why.
    pub losses: Vec<Loss>,
    /// Why going back leaves settings as they are: the earlier version cannot read this version's, and goes on with its own
    /// from before if they are still there. Owners are told.
    pub left: Option<String>,
}

/// What a field becomes when it comes from a version that lacks it.
#[derive(Clone, Debug, PartialEq)]
pub struct Set {
    /// Path in this version.
    pub field: String,
    /// As it is stored.
    pub value: Stored,
}

/// An earlier version's field and what it became.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pair {
    /// Path in the earlier version, such as `tc.ofs`.
    pub old: String,
    /// Path in this version.
    pub new: String,
    /// What the machine cannot work out from units, scales and names.
    pub conversion: Conversion,
    /// Whether a value outside the range it goes to is moved to the range's nearest end. Else it becomes the default.
    pub clamp: bool,
}

/// How an earlier value becomes a new one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Conversion {
    /// By units and scales, or by equal names.
    Known,
    /// new = old * factor + offset, both in the units they are shown in.
    Formula {
        /// Never 0.
        factor: Ratio,
        /// In the new field's unit.
        offset: Ratio,
    },
    /// An earlier name and the new one, for names and flags that are not equal.
    Names(Vec<(String, String)>),
}

/// A field that may be lost, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loss {
    /// Path of the field.
    pub field: String,
    /// Which way it is lost.
    pub way: Way,
    /// The maker's reason; owners are told.
    pub because: String,
}

/// Which way an update goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Way {
    /// From the earlier version to the later one.
    Up,
    /// From the later version back to the earlier one.
    Down,
}

impl Layout {
    /// Reads a layout file. `name` is what complaints call it.
    ///
    /// # Errors
    /// Everything that is wrong with it, each with its place.
    pub fn from_text(name: &str, text: &str) -> Result<Self, DocumentError> {
        read::layout(name, text)
    }

    /// The text of a layout file that reads back as this layout.
    pub fn to_text(&self) -> String {
        render::text(self)
    }

    /// The field at a path of names with points between them, without indices.
    pub fn field(&self, path: &str) -> Option<&Field> {
        let mut group = Some(&self.record);
        let mut found = None;
        for name in path.split('.') {
            let field = group?.fields.iter().find(|field| field.name == name)?;
            group = match &field.shape {
                Shape::Group(inner) => Some(inner),
                _ => None,
            };
            found = Some(field);
        }
        found
    }

    /// Every stored element in the order of its bytes, with arrays and groups taken apart.
    pub fn leaves(&self) -> Vec<Leaf<'_>> {
        leaf::leaves(&self.record)
    }
}

impl Field {
    /// Bytes of one element.
    pub const fn element_size(&self) -> u32 {
        self.shape.size()
    }

    /// Bytes of the whole field.
    pub fn size(&self) -> u32 {
        // The reader keeps a record below LARGEST bytes, so this cannot reach the end of 32 bits.
        self.element_size().saturating_mul(self.count.unwrap_or(1))
    }
}

impl Shape {
    /// Bytes of one element.
    pub const fn size(&self) -> u32 {
        match self {
            Self::Number(number) => number.repr.size(),
            Self::Text { length, .. } | Self::Bytes { length, .. } => *length,
            Self::Group(group) => group.size,
        }
    }

    /// Alignment that C gives it on a Cortex-M (AAPCS32, 5.3): a number's is its size, a struct's that of its fields.
    pub const fn align(&self) -> u32 {
        match self {
            Self::Number(number) => number.repr.size(),
            Self::Text { .. } | Self::Bytes { .. } => 1,
            Self::Group(group) => group.align,
        }
    }
}

impl Repr {
    /// The words of a layout file.
    pub const WORDS: &[(&str, Self)] = &[
        ("u8", Self::U8),
        ("u16", Self::U16),
        ("u32", Self::U32),
        ("u64", Self::U64),
        ("i8", Self::I8),
        ("i16", Self::I16),
        ("i32", Self::I32),
        ("i64", Self::I64),
        ("f32", Self::F32),
        ("f64", Self::F64),
    ];

    /// The word of a layout file.
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, repr)| *repr == self).map_or("", |it| it.0)
    }

    /// Bytes.
    pub const fn size(self) -> u32 {
        match self {
            Self::U8 | Self::I8 => 1,
            Self::U16 | Self::I16 => 2,
            Self::U32 | Self::I32 | Self::F32 => 4,
            Self::U64 | Self::I64 | Self::F64 => 8,
        }
    }

    /// Whether it is stored as a float.
    pub const fn is_real(self) -> bool {
        matches!(self, Self::F32 | Self::F64)
    }

    /// The smallest and the largest integer that it holds; `None` for floats.
    pub const fn limits(self) -> Option<(i128, i128)> {
        Some(match self {
            Self::U8 => (0, u8::MAX as i128),
            Self::U16 => (0, u16::MAX as i128),
            Self::U32 => (0, u32::MAX as i128),
            Self::U64 => (0, u64::MAX as i128),
            Self::I8 => (i8::MIN as i128, i8::MAX as i128),
            Self::I16 => (i16::MIN as i128, i16::MAX as i128),
            Self::I32 => (i32::MIN as i128, i32::MAX as i128),
            Self::I64 => (i64::MIN as i128, i64::MAX as i128),
            Self::F32 | Self::F64 => return None,
        })
    }
}

#[cfg(test)]
mod tests;
