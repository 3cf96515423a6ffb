//! The stick: a file of the host, read in blocks of 512 bytes.

use crate::semihost::{File, Mode};

/// A stick in the unit.
pub struct Stick {
    file: File,
    block: packstaff_fat::Block,
    /// Blocks read so far.
    pub reads: u32,
}

impl Stick {
    /// The stick, if there is one.
    pub fn find() -> Option<Self> {
        Some(Self {
            file: File::open(c"stick.img", Mode::Read)?,
            block: [0; packstaff_fat::BLOCK],
            reads: 0,
        })
    }

    /// How many blocks it has.
    pub fn blocks(&self) -> u64 {
        u64::from(self.file.len() / packstaff_fat::BLOCK as u32)
    }

    /// Reads a block; `None` if that is not possible.
    pub fn read(&mut self, number: u64) -> Option<&packstaff_fat::Block> {
        let at = u32::try_from(number).ok()?.checked_mul(packstaff_fat::BLOCK as u32)?;
        self.reads += 1;
        (self.file.read_at(at, &mut self.block) == packstaff_fat::BLOCK).then_some(&self.block)
    }
}
