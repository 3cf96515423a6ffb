//! ELF: finished 32-bit little-endian programs for ARM and RISC-V.
//!
//! Source: Tool Interface Standard, "Executable and Linking Format Specification", version 1.2
//! (1995), book I. Bytes come from `PT_LOAD` program headers, at their physical addresses
//! (`p_paddr`), and only those in the file (`p_filesz`): the rest, up to `p_memsz`, is memory that
//! the program clears itself.
//!
//! Linkers also let a segment reach over what belongs to no section: the ELF headers themselves,
//! when the first section lies close behind them, and zero padding between sections. Neither is
//! firmware. Where the file has a section table, both are left out and noted, which makes the
//! result equal to what GNU objcopy converts to a record format. Bytes that are in no section but
//! are neither headers nor zero are kept, because the specification has them loaded.

use std::ops::Range;

use object::LittleEndian as Le;
use object::elf::{
    ELFCLASS32, ELFDATA2LSB, EM_ARM, EM_RISCV, ET_EXEC, FileHeader32, PT_LOAD, ProgramHeader32, SHF_ALLOC, SHT_NOBITS,
};
use object::read::elf::{FileHeader, ProgramHeader, SectionHeader};

use crate::assemble::Assembler;
use crate::build::{Build, Machine};
use crate::error::{ElfFault, Place, ReadError};
use crate::note::Note;
use crate::recognise::Format;

const HEADER_LEN: u64 = 52;
const PROGRAM_HEADER_LEN: u64 = 32;

pub(crate) fn read(bytes: &[u8]) -> Result<Build, ReadError> {
    let len = bytes.len() as u64;
    if len < HEADER_LEN {
        return Err(ElfFault::Cut {
            what: "ELF header".into(),
            end: HEADER_LEN,
            len,
        }
        .into());
    }
    check_ident(bytes)?;
    let header = FileHeader32::<Le>::parse(bytes).map_err(|error| ElfFault::Table {
        what: "the ELF header",
        reason: error.to_string(),
    })?;
    let machine = check_header(header)?;
    let programs = header.program_headers(Le, bytes).map_err(|error| ElfFault::Table {
        what: "the program header table",
        reason: error.to_string(),
    })?;
    let loaded = loaded(programs, len)?;
    let sections = section_ranges(header, bytes)?;

    let mut notes = Vec::new();
    let virtual_addresses = loaded.iter().all(|(_, program)| program.p_paddr(Le) == 0)
        && loaded.iter().any(|(_, program)| program.p_vaddr(Le) != 0);
    if virtual_addresses {
        notes.push(Note::VirtualAddresses);
    }
    let mut pieces = Assembler::default();
    let mut left_out = LeftOut {
        headers_end: headers_end(header),
        headers: 0,
        padding: 0,
    };
    for (index, program) in loaded {
        let address = if virtual_addresses {
            program.p_vaddr(Le)
        } else {
            program.p_paddr(Le)
        };
        let start = u64::from(program.p_offset(Le));
        let in_file = start..start + u64::from(program.p_filesz(Le));
        for part in left_out.kept(bytes, &in_file, &sections) {
            let data = slice(bytes, &part);
            let address = u64::from(address) + (part.start - start);
            let beyond = (address + data.len() as u64).saturating_sub(1 << 32);
            let past_end = |beyond| ElfFault::PastEnd {
                index,
                address: address as u32,
                len: data.len() as u64,
                beyond,
            };
            let address = u32::try_from(address).map_err(|_| past_end(beyond))?;
            pieces
                .place(address, data, Place::ProgramHeader(index))
                .map_err(past_end)?;
        }
    }
    left_out.note(&mut notes);
    let (segments, mut all_notes) = pieces.finish()?;
    all_notes.append(&mut notes);
    let entry = Some(header.e_entry(Le)).filter(|&entry| entry != 0);
    Ok(Build::new(Format::Elf, segments, entry, all_notes)?.with_machine(machine))
}

/// Class and byte order decide the layout of everything else, so they come first.
fn check_ident(bytes: &[u8]) -> Result<(), ElfFault> {
    let byte = |index: usize| bytes.get(index).copied().unwrap_or_default();
    let field = |field, found: u8, expected, advice| {
        Err(ElfFault::Field {
            field,
            found: u32::from(found),
            expected,
            advice,
        })
    };
    let wrong_target = "this was linked for another kind of computer; give the build for the microcontroller";
    match (byte(4), byte(5), byte(6)) {
        (class, ..) if class != ELFCLASS32.0 => field("EI_CLASS", class, "1 (32-bit)", wrong_target),
        (_, order, _) if order != ELFDATA2LSB.0 => field("EI_DATA", order, "1 (little-endian)", wrong_target),
        (.., version) if version != 1 => field("EI_VERSION", version, "1", "the file is damaged; link it again"),
        _ => Ok(()),
    }
}

