//! A build: the bytes that a file places, and where.

use std::fmt;
use std::ops::Range;

use sha2::{Digest, Sha256};

use crate::error::ReadError;
use crate::note::Note;
use crate::recognise::Format;

/// Contiguous bytes at an address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Segment {
    /// The address of the first byte.
    pub address: u32,
    /// The bytes; never empty in a [`Build`].
    pub data: Vec<u8>,
}

impl Segment {
    /// One past the last address; 2^32 for a segment that uses the last one.
    #[must_use]
    pub fn end(&self) -> u64 {
        u64::from(self.address) + self.data.len() as u64
    }

    /// The addresses used.
    #[must_use]
    pub fn range(&self) -> Range<u64> {
        u64::from(self.address)..self.end()
    }
}

/// The instruction set that an ELF file names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Machine {
    /// `EM_ARM`, 40.
    Arm,
    /// `EM_RISCV`, 243.
    RiscV,
}

impl fmt::Display for Machine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Machine::Arm => "ARM",
            Machine::RiscV => "RISC-V",
        })
    }
}

/// What a file places, with its segments sorted by address, merged where they meet, never
/// overlapping.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Build {
    format: Format,
    segments: Vec<Segment>,
    entry: Option<u32>,
    machine: Option<Machine>,
    notes: Vec<Note>,
}

impl Build {
    /// `segments` must come from the assembler, which sorts and merges.
    pub(crate) fn new(
        format: Format,
        segments: Vec<Segment>,
        entry: Option<u32>,
        notes: Vec<Note>,
    ) -> Result<Self, ReadError> {
        if segments.is_empty() {
            return Err(ReadError::NoData { format });
        }
        Ok(Self {
            format,
            segments,
            entry,
            machine: None,
            notes,
        })
    }

    pub(crate) fn with_machine(mut self, machine: Machine) -> Self {
        self.machine = Some(machine);
        self
    }

    pub(crate) fn note(&mut self, note: Note) {
        self.notes.push(note);
    }

    /// The format that the file was in.
    #[must_use]
    pub fn format(&self) -> Format {
        self.format
    }

    /// The segments: at least one, sorted, merged where they meet, none overlapping another.
    #[must_use]
    pub fn segments(&self) -> &[Segment] {
        &self.segments
    }

    /// Where execution begins, if the file says so. Zero in an ELF header or an S-record means that
    /// it does not.
    #[must_use]
    pub fn entry(&self) -> Option<u32> {
        self.entry
    }

    /// The instruction set, if the file says so; only ELF does.
    #[must_use]
    pub fn machine(&self) -> Option<Machine> {
        self.machine
    }

    /// What was unusual, without being wrong.
    #[must_use]
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// From the lowest address used to one past the highest.
    #[must_use]
    pub fn span(&self) -> Range<u64> {
        match (self.segments.first(), self.segments.last()) {
            (Some(first), Some(last)) => u64::from(first.address)..last.end(),
            _ => 0..0,
        }
    }

    /// How many bytes the build places, gaps not counted.
    #[must_use]
    pub fn byte_count(&self) -> u64 {
        self.segments.iter().map(|segment| segment.data.len() as u64).sum()
    }

    /// The bytes of one segment from `address` on; empty where the build places nothing.
    #[must_use]
    pub fn bytes_from(&self, address: u32) -> &[u8] {
        let following = self.segments.partition_point(|segment| segment.address <= address);
        let Some(segment) = following.checked_sub(1).and_then(|index| self.segments.get(index)) else {
            return &[];
        };
        segment
            .data
            .get((address - segment.address) as usize..)
            .unwrap_or_default()
    }

    /// The little-endian 32-bit word at `address`, if the build places all four bytes of it.
    #[must_use]
    pub fn word(&self, address: u32) -> Option<u32> {
        self.bytes_from(address)
            .first_chunk()
            .map(|bytes| u32::from_le_bytes(*bytes))
    }

    /// Every byte of `range`, with `fill` where the build places none.
    ///
    /// Allocates the whole range.
    ///
    /// # Errors
    /// If the range is empty or backwards, if the build places a byte outside it, or if memory does
    /// not suffice.
    pub fn flatten(&self, range: Range<u32>, fill: u8) -> Result<Vec<u8>, FlattenError> {
        if range.is_empty() {
            return Err(FlattenError::EmptyRange { range });
        }
        let outside = self
            .segments
            .iter()
            .find(|segment| segment.address < range.start || segment.end() > u64::from(range.end));
        if let Some(segment) = outside {
            return Err(FlattenError::Outside {
                segment: segment.range(),
                range,
            });
        }
        let len = (range.end - range.start) as usize;
        let mut image = Vec::new();
        image.try_reserve_exact(len).map_err(|_| FlattenError::Memory { len })?;
        for segment in &self.segments {
            image.resize((segment.address - range.start) as usize, fill);
            image.extend_from_slice(&segment.data);
        }
        image.resize(len, fill);
        Ok(image)
    }

    /// SHA-256 over what is placed where: for each segment its address, its length (both as eight
    /// bytes, least significant first) and its bytes. The same for the same content in any format,
    /// and independent of any fill value. It identifies a build on the bench; what a unit verifies
    /// is the digest of the flattened image, which
    /// [`checks::Target::image`](crate::checks::Target::image) gives.
    #[must_use]
    pub fn digest(&self) -> [u8; 32] {
        let mut hash = Sha256::new();
        for segment in &self.segments {
            hash.update(u64::from(segment.address).to_le_bytes());
            hash.update((segment.data.len() as u64).to_le_bytes());
            hash.update(&segment.data);
        }
        hash.finalize().into()
    }
}

/// Why a build cannot be laid out flat in a range.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum FlattenError {
    /// The range holds no addresses.
    #[error("the range 0x{:08X}..0x{:08X} is empty; expected an end above the start: correct the \
        slot in the product file", range.start, range.end)]
    EmptyRange {
        /// The range asked for.
        range: Range<u32>,
    },
    /// The build places bytes outside the range.
    #[error(
        "the build places bytes at 0x{:08X}..0x{:08X}, not all inside 0x{:08X}..0x{:08X}: check \
         the link addresses",
        segment.start, segment.end, range.start, range.end
    )]
    Outside {
        /// The addresses of the first segment that is not inside.
        segment: Range<u64>,
        /// The range asked for.
        range: Range<u32>,
    },
    /// The range is larger than the memory there is.
    #[error(
        "there is no memory for a range of {len} bytes; expected the size of a slot: correct the \
         slot in the product file"
    )]
    Memory {
        /// The length of the range.
        len: usize,
    },
}
