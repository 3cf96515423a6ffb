//! A strict reader of CBOR (RFC 8949), in the deterministic encoding of its section 4.2.1.
//!
//! It refuses indefinite lengths, heads that are longer than needed, map keys out of order or twice, and bytes behind
//! the last item. Floating-point numbers and simple values other than false, true and null do not occur in an update
//! file and are refused. It borrows, allocates nothing, and does not recurse.

use crate::refusal::{Fault, Part, Refusal};

/// How deep [`Cursor::item`] follows arrays, maps and tags.
pub const DEPTH_MAX: usize = 8;
/// Most bytes that a head can have.
pub const HEAD_MAX: usize = 9;

/// The eight kinds of item (RFC 8949, 3.1).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Major {
    /// A non-negative integer.
    Unsigned,
    /// A negative integer: the argument is -1 minus the value.
    Negative,
    /// A string of bytes.
    Bytes,
    /// A string of text.
    Text,
    /// An array.
    Array,
    /// A map.
    Map,
    /// A tag on the item that follows.
    Tag,
    /// False, true or null: arguments 20, 21, 22.
    Simple,
}

/// The head of an item: its kind and its argument.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Head {
    /// The kind of item.
    pub major: Major,
    /// Value, length, count, tag number or simple value.
    pub argument: u64,
}

const NULL: u64 = 22;

/// How many bytes the head has that begins with `first`: 1, 2, 3, 5 or 9.
///
/// # Errors
/// [`Fault::Indefinite`], or [`Fault::Kind`] for the reserved values.
pub const fn head_len(first: u8) -> Result<usize, Fault> {
    match first & 0x1f {
        0..=23 => Ok(1),
        24 => Ok(2),
        25 => Ok(3),
        26 => Ok(5),
        27 => Ok(HEAD_MAX),
        31 => Err(Fault::Indefinite),
        _ => Err(Fault::Kind),
    }
}

impl Head {
    /// Reads the head at the start of `bytes`, and gives what follows it.
    ///
    /// # Errors
    /// [`Fault::Cut`], [`Fault::NotShortest`], [`Fault::Indefinite`], or [`Fault::Kind`] for kinds that never occur.
    pub fn split(bytes: &[u8]) -> Result<(Self, &[u8]), Fault> {
        let (first, _) = bytes.split_first().ok_or(Fault::Cut)?;
        let len = head_len(*first)?;
        let (head, rest) = bytes.split_at_checked(len).ok_or(Fault::Cut)?;
        let follow = head.get(1..).unwrap_or_default();
        let argument = match len {
            1 => u64::from(first & 0x1f),
            _ => follow
                .iter()
                .fold(0, |value: u64, byte| value.wrapping_shl(8) | u64::from(*byte)),
        };
        let major = match first >> 5 {
            0 => Major::Unsigned,
            1 => Major::Negative,
            2 => Major::Bytes,
            3 => Major::Text,
            4 => Major::Array,
            5 => Major::Map,
            6 => Major::Tag,
            _ if len == 1 && (20..=NULL).contains(&argument) => Major::Simple,
            _ => return Err(Fault::Kind),
        };
        let shortest = match argument {
            0..=23 => 1,
            24..=0xff => 2,
            0x100..=0xffff => 3,
            0x1_0000..=0xffff_ffff => 5,
            _ => HEAD_MAX,
        };
        if len == shortest {
            Ok((Self { major, argument }, rest))
        } else {
            Err(Fault::NotShortest)
        }
    }
}

/// Reads items one after another. Every error says in which part of the file it was found.
#[derive(Clone, Copy, Debug)]
pub struct Cursor<'a> {
    rest: &'a [u8],
    part: Part,
}

impl<'a> Cursor<'a> {
    /// A reader of `bytes`, which lie in `part`.
    pub const fn new(bytes: &'a [u8], part: Part) -> Self {
        Self { rest: bytes, part }
    }

