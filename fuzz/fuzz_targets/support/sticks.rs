//! Good sticks of three forms, changed as a fuzzer wants, and sticks that are nothing but its bytes.

use packstaff_fat::Block;
use packstaff_stick::{Calendar, Kind, StickSpec};

/// The blocks of a stick that are not all zero, in order, and the length of the whole.
#[derive(Clone)]
pub struct Good {
    busy: Vec<(u64, Block)>,
    /// Blocks of the whole.
    pub blocks: u64,
}

impl Good {
    /// FAT12 without a partition table, FAT16 and FAT32 with one, with these files.
    pub fn all(files: impl Fn(StickSpec) -> StickSpec) -> [Self; 3] {
        [(Kind::Fat12, 2 << 20), (Kind::Fat16, 6 << 20), (Kind::Fat32, 36 << 20)].map(|(kind, size)| {
            let stamp = Calendar {
                year: 2026,
                month: 1,
                day: 2,
                hour: 3,
                minute: 4,
                second: 6,
            };
            let spec = files(StickSpec {
                kind,
                size,
                cluster: None,
                partitioned: kind != Kind::Fat12,
                ..StickSpec::usual(1, stamp)
            });
            let image = packstaff_stick::build(&spec).expect("the spec is a good one");
            let busy = (0..image.blocks()).map(|number| (number, image.read_block(number)));
            Self {
                busy: busy.filter(|(_, block)| *block != [0; 512]).collect(),
                blocks: image.blocks(),
            }
        })
    }

    /// With bytes changed, each by four bytes of input: a place among the blocks that are not zero, and the new value.
    pub fn changed(&self, input: &[u8]) -> Self {
        let mut changed = self.clone();
        for change in input.chunks_exact(4) {
            let place = u32::from_le_bytes([change[0], change[1], change[2], 0]) as usize % (changed.busy.len() * 512);
            changed.busy[place / 512].1[place % 512] = change[3];
        }
        changed
    }

    /// A block.
    pub fn block(&self, number: u64) -> Block {
        let found = self.busy.binary_search_by_key(&number, |(at, _)| *at);
        found.map_or([0; 512], |index| self.busy[index].1)
    }
}

/// A block of a stick that begins with these bytes and is zero behind them.
pub fn raw_block(bytes: &[u8], number: u64) -> Block {
    let mut block = [0; 512];
    let there = bytes.chunks(512).nth(number as usize).unwrap_or(&[]);
    block[..there.len()].copy_from_slice(there);
    block
}
