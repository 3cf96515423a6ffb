//! From a type's entry to fields.

use super::sections::{Reader, name_of, type_of};
use super::{DwarfError, Imported};
use crate::Ratio;
use crate::layout::{Field, Group, Kind, LARGEST, Meaning, Number, Purpose, Repr, Shape, Stored};
use gimli::UnitOffset;

type Entry<'s> = gimli::DebuggingInformationEntry<Reader<'s>>;

/// Typedefs, qualifiers and arrays in a row.
const LONGEST_CHAIN: usize = 32;
const DEEPEST: usize = 8;
const MOST_MEMBERS: usize = 4096;

/// A walk through the types of one compilation unit.
pub(super) struct Walk<'d, 's> {
    dwarf: &'d gimli::Dwarf<Reader<'s>>,
    unit: &'d gimli::Unit<Reader<'s>>,
    notes: Vec<String>,
    members: usize,
}

/// What one element of a member is, and how many there are.
struct Element {
    shape: Shape,
    count: Option<u32>,
}

impl<'d, 's> Walk<'d, 's> {
    pub(super) const fn new(dwarf: &'d gimli::Dwarf<Reader<'s>>, unit: &'d gimli::Unit<Reader<'s>>) -> Self {
        Self {
            dwarf,
            unit,
            notes: Vec::new(),
            members: 0,
        }
    }

    pub(super) fn record(mut self, offset: UnitOffset, name: &str) -> Result<Imported, DwarfError> {
        let (entry, _) = self.named_type(offset, name)?;
        if entry.tag() != gimli::DW_TAG_structure_type {
            return Err(DwarfError::NotAStruct {
                name: name.to_owned(),
                found: self.describe(&entry)?,
            });
        }
        let tag = name_of(self.dwarf, self.unit, &entry)?;
        let record = self.group(&entry, tag.as_deref().unwrap_or(name), "", 0)?;
        Ok(Imported {
            record,
            notes: self.notes,
        })
    }

    /// The type behind typedefs, qualifiers and variables, and the last typedef's name on the way.
    fn named_type(&self, mut offset: UnitOffset, path: &str) -> Result<(Entry<'s>, Option<String>), DwarfError> {
        let mut alias = None;
        for _ in 0..LONGEST_CHAIN {
            let entry = self.unit.entry(offset)?;
            match entry.tag() {
                gimli::DW_TAG_typedef
                | gimli::DW_TAG_const_type
                | gimli::DW_TAG_volatile_type
                | gimli::DW_TAG_atomic_type
                | gimli::DW_TAG_variable => {
                    if entry.tag() == gimli::DW_TAG_typedef {
                        alias = name_of(self.dwarf, self.unit, &entry)?;
                    }
                    offset = type_of(&entry).ok_or_else(|| DwarfError::Member {
                        path: path.to_owned(),
                        found: "without a type".to_owned(),
                        advice: "Give it a type that has a size",
                    })?;
                }
                _ => return Ok((entry, alias)),
            }
        }
        Err(DwarfError::TooMuch {
            name: path.to_owned(),
            found: format!("more than {LONGEST_CHAIN} typedefs in a row"),
            most: LONGEST_CHAIN.to_string(),
        })
    }

    fn describe(&self, entry: &Entry<'s>) -> Result<String, DwarfError> {
        let name = name_of(self.dwarf, self.unit, entry)?.unwrap_or_default();
        let word = match entry.tag() {
            gimli::DW_TAG_union_type => "a union",
            gimli::DW_TAG_enumeration_type => "an enum",
            gimli::DW_TAG_pointer_type => "a pointer",
            gimli::DW_TAG_array_type => "an array",
            gimli::DW_TAG_subroutine_type => "a function",
            gimli::DW_TAG_base_type => "a number",
            _ => "a type of another kind",
        };
        Ok(if name.is_empty() {
            word.to_owned()
        } else {
            format!("{word} ({name})")
        })
    }

    fn group(&mut self, entry: &Entry<'s>, name: &str, path: &str, depth: usize) -> Result<Group, DwarfError> {
        if depth > DEEPEST {
            return Err(DwarfError::TooMuch {
                name: name.to_owned(),
                found: format!("structs nested more than {DEEPEST} deep"),
                most: DEEPEST.to_string(),
            });
        }
        let size = self.size_of(entry, path)?;
        let mut fields = Vec::new();
        self.members_of(entry, path, 0, depth, &mut fields)?;
        fields.sort_by_key(|field| field.at);
        let aligned = fields
            .iter()
            .all(|field| field.at.is_multiple_of(field.shape.align()) && field.shape.align() > 0);
        let align = fields.iter().map(|field| field.shape.align()).max().unwrap_or(1);
        let packed = !aligned || !size.is_multiple_of(align);
        self.guess(&mut fields, path);
        Ok(Group {
            name: name.to_owned(),
            size,
            align: if packed { 1 } else { align },
            fields,
        })
    }

