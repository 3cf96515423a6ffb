//! Why a file is not accepted as a build: what was found, where, what was expected and what to do.

use std::fmt;

use crate::recognise::Format;

/// A place in a text file. Lines and columns count from 1, the offset counts bytes from 0.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Position {
    /// The line.
    pub line: usize,
    /// The column, in bytes.
    pub column: usize,
    /// The byte's offset in the file.
    pub offset: usize,
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {} (byte {})", self.line, self.column, self.offset)
    }
}

/// The part of a file that places some bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The record that begins here.
    Record(Position),
    /// The ELF program header of this index, counted from 0.
    ProgramHeader(usize),
}

impl Default for Place {
    fn default() -> Self {
        Place::ProgramHeader(0)
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::Record(position) => write!(f, "the record on line {} (byte {})", position.line, position.offset),
            Place::ProgramHeader(index) => write!(f, "program header {index}"),
        }
    }
}

/// Why a file is not accepted as a build.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The file has no bytes.
    #[error(
        "the file is empty; a build was expected: check that the linker or the conversion step \
         succeeded"
    )]
    Empty,
    /// A file without a known format, and no base address for it.
    #[error(
        "the file begins with {begins}, which is none of ELF, Intel HEX and S-record, so it is \
         taken for a raw binary, and a raw binary does not say where it belongs: state its base \
         address, or give the ELF file instead"
    )]
    NoRawBase {
        /// The first bytes, made printable.
        begins: String,
    },
    /// A raw binary longer than the addresses from its base.
    #[error(
        "a raw binary of {len} bytes at base address 0x{base:08X} passes the end of the 32-bit \
         address space by {beyond} bytes: check the base address, and that the file is the \
         firmware and nothing else"
    )]
    RawPastEnd {
        /// Where it was to begin.
        base: u32,
        /// Its length in bytes.
        len: usize,
        /// How many of them have no address.
        beyond: u64,
    },
    /// Record text in UTF-16.
    #[error(
        "the {format} text is in UTF-16 (it begins with that byte-order mark); plain ASCII was \
         expected: some shells re-encode output that is redirected into a file, so let the tool \
         write the file itself"
    )]
    WideText {
        /// The format of the text.
        format: Format,
    },
    /// A record that breaks the rules of its format.
    #[error("{format}, {position}: {fault}")]
    Record {
        /// The format that was recognised.
        format: Format,
        /// Where the fault lies.
        position: Position,
        /// What is wrong there.
        fault: RecordFault,
    },
    /// A well-formed file that places no bytes at all.
    #[error(
        "the {format} file is whole but places no bytes; a build was expected: check what was \
         given to the conversion step"
    )]
    NoData {
        /// The format that was recognised.
        format: Format,
    },
    /// Two places in the file disagree about a byte.
    #[error(
        "{first} puts 0x{was:02X} at address 0x{address:08X} and {second} puts 0x{now:02X} there; \
         one value was expected: two builds may have been joined, or two output sections share \
         load addresses"
    )]
    Conflict {
        /// The address in question.
        address: u32,
        /// The earlier place in the file.
        first: Place,
        /// What it says.
        was: u8,
        /// The later place.
        second: Place,
        /// What that says.
        now: u8,
    },
    /// An ELF file that is not a finished 32-bit little-endian program.
    #[error("ELF: {0}")]
    Elf(#[from] ElfFault),
}

