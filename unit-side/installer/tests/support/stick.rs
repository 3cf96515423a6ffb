//! A stick: one small FAT12 volume, written here from the FAT specification's tables, a cluster a block.

use packstaff_fat::{BLOCK, Block};

const BLOCKS: usize = 400;
const FAT_BLOCKS: usize = 2;
const ROOT: usize = 1 + FAT_BLOCKS;
/// The block of cluster 2.
const DATA: usize = ROOT + 1;

#[derive(Clone)]
pub struct Stick(Vec<u8>);

impl Stick {
    /// With these files: names of eight letters at most and three for the ending.
    pub fn with(files: &[(&str, &[u8])]) -> Self {
        let mut stick = Self(vec![0; BLOCKS * BLOCK]);
        stick.boot();
        // The first two entries are no clusters.
        stick.link(0, 0xff8);
        stick.link(1, 0xfff);
        let mut cluster = 2;
        for (index, (name, content)) in files.iter().enumerate() {
            let used = content.len().div_ceil(BLOCK);
            for at in cluster..cluster + used {
                stick.link(at, if at + 1 == cluster + used { 0xfff } else { at + 1 });
            }
            let start = (DATA + cluster - 2) * BLOCK;
            stick.0[start..start + content.len()].copy_from_slice(content);
            stick.entry(index, name, if used == 0 { 0 } else { cluster }, content.len());
            cluster += used;
        }
        assert!(DATA + cluster - 2 <= BLOCKS);
        stick
    }

    pub fn blocks(&self) -> u64 {
        BLOCKS as u64
    }

    pub fn block(&self, number: u64) -> Option<Block> {
        let at = usize::try_from(number).ok()?.checked_mul(BLOCK)?;
        Some(*self.0.get(at..)?.first_chunk()?)
    }

    fn put(&mut self, at: usize, bytes: &[u8]) {
        self.0[at..at + bytes.len()].copy_from_slice(bytes);
    }

    fn boot(&mut self) {
        self.put(0, &[0xeb, 0x3c, 0x90]);
        self.put(3, b"TESTVOL ");
        self.put(11, &(BLOCK as u16).to_le_bytes());
        // One block a cluster, one reserved block, one FAT, 16 entries in the root directory.
        self.put(13, &[1, 1, 0, 1, 16, 0]);
        self.put(19, &(BLOCKS as u16).to_le_bytes());
        self.put(21, &[0xf8]);
        self.put(22, &(FAT_BLOCKS as u16).to_le_bytes());
        self.put(510, &[0x55, 0xaa]);
    }

    /// An entry of the FAT: 12 bits.
    fn link(&mut self, cluster: usize, next: usize) {
        let at = BLOCK + cluster * 3 / 2;
        let shift = 4 * (cluster % 2);
        let both = u16::from_le_bytes([self.0[at], self.0[at + 1]]);
        let both = both & !(0xfff << shift) | (next as u16) << shift;
        self.put(at, &both.to_le_bytes());
    }

    fn entry(&mut self, index: usize, name: &str, cluster: usize, size: usize) {
        let at = ROOT * BLOCK + 32 * index;
        let (stem, ending) = name.split_once('.').unwrap();
        self.put(at, format!("{stem:<8}{ending:<3}").as_bytes());
        self.put(at + 11, &[0x20]);
        self.put(at + 26, &(cluster as u16).to_le_bytes());
        self.put(at + 28, &(size as u32).to_le_bytes());
    }
}