    fn size_of(&self, entry: &Entry<'s>, path: &str) -> Result<u32, DwarfError> {
        let size = entry
            .attr_value(gimli::DW_AT_byte_size)
            .and_then(|value| value.udata_value());
        match size.and_then(|size| u32::try_from(size).ok()) {
            Some(size) if (1..=LARGEST).contains(&size) => Ok(size),
            found => Err(DwarfError::TooMuch {
                name: path.to_owned(),
                found: found.map_or_else(|| "no size".to_owned(), |size| format!("{size} bytes")),
                most: format!("{LARGEST} bytes, and at least one"),
            }),
        }
    }

    fn members_of(
        &mut self,
        entry: &Entry<'s>,
        path: &str,
        base: u32,
        depth: usize,
        fields: &mut Vec<Field>,
    ) -> Result<(), DwarfError> {
        let mut tree = self.unit.entries_tree(Some(entry.offset()))?;
        let root = tree.root()?;
        let mut children = root.children();
        let mut members = Vec::new();
        while let Some(child) = children.next()? {
            if child.entry().tag() == gimli::DW_TAG_member {
                members.push(child.entry().offset());
            }
        }
        for offset in members {
            self.members += 1;
            if self.members > MOST_MEMBERS {
                return Err(DwarfError::TooMuch {
                    name: path.to_owned(),
                    found: "too many members".to_owned(),
                    most: MOST_MEMBERS.to_string(),
                });
            }
            let member = self.unit.entry(offset)?;
            self.member(&member, path, base, depth, fields)?;
        }
        Ok(())
    }

    fn member(
        &mut self,
        member: &Entry<'s>,
        path: &str,
        base: u32,
        depth: usize,
        fields: &mut Vec<Field>,
    ) -> Result<(), DwarfError> {
        let name = name_of(self.dwarf, self.unit, member)?;
        let full = join(path, name.as_deref().unwrap_or("(no name)"));
        let refused = |found: &str, advice| DwarfError::Member {
            path: full.clone(),
            found: found.to_owned(),
            advice,
        };
        if member.attr_value(gimli::DW_AT_bit_size).is_some() {
            return Err(refused(
                "a bit-field, whose place the C standard leaves to the compiler",
                "Keep a whole integer in the record, with the bits as flags of it",
            ));
        }
        let offset = match member.attr_value(gimli::DW_AT_data_member_location) {
            None => 0,
            Some(value) => {
                constant(value).ok_or_else(|| refused("at no fixed offset", "Build with another compiler"))?
            }
        };
        let at = base
            .checked_add(offset)
            .filter(|at| *at <= LARGEST)
            .ok_or_else(|| refused("beyond the record's largest size", "Make the record smaller"))?;
        let type_offset =
            type_of(member).ok_or_else(|| refused("without a type", "Build with -g and without type units"))?;
        let (entry, _) = self.named_type(type_offset, &full)?;
        let Some(name) = name else {
            // C11, 6.7.2.1: members of a struct without a name are members of the one around it.
            if entry.tag() == gimli::DW_TAG_structure_type {
                if depth > DEEPEST {
                    return Err(refused("nested too deep", "Take the structs apart"));
                }
                return self.members_of(&entry, path, at, depth + 1, fields);
            }
            let length = self.size_of(&entry, &full)?;
            let name = format!("union_at_{at}");
            self.notes.push(format!(
                "{} is a union without a name: its bytes are kept as they are.",
                join(path, &name)
            ));
            fields.push(setting(name, at, None, Shape::Bytes { length, default: 0 }));
            return Ok(());
        };
        let element = self.element(type_offset, &full, depth)?;
        fields.push(setting(name, at, element.count, element.shape));
        Ok(())
    }

    fn element(&mut self, offset: UnitOffset, path: &str, depth: usize) -> Result<Element, DwarfError> {
        let (entry, alias) = self.named_type(offset, path)?;
        let refused = |found: String, advice| DwarfError::Member {
            path: path.to_owned(),
            found,
            advice,
        };
        let shape = match entry.tag() {
            gimli::DW_TAG_base_type => self.base(&entry, path)?,
            gimli::DW_TAG_enumeration_type => self.enumeration(&entry, path)?,
            gimli::DW_TAG_structure_type => {
                let tag = name_of(self.dwarf, self.unit, &entry)?;
                let name = tag.or(alias).unwrap_or_else(|| path.replace('.', "_"));
                Shape::Group(self.group(&entry, &name, path, depth + 1)?)
            }
            gimli::DW_TAG_union_type => {
                self.notes
                    .push(format!("{path} is a union: its bytes are kept as they are."));
                Shape::Bytes {
                    length: self.size_of(&entry, path)?,
                    default: 0,
                }
            }
            gimli::DW_TAG_array_type => return self.array(&entry, path, depth),
            gimli::DW_TAG_pointer_type => {
                return Err(refused(
                    "a pointer, which means nothing after the next start".to_owned(),
                    "Store an index or the data itself",
                ));
            }
            _ => {
                return Err(refused(
                    self.describe(&entry)?,
                    "A record has numbers, texts, arrays and structs",
                ));
            }
        };
        Ok(Element { shape, count: None })
    }

