//! Partition tables of any bytes: read without a panic, within a bounded number of reads, and nothing from outside.
//!
//! The first byte chooses. Odd: the rest is the stick, from its first block on. Even: a GUID partition table and its protective record,
//! with bytes changed, each by three bytes of input: a place and the new value. Bit 1: the checksums are made to hold again, so that
//! what is behind them is reached. Bit 2: device blocks of 4096 bytes. Bit 3: the first copy is wiped, so that the last one counts.

#![no_main]

use crc::{CRC_32_ISO_HDLC, Crc};
use libfuzzer_sys::fuzz_target;
use packstaff_stick::table::{Scheme, table};
use packstaff_stick::{BlockSource, Counted, DeviceBlock, FnSource};

const BLOCKS: u64 = 4096;
/// A record, 60 tables of an extended partition, and two copies of a header and of 128 KiB of entries.
const READS_MAX: u64 = 1 + 60 + 2 * (8 + 256);
const CHECKSUM: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Record, header and entries: the first blocks of a stick.
fn good(device: usize) -> Vec<u8> {
    // 16 entries: enough to be of every kind, and few enough that their checksum does not take all of the time.
    let mut bytes = vec![0; 2 * device + 16 * 128];
    bytes[446..462].copy_from_slice(&[0, 0, 2, 0, 0xEE, 0xFF, 0xFF, 0xFF, 1, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF]);
    bytes[510..512].copy_from_slice(&[0x55, 0xAA]);
    let header = &mut bytes[device..];
    header[..16].copy_from_slice(b"EFI PART\0\0\x01\0\x5C\0\0\0");
    header[24] = 1;
    header[72] = 2;
    header[80] = 16;
    header[84] = 128;
    for (number, start) in [(0, 40u64), (1, 300), (5, 200)] {
        let entry = &mut bytes[2 * device + 128 * number..][..128];
        entry[..4].copy_from_slice(b"kind");
        entry[32..40].copy_from_slice(&start.to_le_bytes());
        entry[40..48].copy_from_slice(&(start + 100).to_le_bytes());
        entry[56] = b'n';
    }
    bytes
}

fn seal(bytes: &mut [u8], device: usize) {
    let (front, entries) = bytes.split_at_mut(2 * device);
    let header = &mut front[device..];
    let field = |header: &[u8], at: usize| u32::from_le_bytes(header[at..at + 4].try_into().unwrap()) as usize;
    let all = field(header, 80).saturating_mul(field(header, 84));
    if let Some(entries) = entries.get(..all) {
        header[88..92].copy_from_slice(&CHECKSUM.checksum(entries).to_le_bytes());
    }
    header[16..20].fill(0);
    if let Some(sum) = header.get(..field(header, 12)).map(|header| CHECKSUM.checksum(header)) {
        header[16..20].copy_from_slice(&sum.to_le_bytes());
    }
}

fuzz_target!(|input: &[u8]| {
    let Some((&choice, rest)) = input.split_first() else {
        return;
    };
    let (size, device) = if choice & 4 == 0 {
        (DeviceBlock::B512, 512)
    } else {
        (DeviceBlock::B4096, 4096)
    };
    let start = if choice & 1 == 1 {
        rest.to_vec()
    } else {
        let mut bytes = good(device);
        for change in rest.chunks_exact(3) {
            let place = usize::from(u16::from_le_bytes([change[0], change[1]])) % bytes.len();
            bytes[place] = change[2];
        }
        if choice & 2 != 0 {
            seal(&mut bytes, device);
        }
        bytes
    };
    let is_last = choice & 9 == 8;
    let last = BLOCKS - device as u64 / 512;
    let part = |number: usize, len: usize| start.get(number * 512..).map(|rest| &rest[..rest.len().min(len)]);
    let source = FnSource::new(BLOCKS, |number| {
        let mut block = [0; 512];
        let there = match number {
            // The header of the last copy says that it is in the first block, so it does not hold unless that is changed too.
            _ if is_last && number >= last => part(device / 512 + (number - last) as usize, 512),
            _ if is_last && (number as usize) * 512 >= device && (number as usize) * 512 < 2 * device => None,
            _ => part(number as usize, 512),
        };
        let there = there.unwrap_or(&[]);
        block[..there.len()].copy_from_slice(there);
        Ok(block)
    });
    let mut source = Counted::new(source);
    let found = table(&mut source, size);
    assert!(source.reads() <= READS_MAX, "{} reads", source.reads());
    assert!(found.partitions.len() <= 1024, "{} partitions", found.partitions.len());
    assert!(found.scheme != Scheme::None || found.partitions.is_empty());
    assert!(source.blocks() == BLOCKS);
    for flaw in &found.flaws {
        assert!(!flaw.to_string().is_empty());
    }
});