/// What is wrong with a record. Each message ends with what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum RecordFault {
    /// Something other than a record stands where a record should begin.
    #[error(
        "found {} where a record should begin with '{mark}': remove lines that are not records, \
         or convert the build again if records have been damaged", shown(*found)
    )]
    NotARecord {
        /// The byte found.
        found: u8,
        /// The byte that records of this format begin with.
        mark: char,
    },
    /// A byte that is not a hexadecimal digit inside a record.
    #[error("found {} inside a record, expected a hexadecimal digit: the file is damaged; copy or \
        convert it again", shown(*found))]
    NotADigit {
        /// The byte found.
        found: u8,
    },
    /// The line or the file ends inside a record.
    #[error(
        "the {} ends here, {missing} digits before the record does by its own length field: the \
         file has been cut or re-wrapped; copy or convert it again", if *file_ends { "file" } else { "line" }
    )]
    Shorter {
        /// How many digits are missing up to the end of the field being read.
        missing: usize,
        /// Whether it is the file that ends, not only the line.
        file_ends: bool,
    },
    /// More text than the record's length field says.
    #[error(
        "found {} after the record, which by its own length field ends here; expected the end of \
         the line: the file is damaged; copy or convert it again", shown(*found)
    )]
    Longer {
        /// The byte found.
        found: u8,
    },
    /// The checksum does not match the record's bytes.
    #[error(
        "the checksum is 0x{found:02X}, the record's bytes give 0x{expected:02X}: the record is \
         damaged; copy or convert the file again"
    )]
    Checksum {
        /// What the record says.
        found: u8,
        /// What its bytes give.
        expected: u8,
    },
    /// A record type that the format does not define.
    #[error(
        "the record type is {found}, expected {expected}: the file is damaged or not of this \
         format; convert the build again"
    )]
    Type {
        /// The type as the file spells it.
        found: String,
        /// The types that the format defines.
        expected: &'static str,
    },
    /// A length field that does not suit the record's type.
    #[error(
        "a {kind} record has a length of {found}, expected {expected}: the tool that wrote it \
         does not follow the format; use another"
    )]
    Length {
        /// The record's kind.
        kind: &'static str,
        /// What the length field says.
        found: u8,
        /// What it must say.
        expected: &'static str,
    },
    /// A load offset in a record that has no use for one.
    #[error(
        "a {kind} record has a load offset of 0x{found:04X}, expected 0000: the tool that wrote \
         it does not follow the format; use another"
    )]
    Offset {
        /// The record's kind.
        kind: &'static str,
        /// The offset found.
        found: u16,
    },
    /// A segment base and a linear base in the same stretch of the file.
    #[error(
        "a {found} base of 0x{new:X} follows a {other} base of 0x{old:X} that is still in effect; \
         programs disagree whether the two are added: convert the build again with 32-bit linear \
         addresses (record type 04) alone"
    )]
    MixedBases {
        /// The kind of base that this record sets.
        found: &'static str,
        /// Its value, as an address.
        new: u32,
        /// The kind of base that was set before.
        other: &'static str,
        /// Its value, as an address.
        old: u32,
    },
    /// A second start address, unlike the first.
    #[error(
        "the start address is 0x{now:08X} here and 0x{was:08X} in an earlier record; one was \
         expected: two builds may have been joined"
    )]
    SecondStart {
        /// The earlier start address.
        was: u32,
        /// The one found here.
        now: u32,
    },
    /// Bytes beyond the 32-bit address space.
    #[error(
        "{beyond} of the record's bytes lie beyond address 0xFFFFFFFF; expected all of them \
         below: check the link addresses"
    )]
    PastEnd {
        /// How many bytes.
        beyond: u64,
    },
    /// A count record that does not agree with the records before it.
    #[error(
        "the count record says {stated} data records, the file has {counted} before it: records \
         are missing or doubled; convert the build again"
    )]
    Count {
        /// What the count record says.
        stated: u32,
        /// How many S1, S2 and S3 records precede it.
        counted: u64,
    },
    /// Records after the one that ends the file.
    #[error(
        "found {} after the {end} record of line {line}, which ends the file; expected nothing: \
         two builds may have been joined; give the one that is meant", shown(*found)
    )]
    AfterEnd {
        /// The byte found.
        found: u8,
        /// The name of the ending record.
        end: &'static str,
        /// The line of the ending record.
        line: usize,
    },
    /// The record that ends the file is missing.
    #[error("the file ends without {expected}: it has probably been cut short; copy or convert it again")]
    MissingEnd {
        /// The record or records that may end the file.
        expected: &'static str,
    },
}

/// What is wrong with an ELF file. Each message ends with what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ElfFault {
    /// The file is shorter than the structure that should be there.
    #[error(
        "the {what} would end at byte {end}, the file has {len}: it has been cut short; copy or \
         link it again"
    )]
    Cut {
        /// The structure.
        what: String,
        /// Where it would end.
        end: u64,
        /// The length of the file.
        len: u64,
    },
    /// A header field whose value we cannot use.
    #[error("{field} is {found}, expected {expected}: {advice}")]
    Field {
        /// The field, by the name that the ELF specification gives it.
        field: &'static str,
        /// Its value.
        found: u32,
        /// The values that would do.
        expected: &'static str,
        /// What to do.
        advice: &'static str,
    },
    /// A table that does not hold together.
    #[error(
        "{what} cannot be read ({reason}); expected tables as the header describes them: the file \
         is damaged; link it again"
    )]
    Table {
        /// The table.
        what: &'static str,
        /// What is wrong with it.
        reason: String,
    },
    /// A segment with more bytes in the file than in memory.
    #[error(
        "program header {index} has {file} bytes in the file and {memory} in memory; expected no \
         more than in memory: link it again"
    )]
    Larger {
        /// The program header's index.
        index: usize,
        /// `p_filesz`.
        file: u32,
        /// `p_memsz`.
        memory: u32,
    },
    /// A segment beyond the 32-bit address space.
    #[error(
        "program header {index} loads {len} bytes at physical address 0x{address:08X}, {beyond} \
         of them beyond 0xFFFFFFFF: check the load addresses in the linker script"
    )]
    PastEnd {
        /// The program header's index.
        index: usize,
        /// Its physical address.
        address: u32,
        /// Its bytes in the file.
        len: u64,
        /// How many of them have no address.
        beyond: u64,
    },
    /// Program headers that use the same bytes of the file again and again.
    #[error(
        "the program headers load {claimed} bytes, the file has only {len}; expected each byte to \
         be loaded once: the file is damaged; link it again"
    )]
    Claims {
        /// The sum of the loaded sizes.
        claimed: u64,
        /// The length of the file.
        len: u64,
    },
}

/// A byte for a message: as the character it is where that is safe to print, and always as a
/// number.
pub(crate) fn shown(byte: u8) -> String {
    match byte {
        b'\n' | b'\r' => format!("a line end (0x{byte:02X})"),
        0x20..=0x7E => format!("'{}' (0x{byte:02X})", char::from(byte)),
        _ => format!("byte 0x{byte:02X}"),
    }
}