    /// An array; several dimensions count as one, and one of `char` is a text.
    fn array(&mut self, entry: &Entry<'s>, path: &str, depth: usize) -> Result<Element, DwarfError> {
        let refused = |found: &str, advice| DwarfError::Member {
            path: path.to_owned(),
            found: found.to_owned(),
            advice,
        };
        let mut bounds = Vec::new();
        let mut tree = self.unit.entries_tree(Some(entry.offset()))?;
        let root = tree.root()?;
        let mut children = root.children();
        while let Some(child) = children.next()? {
            let child = child.entry();
            if child.tag() == gimli::DW_TAG_subrange_type {
                let count = child.attr_value(gimli::DW_AT_count).and_then(constant);
                let last = child.attr_value(gimli::DW_AT_upper_bound).and_then(constant);
                let bound = count.or_else(|| last.and_then(|last| last.checked_add(1)));
                bounds.push(bound.filter(|bound| (1..=LARGEST).contains(bound)).ok_or_else(|| {
                    refused(
                        "an array without a fixed length",
                        "Give it one: a record has a fixed size",
                    )
                })?);
            }
        }
        let inner = type_of(entry).ok_or_else(|| refused("an array of nothing", "Build with -g"))?;
        let (element_type, _) = self.named_type(inner, path)?;
        if self.is_char(&element_type)? {
            let length = bounds.pop().unwrap_or(1);
            let shape = Shape::Text {
                length,
                default: String::new(),
            };
            return Ok(Element {
                shape,
                count: self.flat(&bounds, path)?,
            });
        }
        if bounds.len() > 1 {
            self.notes.push(format!(
                "{path} has {} dimensions: it is one array, the last index running fastest.",
                bounds.len()
            ));
        }
        let element = self.element(inner, path, depth)?;
        let count = bounds.iter().copied().chain(element.count).collect::<Vec<_>>();
        Ok(Element {
            shape: element.shape,
            count: self.flat(&count, path)?,
        })
    }

    fn flat(&self, bounds: &[u32], path: &str) -> Result<Option<u32>, DwarfError> {
        if bounds.is_empty() {
            return Ok(None);
        }
        let count = bounds
            .iter()
            .try_fold(1u32, |product, bound| product.checked_mul(*bound));
        match count.filter(|count| *count <= LARGEST) {
            Some(count) => Ok(Some(count)),
            None => Err(DwarfError::TooMuch {
                name: path.to_owned(),
                found: "too many elements".to_owned(),
                most: LARGEST.to_string(),
            }),
        }
    }

    /// `char` itself: `uint8_t` is `unsigned char`, and a number.
    fn is_char(&self, entry: &Entry<'s>) -> Result<bool, DwarfError> {
        Ok(entry.tag() == gimli::DW_TAG_base_type && name_of(self.dwarf, self.unit, entry)?.as_deref() == Some("char"))
    }

    fn base(&self, entry: &Entry<'s>, path: &str) -> Result<Shape, DwarfError> {
        let size = self.size_of(entry, path)?;
        let encoding = match entry.attr_value(gimli::DW_AT_encoding) {
            Some(gimli::AttributeValue::Encoding(encoding)) => encoding,
            _ => gimli::DwAte(0),
        };
        if encoding == gimli::DW_ATE_boolean && size == 1 {
            let names = vec![("no".to_owned(), 0), ("yes".to_owned(), 1)];
            return Ok(Shape::Number(plain(Repr::U8, Meaning::Names(names))));
        }
        let signed = matches!(encoding, gimli::DW_ATE_signed | gimli::DW_ATE_signed_char);
        let unsigned = matches!(encoding, gimli::DW_ATE_unsigned | gimli::DW_ATE_unsigned_char);
        let repr = match (encoding, size) {
            (gimli::DW_ATE_float, 4) => Some(Repr::F32),
            (gimli::DW_ATE_float, 8) => Some(Repr::F64),
            _ if signed || unsigned => integer(signed, size),
            _ => None,
        };
        match repr {
            Some(repr) => Ok(Shape::Number(plain(repr, bare()))),
            None => Err(DwarfError::Member {
                path: path.to_owned(),
                found: self.describe(entry)?,
                advice: "Use an integer of 1, 2, 4 or 8 bytes, a float or a double",
            }),
        }
    }