    /// Bytes that are still unread.
    pub const fn rest(&self) -> &'a [u8] {
        self.rest
    }

    /// The part that errors name.
    pub const fn part(&self) -> Part {
        self.part
    }

    /// The refusal for `fault` at this place.
    pub const fn fault(&self, fault: Fault) -> Refusal {
        Refusal::malformed(self.part, fault)
    }

    /// Reads a head of any kind.
    ///
    /// # Errors
    /// See [`Head::split`].
    pub fn head(&mut self) -> Result<Head, Refusal> {
        let (head, rest) = Head::split(self.rest).map_err(|fault| self.fault(fault))?;
        self.rest = rest;
        Ok(head)
    }

    fn argument(&mut self, major: Major) -> Result<u64, Refusal> {
        let head = self.head()?;
        if head.major == major {
            Ok(head.argument)
        } else {
            Err(self.fault(Fault::Kind))
        }
    }

    fn take(&mut self, len: u64) -> Result<&'a [u8], Refusal> {
        let split = usize::try_from(len)
            .ok()
            .and_then(|len| self.rest.split_at_checked(len));
        let (taken, rest) = split.ok_or(self.fault(Fault::Cut))?;
        self.rest = rest;
        Ok(taken)
    }

    /// Reads a non-negative integer.
    ///
    /// # Errors
    /// [`Fault::Kind`] and the faults of a head.
    pub fn uint(&mut self) -> Result<u64, Refusal> {
        self.argument(Major::Unsigned)
    }

    /// Reads an integer.
    ///
    /// # Errors
    /// [`Fault::Value`] beyond 64 signed bits, [`Fault::Kind`] and the faults of a head.
    pub fn int(&mut self) -> Result<i64, Refusal> {
        let head = self.head()?;
        let argument = i64::try_from(head.argument).map_err(|_| self.fault(Fault::Value));
        match head.major {
            Major::Unsigned => argument,
            // -1 - n without overflow: RFC 8949, 3.1.
            Major::Negative => argument.map(|argument| !argument),
            _ => Err(self.fault(Fault::Kind)),
        }
    }

    /// Reads a string of bytes.
    ///
    /// # Errors
    /// [`Fault::Cut`], [`Fault::Kind`] and the faults of a head.
    pub fn bytes(&mut self) -> Result<&'a [u8], Refusal> {
        let len = self.argument(Major::Bytes)?;
        self.take(len)
    }

    /// Reads a string of exactly `N` bytes.
    ///
    /// # Errors
    /// [`Fault::Value`] for another length, and those of [`Cursor::bytes`].
    pub fn array_of<const N: usize>(&mut self) -> Result<&'a [u8; N], Refusal> {
        let bytes = self.bytes()?;
        bytes.try_into().map_err(|_| self.fault(Fault::Value))
    }

    /// Reads a text.
    ///
    /// # Errors
    /// [`Fault::NotUtf8`], [`Fault::Cut`], [`Fault::Kind`] and the faults of a head.
    pub fn text(&mut self) -> Result<&'a str, Refusal> {
        let len = self.argument(Major::Text)?;
        let bytes = self.take(len)?;
        core::str::from_utf8(bytes).map_err(|_| self.fault(Fault::NotUtf8))
    }

    /// Reads a text whose one right content the caller knows, so that whether it is UTF-8 need not be asked.
    ///
    /// # Errors
    /// [`Fault::Cut`], [`Fault::Kind`] and the faults of a head.
    pub fn is_text(&mut self, wanted: &str) -> Result<bool, Refusal> {
        let len = self.argument(Major::Text)?;
        Ok(self.take(len)? == wanted.as_bytes())
    }

    /// Reads the head of an array and gives its count.
    ///
    /// # Errors
    /// [`Fault::Kind`] and the faults of a head.
    pub fn array(&mut self) -> Result<u64, Refusal> {
        self.argument(Major::Array)
    }

    /// Reads the head of a map and gives the reader of its keys.
    ///
    /// # Errors
    /// [`Fault::Kind`] and the faults of a head.
    pub fn map(&mut self) -> Result<Keys<'a>, Refusal> {
        let left = self.argument(Major::Map)?;
        Ok(Keys { left, last: None })
    }

    /// Reads a tag's number.
    ///
    /// # Errors
    /// [`Fault::Kind`] and the faults of a head.
    pub fn tag(&mut self) -> Result<u64, Refusal> {
        self.argument(Major::Tag)
    }

    /// Reads null.
    ///
    /// # Errors
    /// [`Fault::Kind`] and the faults of a head.
    pub fn null(&mut self) -> Result<(), Refusal> {
        let value = self.argument(Major::Simple)?;
        if value == NULL {
            Ok(())
        } else {
            Err(self.fault(Fault::Kind))
        }
    }

    /// Reads a string of bytes that holds items of its own, and gives the reader of those.
    ///
    /// # Errors
    /// Those of [`Cursor::bytes`].
    pub fn wrapped(&mut self, part: Part) -> Result<Self, Refusal> {
        self.bytes().map(|bytes| Self::new(bytes, part))
    }

    /// Checks that nothing is left.
    ///
    /// # Errors
    /// [`Fault::ExtraBytes`].
    pub fn end(&self) -> Result<(), Refusal> {
        if self.rest.is_empty() {
            Ok(())
        } else {
            Err(self.fault(Fault::ExtraBytes))
        }
    }

    /// Reads one item of any kind with all that it contains, checks it, and gives its bytes.
    ///
    /// # Errors
    /// Any [`Fault`].
    pub fn item(&mut self) -> Result<&'a [u8], Refusal> {
        let start = self.rest;
        let mut open = [Open::CLOSED; DEPTH_MAX];
        let mut depth = 0_usize;
        loop {
            if let Some(inside) = depth.checked_sub(1).and_then(|top| open.get_mut(top)) {
                inside.before(self.rest);
            }
            let head = self.head()?;
            let items = match head.major {
                Major::Array => head.argument,
                Major::Map => head.argument.checked_mul(2).ok_or(self.fault(Fault::Cut))?,
                Major::Tag => 1,
                Major::Bytes => self.take(head.argument).map(|_| 0)?,
                Major::Text => {
                    let bytes = self.take(head.argument)?;
                    core::str::from_utf8(bytes)
                        .map(|_| 0)
                        .map_err(|_| self.fault(Fault::NotUtf8))?
                }
                Major::Unsigned | Major::Negative | Major::Simple => 0,
            };
            if items > 0 {
                let level = open.get_mut(depth).ok_or(self.fault(Fault::TooDeep))?;
                *level = Open {
                    left: items,
                    keyed: head.major == Major::Map,
                    last: None,
                    key: &[],
                };
                depth = depth.wrapping_add(1);
                continue;
            }
            loop {
                let Some(top) = depth.checked_sub(1) else {
                    return Ok(consumed(start, self.rest));
                };
                let Some(inside) = open.get_mut(top) else {
                    return Err(self.fault(Fault::TooDeep));
                };
                inside.after(self.rest).map_err(|fault| self.fault(fault))?;
                if inside.left > 0 {
                    break;
                }
                depth = top;
            }
        }
    }
}

