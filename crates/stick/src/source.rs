//! Where blocks come from.

use std::io::{self, Read, Seek, SeekFrom};

use fat::{BLOCK, Block};

use crate::StickImage;

/// Anything that has blocks of 512 bytes.
pub trait BlockSource {
    /// How many whole blocks there are.
    fn blocks(&self) -> u64;

    /// Reads a block.
    ///
    /// # Errors
    ///
    /// If the block is past the end or cannot be read.
    fn read(&mut self, block: u64) -> io::Result<Block>;
}

impl<S: BlockSource + ?Sized> BlockSource for &mut S {
    fn blocks(&self) -> u64 {
        (**self).blocks()
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        (**self).read(block)
    }
}

impl BlockSource for &StickImage {
    fn blocks(&self) -> u64 {
        StickImage::blocks(self)
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        self.block(block)
            .ok_or_else(|| past_end(block, StickImage::blocks(self)))
    }
}

/// Blocks of a file, a device or a buffer.
#[derive(Debug)]
pub struct SeekSource<R> {
    inner: R,
    blocks: u64,
}

impl<R: Read + Seek> SeekSource<R> {
    /// Finds how long the source is. A part of a block at its end does not count.
    ///
    /// # Errors
    ///
    /// If the source cannot seek to its end.
    pub fn new(mut inner: R) -> io::Result<Self> {
        let blocks = inner.seek(SeekFrom::End(0))? / BLOCK as u64;
        Ok(Self { inner, blocks })
    }
}

impl<R: Read + Seek> BlockSource for SeekSource<R> {
    fn blocks(&self) -> u64 {
        self.blocks
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        if block >= self.blocks {
            return Err(past_end(block, self.blocks));
        }
        let mut bytes = [0; BLOCK];
        self.inner.seek(SeekFrom::Start(block * BLOCK as u64))?;
        self.inner.read_exact(&mut bytes)?;
        Ok(bytes)
    }
}

/// Blocks that a function gives.
pub struct FnSource<F> {
    blocks: u64,
    read: F,
}

impl<F: FnMut(u64) -> io::Result<Block>> FnSource<F> {
    /// A source of so many blocks. The function is called only for blocks that there are.
    pub const fn new(blocks: u64, read: F) -> Self {
        Self { blocks, read }
    }
}

impl<F: FnMut(u64) -> io::Result<Block>> BlockSource for FnSource<F> {
    fn blocks(&self) -> u64 {
        self.blocks
    }

    fn read(&mut self, block: u64) -> io::Result<Block> {
        if block >= self.blocks {
            return Err(past_end(block, self.blocks));
        }
        (self.read)(block)
    }
}

fn past_end(block: u64, blocks: u64) -> io::Error {
    io::Error::new(
        io::ErrorKind::UnexpectedEof,
        format!("there are {blocks} blocks, so there is no block {block}"),
    )
}