    fn enumeration(&self, entry: &Entry<'s>, path: &str) -> Result<Shape, DwarfError> {
        let size = self.size_of(entry, path)?;
        let mut values = Vec::new();
        let mut tree = self.unit.entries_tree(Some(entry.offset()))?;
        let root = tree.root()?;
        let mut children = root.children();
        while let Some(child) = children.next()? {
            let child = child.entry();
            if child.tag() != gimli::DW_TAG_enumerator || values.len() >= MOST_MEMBERS {
                continue;
            }
            let name = name_of(self.dwarf, self.unit, child)?.unwrap_or_default();
            let value = child.attr_value(gimli::DW_AT_const_value);
            let value = value.and_then(|value| {
                value
                    .sdata_value()
                    .map(i128::from)
                    .or_else(|| value.udata_value().map(i128::from))
            });
            if let Some(value) = value
                && !values.iter().any(|(_, other)| *other == value)
            {
                values.push((name, value));
            }
        }
        let signed = match type_of(entry) {
            Some(offset) => {
                let (base, _) = self.named_type(offset, path)?;
                matches!(
                    base.attr_value(gimli::DW_AT_encoding),
                    Some(gimli::AttributeValue::Encoding(
                        gimli::DW_ATE_signed | gimli::DW_ATE_signed_char
                    ))
                )
            }
            None => values.iter().any(|(_, value)| *value < 0),
        };
        let repr = integer(signed, size).filter(|_| !values.is_empty());
        let Some(repr) = repr else {
            return Err(DwarfError::Member {
                path: path.to_owned(),
                found: format!("an enum of {size} bytes with {} names", values.len()),
                advice: "Use an integer of 1, 2, 4 or 8 bytes",
            });
        };
        // A compiler may give an enumerator's value with the bits of the other signedness.
        if let Some((lowest, highest)) = repr.limits() {
            let modulus = highest - lowest + 1;
            for (_, value) in &mut values {
                if *value < lowest {
                    *value += modulus;
                } else if *value > highest {
                    *value -= modulus;
                }
            }
        }
        Ok(Shape::Number(plain(repr, Meaning::Names(values))))
    }

    /// What names give away; a person has to confirm it.
    fn guess(&mut self, fields: &mut [Field], path: &str) {
        for field in fields {
            let name = field.name.to_ascii_lowercase();
            let spare = ["reserved", "spare", "pad", "unused", "filler"]
                .iter()
                .any(|word| name.trim_start_matches('_').starts_with(word));
            let is_u32 = matches!(&field.shape, Shape::Number(number) if number.repr == Repr::U32);
            if spare && !matches!(field.shape, Shape::Group(_)) {
                field.purpose = Purpose::Spare(0);
                self.notes.push(format!(
                    "{} is taken for spare bytes, by its name.",
                    join(path, &field.name)
                ));
            } else if is_u32 && name.starts_with("crc") && field.at > 0 && field.count.is_none() {
                field.purpose = Purpose::Crc {
                    start: 0,
                    size: field.at,
                };
                let at = join(path, &field.name);
                self.notes.push(format!(
                    "{at} is taken for a CRC-32 of everything before it in its struct, by its name."
                ));
            }
        }
    }
}

fn setting(name: String, at: u32, count: Option<u32>, shape: Shape) -> Field {
    Field {
        name,
        means: None,
        at,
        count,
        used: None,
        purpose: Purpose::Setting(Kind::Preference),
        shape,
    }
}

fn plain(repr: Repr, meaning: Meaning) -> Number {
    let default = match &meaning {
        Meaning::Names(names) => Stored::Integer(names.first().map_or(0, |(_, value)| *value)),
        _ if repr.is_real() => Stored::Real(0.0),
        _ => Stored::Integer(0),
    };
    Number {
        repr,
        meaning,
        lowest: None,
        highest: None,
        default,
    }
}

const fn bare() -> Meaning {
    Meaning::Quantity {
        scale: Ratio::ONE,
        unit: None,
        difference: false,
    }
}

const fn integer(signed: bool, size: u32) -> Option<Repr> {
    Some(match (signed, size) {
        (false, 1) => Repr::U8,
        (false, 2) => Repr::U16,
        (false, 4) => Repr::U32,
        (false, 8) => Repr::U64,
        (true, 1) => Repr::I8,
        (true, 2) => Repr::I16,
        (true, 4) => Repr::I32,
        (true, 8) => Repr::I64,
        _ => return None,
    })
}

fn constant(value: gimli::AttributeValue<Reader<'_>>) -> Option<u32> {
    let number = value
        .udata_value()
        .or_else(|| value.sdata_value().and_then(|number| u64::try_from(number).ok()))?;
    u32::try_from(number).ok()
}

fn join(path: &str, name: &str) -> String {
    if path.is_empty() {
        name.to_owned()
    } else {
        format!("{path}.{name}")
    }
}