/// The part of `before` that was read when `after` was left.
fn consumed<'a>(before: &'a [u8], after: &[u8]) -> &'a [u8] {
    let len = before.len().saturating_sub(after.len());
    before.get(..len).unwrap_or(before)
}

/// Checks that `key` comes after the key before it, byte by byte (RFC 8949, 4.2.1).
fn in_order(last: Option<&[u8]>, key: &[u8]) -> Result<(), Fault> {
    match last {
        Some(last) if last == key => Err(Fault::DuplicateKey),
        Some(last) if last > key => Err(Fault::KeyOrder),
        _ => Ok(()),
    }
}

/// An array, map or tag whose end [`Cursor::item`] has not reached.
#[derive(Clone, Copy)]
struct Open<'a> {
    left: u64,
    keyed: bool,
    last: Option<&'a [u8]>,
    key: &'a [u8],
}

impl<'a> Open<'a> {
    const CLOSED: Self = Self {
        left: 0,
        keyed: false,
        last: None,
        key: &[],
    };

    const fn at_key(&self) -> bool {
        self.keyed && self.left.is_multiple_of(2)
    }

    const fn before(&mut self, rest: &'a [u8]) {
        if self.at_key() {
            self.key = rest;
        }
    }

    fn after(&mut self, rest: &[u8]) -> Result<(), Fault> {
        if self.at_key() {
            let key = consumed(self.key, rest);
            in_order(self.last, key)?;
            self.last = Some(key);
        }
        self.left = self.left.saturating_sub(1);
        Ok(())
    }
}

