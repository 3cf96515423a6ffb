//! What was unusual about a file, without being wrong.

use std::fmt;

use crate::error::Place;
use crate::recognise::Format;

/// Something that the reader did or left, and that a maker may want to know.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Note {
    /// These addresses are given more than once, each time with the same bytes.
    Overlap {
        /// The first address.
        address: u32,
        /// How many bytes.
        len: u64,
    },
    /// The pieces do not come in ascending order; the formats allow it.
    OutOfOrder {
        /// The first address that is lower than its predecessor.
        address: u32,
        /// Where it stands.
        place: Place,
    },
    /// A record passes the end of its 64 KiB segment, so its later bytes go to the start of that
    /// segment.
    SegmentWrap {
        /// The base address of the segment.
        base: u32,
        /// Where the record stands.
        place: Place,
    },
    /// A record passes address 0xFFFFFFFF, so its later bytes go to address 0.
    LinearWrap {
        /// Where the record stands.
        place: Place,
    },
    /// The ending record carries a start address, as very old files do.
    StartInEnd {
        /// The start address.
        address: u32,
    },
    /// The data records have addresses of more than one width. Some programs write each record in
    /// its shortest form; but the digit that gives the width is not covered by the checksum, so it
    /// can also be damage.
    MixedWidths {
        /// The first record of another width than the one before.
        place: Place,
    },
    /// The ending record belongs to another address width than the data records.
    EndOfOtherWidth {
        /// The digit of the ending record.
        found: char,
        /// The digit that belongs to the widest data record.
        expected: char,
    },
    /// The file has no ending record, but its last record is a count that agrees.
    EndedByCount,
    /// The text of the header record, with unprintable bytes escaped.
    Header(String),
    /// A base address was given for a file that carries its own addresses.
    BaseIgnored {
        /// The base that was given.
        base: u32,
        /// The format of the file.
        format: Format,
    },
    /// A raw binary that holds nothing but printable text.
    AllText,
    /// Every physical address is zero, so virtual addresses are used.
    VirtualAddresses,
    /// Bytes of an ELF segment that belong to the file's own headers are left out.
    HeadersLeftOut {
        /// How many bytes.
        len: u64,
    },
    /// Zero bytes of an ELF segment that lie between its sections are left out.
    PaddingLeftOut {
        /// How many bytes.
        len: u64,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Note::Overlap { address, len } => {
                write!(
                    f,
                    "{len} bytes from 0x{address:08X} are given more than once, each time with \
                     the same values"
                )
            }
            Note::OutOfOrder { address, place } => {
                write!(
                    f,
                    "the addresses do not ascend: 0x{address:08X}, in {place}, is the first that \
                     goes back"
                )
            }
            Note::SegmentWrap { base, place } => write!(
                f,
                "{place} passes the end of the 64 KiB segment at 0x{base:08X}; by the format's \
                 rule its later bytes go to the start of that segment"
            ),
            Note::LinearWrap { place } => write!(
                f,
                "{place} passes address 0xFFFFFFFF; by the format's rule its later bytes go to \
                 the addresses from 0"
            ),
            Note::StartInEnd { address } => {
                write!(
                    f,
                    "the end of file record carries a start address, 0x{address:04X}, as very old \
                     files do"
                )
            }
            Note::MixedWidths { place } => write!(
                f,
                "the addresses are of more than one width, {place} being the first to differ; the \
                 checksums do not cover the width"
            ),
            Note::EndOfOtherWidth { found, expected } => {
                write!(
                    f,
                    "the file ends with an S{found} record; to its data records belongs S{expected}"
                )
            }
            Note::EndedByCount => {
                f.write_str("the file has no ending record; its count record shows that nothing is missing")
            }
            Note::Header(text) => write!(f, "the header record says \"{text}\""),
            Note::BaseIgnored { base, format } => {
                write!(
                    f,
                    "the base address 0x{base:08X} is not used: {format} carries its own addresses"
                )
            }
            Note::AllText => f.write_str("the raw binary is nothing but printable text, which is rarely firmware"),
            Note::VirtualAddresses => {
                f.write_str("the file's physical addresses are all zero, so its virtual addresses are used")
            }
            Note::HeadersLeftOut { len } => {
                write!(
                    f,
                    "{len} bytes that the linker put in front of the first section are left out: \
                     the ELF headers"
                )
            }
            Note::PaddingLeftOut { len } => write!(f, "{len} zero bytes between sections are left out as padding"),
        }
    }
}
