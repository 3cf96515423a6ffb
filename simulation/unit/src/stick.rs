//! Sticks, as the simulated unit sees them: numbered blocks that may or may not be readable.

use packstaff_fat::Block;
use std::fmt;
use std::sync::Arc;

/// Something that answers reads of 512-byte blocks.
pub trait Blocks: Send + Sync {
    /// Size in blocks.
    fn blocks(&self) -> u64;
    /// The block `number`; `None` if it cannot be read.
    fn block(&self, number: u64) -> Option<Block>;
}

/// A stick. Copies share the contents.
#[derive(Clone)]
pub struct Stick(Arc<dyn Blocks>);

impl Stick {
    /// A stick with these contents.
    pub fn new(contents: impl Blocks + 'static) -> Self {
        Self(Arc::new(contents))
    }

    /// Size in blocks.
    pub fn blocks(&self) -> u64 {
        self.0.blocks()
    }

    /// The block `number`; `None` if it cannot be read.
    pub fn block(&self, number: u64) -> Option<Block> {
        self.0.block(number)
    }

    /// Whether both are the very same stick.
    pub fn is(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

impl fmt::Debug for Stick {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Stick of {} blocks", self.blocks())
    }
}

/// A whole image in memory; a part block at its end cannot be read.
impl Blocks for Vec<u8> {
    fn blocks(&self) -> u64 {
        (self.len() / packstaff_fat::BLOCK) as u64
    }

    fn block(&self, number: u64) -> Option<Block> {
        let start = usize::try_from(number).ok()?.checked_mul(packstaff_fat::BLOCK)?;
        self.get(start..)?.first_chunk().copied()
    }
}