/// Reads the keys of a map whose values the caller reads in between.
#[derive(Clone, Copy, Debug)]
pub struct Keys<'a> {
    left: u64,
    last: Option<&'a [u8]>,
}

impl<'a> Keys<'a> {
    /// Keys that are still unread.
    pub const fn left(&self) -> u64 {
        self.left
    }

    /// The bytes of the next key, after checking that it is in order; `None` after the last.
    ///
    /// # Errors
    /// [`Fault::KeyOrder`], [`Fault::DuplicateKey`] and those of [`Cursor::item`].
    pub fn next(&mut self, cursor: &mut Cursor<'a>) -> Result<Option<&'a [u8]>, Refusal> {
        let Some(left) = self.left.checked_sub(1) else {
            return Ok(None);
        };
        let key = cursor.item()?;
        in_order(self.last, key).map_err(|fault| cursor.fault(fault))?;
        self.left = left;
        self.last = Some(key);
        Ok(Some(key))
    }

    /// The next key of a map whose keys are all non-negative integers.
    ///
    /// # Errors
    /// [`Refusal::UnknownCritical`] for a key of another kind, the faults of a head, [`Fault::KeyOrder`] and
    /// [`Fault::DuplicateKey`].
    pub fn next_uint(&mut self, cursor: &mut Cursor<'a>) -> Result<Option<u64>, Refusal> {
        let Some(left) = self.left.checked_sub(1) else {
            return Ok(None);
        };
        let start = cursor.rest;
        let head = cursor.head()?;
        if head.major != Major::Unsigned {
            return Err(Refusal::UnknownCritical(cursor.part()));
        }
        let key = consumed(start, cursor.rest);
        in_order(self.last, key).map_err(|fault| cursor.fault(fault))?;
        self.left = left;
        self.last = Some(key);
        Ok(Some(head.argument))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use hex_literal::hex;
    use proptest::prelude::*;

    fn item(bytes: &[u8]) -> Result<&[u8], Fault> {
        let mut cursor = Cursor::new(bytes, Part::Text);
        let item = cursor.item().and_then(|item| cursor.end().map(|()| item));
        item.map_err(|refusal| match refusal {
            Refusal::Malformed(at) => at.fault,
            other => panic!("{other}"),
        })
    }

    /// RFC 8949, appendix A (values from memory), those kinds of item that an update file has.
    #[test]
    fn rfc_8949_examples() {
        let mut cursor = Cursor::new(&hex!("00 17 1818 1903e8 1a000f4240 1bffffffffffffffff"), Part::Text);
        for value in [0, 23, 24, 1000, 1_000_000, u64::MAX] {
            assert_eq!(cursor.uint(), Ok(value));
        }
        let mut cursor = Cursor::new(&hex!("20 29 3863 3903e7 3bffffffffffffffff"), Part::Text);
        for value in [-1, -10, -100, -1000] {
            assert_eq!(cursor.int(), Ok(value));
        }
        assert_eq!(cursor.int(), Err(Refusal::malformed(Part::Text, Fault::Value)));
        for good in [
            &hex!("c11a514b67b0")[..],
            &hex!("d74401020304"),
            &hex!("d818456449455446"),
            &hex!("40"),
            &hex!("62c3bc"),
            &hex!("8301820203820405"),
            &hex!("a201020304"),
            &hex!("a26161016162820203"),
            &hex!("826161a161626163"),
            &hex!("f4"),
            &hex!("f6"),
            &hex!("a0"),
        ] {
            assert_eq!(item(good), Ok(good));
        }
        // Well-formed CBOR that this reader does not take: floats, undefined, simple values, open lengths.
        for (other, fault) in [
            (&hex!("f93c00")[..], Fault::Kind),
            (&hex!("fb3ff199999999999a"), Fault::Kind),
            (&hex!("f7"), Fault::Kind),
            (&hex!("f0"), Fault::Kind),
            (&hex!("f8ff"), Fault::Kind),
            (&hex!("5f42010243030405ff"), Fault::Indefinite),
            (&hex!("9fff"), Fault::Indefinite),
            (&hex!("bf61610161629f0203ffff"), Fault::Indefinite),
        ] {
            assert_eq!(item(other), Err(fault), "{}", hex::encode(other));
        }
    }

    #[test]
    fn each_fault_is_named() {
        for (bytes, fault) in [
            (&hex!("1817")[..], Fault::NotShortest),
            (&hex!("1900ff"), Fault::NotShortest),
            (&hex!("1a0000ffff"), Fault::NotShortest),
            (&hex!("1b00000000ffffffff"), Fault::NotShortest),
            (&hex!("580141"), Fault::NotShortest),
            (&hex!("1c"), Fault::Kind),
            (&hex!("ff"), Fault::Indefinite),
            (&hex!(""), Fault::Cut),
            (&hex!("19ff"), Fault::Cut),
            (&hex!("4201"), Fault::Cut),
            (&hex!("8201"), Fault::Cut),
            (&hex!("a101"), Fault::Cut),
            (&hex!("d86b"), Fault::Cut),
            (&hex!("bbffffffffffffffff"), Fault::Cut),
            (&hex!("9bffffffffffffffff"), Fault::Cut),
            (&hex!("5bffffffffffffffff"), Fault::Cut),
            (&hex!("a202000100"), Fault::KeyOrder),
            (&hex!("a201000100"), Fault::DuplicateKey),
            (&hex!("a28201020082010000"), Fault::KeyOrder),
            (&hex!("81a201000100"), Fault::DuplicateKey),
            (&hex!("0000"), Fault::ExtraBytes),
            (&hex!("61ff"), Fault::NotUtf8),
            (&[0x81; 20], Fault::TooDeep),
        ] {
            assert_eq!(item(bytes), Err(fault), "{}", hex::encode(bytes));
        }
        let deepest: Vec<u8> = [[0x81; DEPTH_MAX].as_slice(), &[0]].concat();
        assert!(item(&deepest).is_ok());
    }

    proptest! {
        #[test]
        fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..64)) {
            let mut cursor = Cursor::new(&bytes, Part::Text);
            if let Ok(item) = cursor.item() {
                prop_assert!(bytes.starts_with(item) && item.len() + cursor.rest().len() == bytes.len());
            }
        }

        /// The second opinion is minicbor, which reads any well-formed CBOR: whatever we take, it takes too.
        #[test]
        fn what_we_take_a_general_library_takes(bytes in proptest::collection::vec(any::<u8>(), 1..24)) {
            if let Ok(item) = Cursor::new(&bytes, Part::Text).item() {
                let mut decoder = minicbor::Decoder::new(&bytes);
                prop_assert!(decoder.skip().is_ok());
                prop_assert_eq!(decoder.position(), item.len());
            }
        }
    }
}
