//! Stick images in simulated units.

use packstaff_fat::Block;
use packstaff_stick::StickImage;
use packstaff_unit::stick::{Blocks, Stick};

struct Made(StickImage);

impl Blocks for Made {
    fn blocks(&self) -> u64 {
        self.0.blocks()
    }

    fn block(&self, number: u64) -> Option<Block> {
        self.0.block(number)
    }
}

/// The stick that an image makes.
pub fn insert(image: StickImage) -> Stick {
    Stick::new(Made(image))
}
