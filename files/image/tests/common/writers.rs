//! Writers of each format, written from the specifications and apart from the readers.

use std::fmt::Write;

/// One Intel HEX record.
pub fn hex_record(kind: u8, offset: u16, data: &[u8]) -> String {
    let [high, low] = offset.to_be_bytes();
    let mut bytes = vec![u8::try_from(data.len()).expect("at most 255 bytes"), high, low, kind];
    bytes.extend_from_slice(data);
    let sum: u32 = bytes.iter().map(|&byte| u32::from(byte)).sum();
    bytes.push((256 - sum % 256) as u8);
    format!(":{}\n", digits(&bytes))
}

/// An Intel HEX file with 32-bit linear addresses, in records of at most `width` bytes that keep
/// inside 64 KiB.
pub fn hex(segments: &[(u32, Vec<u8>)], width: usize) -> String {
    let mut text = String::new();
    let mut upper = 0;
    for (address, chunk) in chunks(segments, width) {
        if address >> 16 != upper {
            upper = address >> 16;
            text += &hex_record(4, 0, &(upper as u16).to_be_bytes());
        }
        let room = 0x1_0000 - (address as usize & 0xFFFF);
        let (here, next) = chunk.split_at(room.min(chunk.len()));
        text += &hex_record(0, address as u16, here);
        if !next.is_empty() {
            upper += 1;
            text += &hex_record(4, 0, &(upper as u16).to_be_bytes());
            text += &hex_record(0, 0, next);
        }
    }
    text + ":00000001FF\n"
}

/// One S-record; `address_len` is 2, 3 or 4.
pub fn s_record(digit: u8, address_len: usize, address: u32, data: &[u8]) -> String {
    let mut bytes = vec![(address_len + data.len() + 1) as u8];
    bytes.extend_from_slice(&address.to_be_bytes()[4 - address_len..]);
    bytes.extend_from_slice(data);
    let sum: u32 = bytes.iter().map(|&byte| u32::from(byte)).sum();
    bytes.push(255 - (sum % 256) as u8);
    format!("S{digit}{}\n", digits(&bytes))
}

/// An S-record file with 32-bit addresses, a header and a count.
pub fn s_records(segments: &[(u32, Vec<u8>)], width: usize) -> String {
    let mut text = s_record(0, 2, 0, b"test");
    let mut count = 0;
    for (address, chunk) in chunks(segments, width) {
        text += &s_record(3, 4, address, chunk);
        count += 1;
    }
    text += &if count < 0x1_0000 {
        s_record(5, 2, count, &[])
    } else {
        s_record(6, 3, count, &[])
    };
    text + &s_record(7, 4, 0, &[])
}

/// A program header to write.
#[derive(Clone)]
pub struct Program {
    pub physical: u32,
    pub virtual_: u32,
    pub data: Vec<u8>,
    /// How much larger the segment is in memory than in the file.
    pub cleared: u32,
}

impl Program {
    pub fn at(address: u32, data: &[u8]) -> Self {
        Self {
            physical: address,
            virtual_: address,
            data: data.to_vec(),
            cleared: 0,
        }
    }
}

/// An ELF file without a section table, laid out as the ELF specification (TIS 1.2, book I) says.
pub fn elf(machine: u16, entry: u32, programs: &[Program]) -> Vec<u8> {
    let mut file = b"\x7FELF\x01\x01\x01".to_vec();
    file.resize(16, 0);
    let mut offset = 52 + 32 * programs.len() as u32;
    half(&mut file, &[2, machine]); // e_type, e_machine
    word(&mut file, &[1, entry, 52, 0, 0]); // e_version, e_entry, e_phoff, e_shoff, e_flags
    half(&mut file, &[52, 32, programs.len() as u16, 40, 0, 0]); // e_ehsize and the five after it
    for program in programs {
        let len = program.data.len() as u32;
        word(
            &mut file,
            &[
                1,
                offset,
                program.virtual_,
                program.physical,
                len,
                len + program.cleared,
                5,
                1,
            ],
        );
        offset += len;
    }
    file.extend(programs.iter().flat_map(|program| program.data.iter()));
    file
}

/// A section to list: type, flags, and the part of the file that it names.
pub struct Section {
    pub kind: u32,
    pub flags: u32,
    pub offset: u32,
    pub len: u32,
}

/// Appends a section table to a file that [`elf`] made.
pub fn with_sections(mut file: Vec<u8>, sections: &[Section]) -> Vec<u8> {
    let table = file.len() as u32;
    file[32..36].copy_from_slice(&table.to_le_bytes()); // e_shoff
    file[48..50].copy_from_slice(&(sections.len() as u16 + 1).to_le_bytes()); // e_shnum
    word(&mut file, &[0; 10]); // section 0 is reserved
    for section in sections {
        word(
            &mut file,
            &[
                0,
                section.kind,
                section.flags,
                0,
                section.offset,
                section.len,
                0,
                0,
                1,
                0,
            ],
        );
    }
    file
}

fn half(file: &mut Vec<u8>, values: &[u16]) {
    file.extend(values.iter().flat_map(|value| value.to_le_bytes()));
}

fn word(file: &mut Vec<u8>, values: &[u32]) {
    file.extend(values.iter().flat_map(|value| value.to_le_bytes()));
}

fn chunks(segments: &[(u32, Vec<u8>)], width: usize) -> impl Iterator<Item = (u32, &[u8])> {
    segments.iter().flat_map(move |(address, data)| {
        data.chunks(width)
            .enumerate()
            .map(move |(index, chunk)| (address + (index * width) as u32, chunk))
    })
}

fn digits(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        write!(text, "{byte:02X}").expect("a String takes everything");
        text
    })
}