fn check_header(header: &FileHeader32<Le>) -> Result<Machine, ElfFault> {
    let kind = header.e_type(Le);
    if kind != ET_EXEC {
        return Err(ElfFault::Field {
            field: "e_type",
            found: u32::from(kind.0),
            expected: "2 (an executable with fixed addresses)",
            advice: "object files (1) must be linked first; position-independent programs (3) \
                must be linked to fixed addresses",
        });
    }
    match header.e_machine(Le) {
        EM_ARM => Ok(Machine::Arm),
        EM_RISCV => Ok(Machine::RiscV),
        other => Err(ElfFault::Field {
            field: "e_machine",
            found: u32::from(other.0),
            expected: "40 (ARM) or 243 (RISC-V)",
            advice: "this was linked for another kind of computer; give the build for the \
                microcontroller",
        }),
    }
}

/// The program headers that load bytes from the file, each with its index; all inside the file, and
/// together no larger than it, so that a small file cannot demand a lot of memory.
fn loaded(programs: &[ProgramHeader32<Le>], len: u64) -> Result<Vec<(usize, &ProgramHeader32<Le>)>, ElfFault> {
    let mut claimed = 0u64;
    let mut loaded = Vec::new();
    for (index, program) in programs.iter().enumerate() {
        let (file, memory) = (program.p_filesz(Le), program.p_memsz(Le));
        if program.p_type(Le) != PT_LOAD || file == 0 {
            continue;
        }
        if file > memory {
            return Err(ElfFault::Larger { index, file, memory });
        }
        let end = u64::from(program.p_offset(Le)) + u64::from(file);
        if end > len {
            return Err(ElfFault::Cut {
                what: format!("segment of program header {index}"),
                end,
                len,
            });
        }
        claimed += u64::from(file);
        loaded.push((index, program));
    }
    if claimed > len {
        Err(ElfFault::Claims { claimed, len })
    } else {
        Ok(loaded)
    }
}

/// The parts of the file that belong to sections which occupy memory and have bytes, sorted and
/// merged.
fn section_ranges(header: &FileHeader32<Le>, bytes: &[u8]) -> Result<Vec<Range<u64>>, ElfFault> {
    let sections = header.section_headers(Le, bytes).map_err(|error| ElfFault::Table {
        what: "the section header table",
        reason: error.to_string(),
    })?;
    let mut ranges: Vec<Range<u64>> = sections
        .iter()
        .filter(|section| section.sh_flags(Le).0 & SHF_ALLOC.0 != 0 && section.sh_type(Le) != SHT_NOBITS)
        .map(|section| {
            u64::from(section.sh_offset(Le))..u64::from(section.sh_offset(Le)) + u64::from(section.sh_size(Le))
        })
        .filter(|range| !range.is_empty())
        .collect();
    ranges.sort_by_key(|range| range.start);
    ranges.dedup_by(|next, last| {
        let meets = next.start <= last.end;
        if meets {
            last.end = last.end.max(next.end);
        }
        meets
    });
    Ok(ranges)
}

/// Where the headers at the front of the file end: the ELF header, and the program headers if they
/// follow at once.
fn headers_end(header: &FileHeader32<Le>) -> u64 {
    if u64::from(header.e_phoff(Le)) == HEADER_LEN {
        HEADER_LEN + PROGRAM_HEADER_LEN * u64::from(header.e_phnum(Le))
    } else {
        HEADER_LEN
    }
}

/// Counts what is not taken over from segments.
struct LeftOut {
    headers_end: u64,
    headers: u64,
    padding: u64,
}

impl LeftOut {
    /// The parts of a segment to take over, as ranges of the file.
    fn kept(&mut self, bytes: &[u8], segment: &Range<u64>, sections: &[Range<u64>]) -> Vec<Range<u64>> {
        let first = sections.partition_point(|section| section.end <= segment.start);
        let mut inside = sections
            .get(first..)
            .unwrap_or_default()
            .iter()
            .take_while(|section| section.start < segment.end)
            .map(|section| section.start.max(segment.start)..section.end.min(segment.end))
            .peekable();
        if inside.peek().is_none() {
            return vec![segment.clone()];
        }
        let mut kept = Vec::new();
        let mut done = segment.start;
        for part in inside {
            kept.extend(self.kept_gap(bytes, done..part.start));
            done = part.end;
            kept.push(part);
        }
        kept.extend(self.kept_gap(bytes, done..segment.end));
        kept
    }

    /// What to take over of a stretch that is in no section.
    fn kept_gap(&mut self, bytes: &[u8], gap: Range<u64>) -> Option<Range<u64>> {
        let headers = gap.start..gap.end.min(self.headers_end).max(gap.start);
        let rest = headers.end..gap.end;
        self.headers += headers.end - headers.start;
        if slice(bytes, &rest).iter().any(|&byte| byte != 0) {
            return Some(rest);
        }
        // Zeros behind the headers are there for alignment only, as the headers themselves are.
        let zeros = rest.end - rest.start;
        if headers.is_empty() {
            self.padding += zeros
        } else {
            self.headers += zeros
        }
        None
    }

    fn note(&self, notes: &mut Vec<Note>) {
        if self.headers > 0 {
            notes.push(Note::HeadersLeftOut { len: self.headers });
        }
        if self.padding > 0 {
            notes.push(Note::PaddingLeftOut { len: self.padding });
        }
    }
}

fn slice<'a>(bytes: &'a [u8], range: &Range<u64>) -> &'a [u8] {
    let index = |offset: u64| usize::try_from(offset).unwrap_or(usize::MAX);
    bytes.get(index(range.start)..index(range.end)).unwrap_or_default()
}
